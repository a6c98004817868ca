"""`manage.py doctor`: each thing that can be wrong is found, and nothing where all is well."""

from __future__ import annotations

import json
import os
import subprocess
import threading
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest
from django.db import connection

from config import backup_folder, backup_record, disk, doctor, tls
from config.backup_folder import MANIFEST, Manifest
from config.data_folder import DataFolder
from config.database_facts import Facts
from config.doctor import Finding, Grade, Patient
from crews.devices.services import revoke_device
from equipment.site.models import TaskRun
from tests.config.service import free_port
from tests.factories import make_phone
from tests.farm import Farm

NOW = datetime(2026, 3, 4, 12, tzinfo=UTC)


@pytest.fixture
def patient(tmp_path: Path) -> Patient:
    folder = DataFolder(tmp_path / "data")
    folder.make()
    folder.places.postgres.mkdir()
    return Patient(folder, NOW, tmp_path / "backups")


def grades(findings: Iterator[Finding]) -> list[Grade]:
    return [finding.grade for finding in findings]


def test_folder_without_a_farm_is_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert doctor.main(["--data", str(tmp_path)]) == 1
    said = capsys.readouterr().out
    assert f"WRONG  {tmp_path} holds no farm" in said
    assert f"up --no-demo --data {tmp_path}" in said


@pytest.mark.parametrize(
    ("free", "grade"),
    [(10**8, Grade.WRONG), (2 * 10**9, Grade.MIND), (10**11, Grade.WELL)],
)
def test_full_disk_is_found(
    patient: Patient, monkeypatch: pytest.MonkeyPatch, free: int, grade: Grade
) -> None:
    monkeypatch.setattr(disk, "free_bytes", lambda _folder: free)
    assert grades(doctor.of_disk(patient)) == [grade]


def test_service_that_does_not_run_is_found(patient: Patient) -> None:
    assert grades(doctor.of_processes(patient)) == [Grade.WRONG]
    ended = subprocess.Popen(["true"])
    ended.wait()
    patient.folder.write_pids("http://localhost", {"web": os.getpid(), "beat": ended.pid})
    [finding] = doctor.of_processes(patient)
    assert (finding.grade, finding.words) == (Grade.MIND, "not running just now: beat")
    patient.folder.write_pids("http://localhost", {"web": os.getpid()})
    assert grades(doctor.of_processes(patient)) == [Grade.WELL]


def test_stores_that_do_not_answer_are_found(patient: Patient) -> None:
    [finding] = doctor.of_database(patient)
    assert finding.grade is Grade.WRONG
    assert "the database does not answer" in finding.words
    [finding] = doctor.of_broker(patient)
    assert finding.grade is Grade.WRONG


@pytest.mark.django_db
def test_database_of_an_older_release_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    known = backup_folder.known_migrations
    with connection.cursor() as cursor:
        assert doctor.missing_migrations(cursor) == []
        monkeypatch.setattr(
            backup_folder, "known_migrations", lambda app: {*known(app), "9999_later"}
        )
        assert len(doctor.missing_migrations(cursor)) == 3
        assert doctor.missing_migrations(cursor)[0] == "crews.9999_later"


@pytest.mark.django_db
def test_work_that_is_late_or_given_up_is_found() -> None:
    TaskRun.objects.all().delete()
    made = {"dedupe_key": "a", "created_at": NOW, "due_at": NOW}
    with connection.cursor() as cursor:
        assert grades(doctor.of_runs(cursor, NOW)) == [Grade.WELL]
        run = TaskRun.objects.create(kind="dayplan.solve", **made)
        assert grades(doctor.of_runs(cursor, NOW + timedelta(minutes=4))) == [Grade.WELL]
        [finding] = doctor.of_runs(cursor, NOW + timedelta(minutes=6))
        assert finding.grade is Grade.WRONG
        assert "late, one by 6 min" in finding.words
        run.state, run.finished_at = "dead", NOW
        run.save()
        well, given_up = doctor.of_runs(cursor, NOW + timedelta(hours=6))
        assert (well.grade, given_up.grade) == (Grade.WELL, Grade.MIND)
        assert given_up.words.endswith("dayplan.solve")
        assert grades(doctor.of_runs(cursor, NOW + timedelta(hours=25))) == [Grade.WELL]


@pytest.mark.django_db
def test_phones_that_are_silent_are_counted(farm: Farm) -> None:
    device, _token = make_phone(farm.worker, farm.now)
    later = farm.now + timedelta(days=4)
    with connection.cursor() as cursor:
        assert grades(doctor.of_phones(cursor, farm.now)) == [Grade.WELL]
        [before] = doctor.of_phones(cursor, later)
        assert before.grade is Grade.MIND
        revoke_device(site_id=farm.site.pk, device_id=device.pk, at=farm.now)
        [after] = doctor.of_phones(cursor, later)
        assert int(after.words.split()[0]) == int(before.words.split()[0]) - 1
        assert farm.slug in next(doctor.of_farm(cursor)).words


@pytest.fixture
def answering() -> Iterator[tuple[str, list[tuple[int, dict[str, str]]]]]:
    """A server that gives one answer to all, and the answer."""
    answer: list[tuple[int, dict[str, str]]] = [(200, {})]

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            status, body = answer[0]
            self.send_response(status)
            self.end_headers()
            self.wfile.write(json.dumps(body).encode())

        def log_message(self, *_words: object) -> None:
            pass

    with ThreadingHTTPServer(("127.0.0.1", 0), Handler) as server:
        threading.Thread(target=server.serve_forever).start()
        yield f"http://127.0.0.1:{server.server_port}", answer
        server.shutdown()


def test_page_that_is_not_ready_or_not_there_is_found(
    patient: Patient, answering: tuple[str, list[tuple[int, dict[str, str]]]]
) -> None:
    address, answer = answering
    patient.folder.write_environment({"SITE_URL": address})
    assert grades(doctor.of_web(patient)) == [Grade.WELL]
    answer[0] = 503, {"waiting_for": "migrations"}
    [finding] = doctor.of_web(patient)
    assert finding.words == f"{address} answers and waits for: migrations"
    assert finding.grade is Grade.WRONG
    answer[0] = 503, {"waiting_for": "farm"}
    assert grades(doctor.of_web(patient)) == [Grade.MIND]
    patient.folder.write_environment({"SITE_URL": f"http://127.0.0.1:{free_port()}"})
    [finding] = doctor.of_web(patient)
    assert "does not answer" in finding.words


def test_certificate_near_its_end_is_found(patient: Patient) -> None:
    assert grades(doctor.of_certificate(patient)) == []
    tls.farm_certificate(patient.folder.root / "tls", "barn.lan")
    for days, grade in ((0, Grade.WELL), (380, Grade.WRONG)):
        then = Patient(patient.folder, datetime.now(UTC) + timedelta(days=days))
        assert grades(doctor.of_certificate(then)) == [grade]


def test_backup_that_is_old_missing_or_damaged_is_found(patient: Patient) -> None:
    assert patient.backups is not None
    assert grades(doctor.of_backups(patient)) == [Grade.WRONG]
    made = patient.backups / "penround-20260303T200000000Z"
    made.mkdir(parents=True)
    facts, release = Facts("18", 0, {}, {}, {}, {}, {}), backup_folder.penround_version()
    for hours, grade in ((16, Grade.WELL), (27, Grade.WRONG)):
        at = (NOW - timedelta(hours=hours)).isoformat()
        (made / MANIFEST).unlink(missing_ok=True)
        backup_folder.write_manifest(made, Manifest(release, at, facts, "", {}, []))
        [finding] = doctor.of_backups(patient)
        assert finding.grade is grade
        assert f"{hours} h old" in finding.words
    (made / MANIFEST).write_text("{")
    [finding] = doctor.guarded(doctor.of_backups, patient)
    assert finding.grade is Grade.WRONG
    assert "damaged" in finding.words


def test_without_the_backups_what_is_remembered_of_them_is_told(patient: Patient) -> None:
    there = replace(patient, backups=None)
    assert grades(doctor.of_backups(there)) == [Grade.MIND]
    for hours, grade in ((16, Grade.WELL), (27, Grade.WRONG)):
        made = Path("usb") / "penround-20260303T200000000Z"
        backup_record.remember_made(there.folder, made, NOW - timedelta(hours=hours))
        [finding] = doctor.of_backups(there)
        assert (finding.grade, finding.words) == (grade, f"a backup was made {hours} h ago in usb")
    backup_record.remember_failed(there.folder, "no room")
    [finding] = doctor.of_backups(there)
    assert (finding.grade, finding.words) == (Grade.WRONG, "the last backup failed: no room")
