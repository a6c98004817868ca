"""How the service itself is: what is read is what is there, and what cannot be read is not well."""

from __future__ import annotations

import os
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.db import connection

from config import backup_record, disk, doctor, env, heartbeat, tls
from config.data_folder import DataFolder
from config.up import Service
from equipment.site import condition
from equipment.site.condition import BackupRecord, OwnWork
from equipment.site.models import RunState, Site, TaskRun
from tests.factories import make_site

NOW = datetime(2026, 3, 4, 12, tzinfo=UTC)
MINUTE = timedelta(minutes=1)


@pytest.fixture
def folder(tmp_path: Path, settings: Any, monkeypatch: pytest.MonkeyPatch) -> DataFolder:
    """A data folder as `up` names it to what it starts."""
    made = DataFolder(tmp_path / "data")
    made.make()
    settings.DATA_ROOT = made.root
    monkeypatch.setitem(connection.settings_dict, "HOST", str(made.places.sockets))
    return made


# Backups ----------------------------------------------------------------------------------------


def test_no_backup_is_on_record_before_the_first(folder: DataFolder) -> None:
    assert condition.backup_record() == BackupRecord()


def test_whole_backup_is_remembered_and_a_later_failure_beside_it(
    folder: DataFolder, tmp_path: Path
) -> None:
    backup_record.remember_made(folder, tmp_path / "out" / "penround-1", NOW)
    assert condition.backup_record() == BackupRecord(NOW, str(tmp_path / "out"))

    backup_record.remember_failed(folder, "the disk is full")

    found = condition.backup_record()
    assert found is not None
    assert (found.made_at, found.to, found.why) == (NOW, str(tmp_path / "out"), "the disk is full")
    assert found.failed_at is not None

    backup_record.remember_made(folder, tmp_path / "out" / "penround-2", NOW + MINUTE)
    assert condition.backup_record() == BackupRecord(NOW + MINUTE, str(tmp_path / "out"))


@pytest.mark.parametrize("text", ["", "[]", "{", '{"made_at": "yesterday"}', '{"made_at": 7}'])
def test_record_that_cannot_be_read_is_unknown_and_not_none(folder: DataFolder, text: str) -> None:
    folder.backup_record.write_text(text)

    assert condition.backup_record() is None


def test_failure_over_a_damaged_record_is_told(folder: DataFolder) -> None:
    folder.backup_record.write_text("{")

    backup_record.remember_failed(folder, "no room")

    found = condition.backup_record()
    assert found is not None
    assert (found.made_at, found.why) == (None, "no room")


def test_backup_is_old_after_a_day_and_the_time_it_takes(folder: DataFolder) -> None:
    record = BackupRecord(made_at=NOW)

    assert not record.is_old(NOW + timedelta(hours=26))
    assert record.is_old(NOW + timedelta(hours=26, seconds=1))
    assert not BackupRecord().is_old(NOW)


def test_database_on_a_server_of_the_farms_own_is_told_from_the_folders(
    folder: DataFolder, settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert condition.is_database_kept_here()

    monkeypatch.setitem(connection.settings_dict, "HOST", "db.example")
    assert not condition.is_database_kept_here()

    settings.DATA_ROOT = None
    assert not condition.is_database_kept_here()
    assert condition.backup_record() is None


def test_thresholds_are_those_of_the_commands() -> None:
    assert DataFolder(Path("x")).backup_record.name == condition.RECORD
    assert condition.SILENT_AFTER.total_seconds() == heartbeat.SILENT_AFTER_S
    assert condition.OLD_BACKUP == doctor.OLD_BACKUP
    assert condition.CERTIFICATE_ENDS == doctor.CERTIFICATE_ENDS
    assert (condition.LEAST_BYTES, condition.SCARCE_BYTES) == (
        doctor.LEAST_BYTES,
        doctor.SCARCE_BYTES,
    )


@pytest.mark.parametrize("by_tls", [True, False])
def test_what_up_starts_is_told_where_the_data_and_the_certificate_are(
    folder: DataFolder, by_tls: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    service = Service(folder, 8000, with_demo=False)
    if by_tls:
        service.secure(tls.farm_certificate(folder.root / "tls", "barn.lan"), 8080)
    for name, value in service.environment().items():
        monkeypatch.setenv(name, value)

    assert env.read_path("DATA_ROOT") == folder.root
    file = folder.root / "tls" / "site.crt"
    assert env.read_path("TLS_CERTIFICATE") == (file if by_tls else None)
    assert Path(service.heartbeats["solver"]) == folder.root / "run" / "heartbeat-solver"


# Certificate, disk, signs of life ---------------------------------------------------------------


def test_certificate_of_the_farms_authority_is_read(folder: DataFolder, settings: Any) -> None:
    secured = tls.farm_certificate(folder.root / "tls", "barn.lan")
    settings.TLS_CERTIFICATE = secured.certificate

    found = condition.certificate()

    assert found is not None
    assert found.is_farms
    assert found.ends_at == tls.read_certificate(secured.certificate).not_valid_after_utc


def test_certificate_of_another_authority_is_told_from_it(
    folder: DataFolder, settings: Any, tmp_path: Path
) -> None:
    settings.TLS_CERTIFICATE = tls.farm_certificate(tmp_path / "own", "barn.lan").certificate

    found = condition.certificate()

    assert found is not None
    assert not found.is_farms


def test_certificate_that_cannot_be_read_is_none(folder: DataFolder, settings: Any) -> None:
    settings.TLS_CERTIFICATE = folder.root / "site.crt"
    assert condition.certificate() is None
    (folder.root / "site.crt").write_text("no certificate")
    assert condition.certificate() is None
    settings.TLS_CERTIFICATE = None
    assert condition.certificate() is None


def test_room_is_that_of_the_datas_disk_though_the_folder_is_still_to_be_made(
    folder: DataFolder, settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[Path] = []

    def usage(path: Path) -> Any:
        asked.append(path)
        return type("Usage", (), {"free": 7})

    monkeypatch.setattr("equipment.site.condition.shutil.disk_usage", usage)
    settings.DATA_ROOT = folder.root / "not" / "yet"

    assert condition.free_bytes() == 7
    assert asked == [folder.root]
    assert disk.free_bytes(folder.root) == 7  # the command looks at the same


def test_signs_of_life_are_the_times_of_their_files(folder: DataFolder, settings: Any) -> None:
    worker = folder.root / "run" / "heartbeat-worker"
    worker.touch()
    os.utime(worker, (NOW.timestamp(), NOW.timestamp()))

    assert condition.signs_of_life() == {"worker": NOW, "solver": None}

    settings.DATA_ROOT = None
    assert condition.signs_of_life() is None


# Own work ---------------------------------------------------------------------------------------


@pytest.fixture
def site(db: None) -> Site:
    made = make_site()
    TaskRun.objects.all().delete()
    return made


def run(site: Site | None, due_at: datetime, **facts: Any) -> TaskRun:
    key = f"{TaskRun.objects.count()}"
    made = {"kind": "work.consume", "dedupe_key": key, "created_at": due_at, "due_at": due_at}
    return TaskRun.objects.create(site=site, **{**made, **facts})


def test_work_that_waits_for_its_time_or_is_being_done_is_not_late(site: Site) -> None:
    run(site, NOW + MINUTE)
    run(site, NOW - 59 * timedelta(seconds=1))
    run(site, NOW - 3 * MINUTE, state=RunState.RUNNING, lease_until=NOW + MINUTE)
    run(site, NOW - 3 * MINUTE, state=RunState.DONE)

    assert condition.own_work(site.pk, NOW) == OwnWork(2, 1, 0, None)


def test_quick_work_that_nobody_takes_stands_still_after_a_minute_and_clears_itself(
    site: Site,
) -> None:
    late = run(site, NOW - MINUTE)
    lost = run(site, NOW - 2 * MINUTE, state=RunState.RUNNING, lease_until=NOW)

    assert condition.own_work(site.pk, NOW) == OwnWork(1, 1, 2, NOW - 2 * MINUTE)

    TaskRun.objects.filter(pk__in=[late.pk, lost.pk]).update(state=RunState.DONE)
    assert condition.own_work(site.pk, NOW).late_since is None


def test_slow_work_stands_still_only_where_nobody_does_any_of_it(site: Site) -> None:
    run(site, NOW - 15 * MINUTE, queue="solve")
    assert condition.own_work(site.pk, NOW - MINUTE).n_late == 0
    assert condition.own_work(site.pk, NOW) == OwnWork(1, 0, 1, NOW - 15 * MINUTE)

    going = {"state": RunState.RUNNING, "lease_until": NOW + MINUTE}
    run(site, NOW - 20 * MINUTE, queue="forecast", **going)
    assert condition.own_work(site.pk, NOW).n_late == 0


def test_another_farms_work_is_not_told_and_that_of_no_farm_is(site: Site) -> None:
    run(make_site("theirs"), NOW - 5 * MINUTE)
    TaskRun.objects.filter(kind="work.consume").exclude(site__slug="theirs").delete()
    assert condition.own_work(site.pk, NOW).n_late == 0

    run(None, NOW - 5 * MINUTE)
    assert condition.own_work(site.pk, NOW).n_late == 1


def test_given_up_is_told_since_a_moment_the_last_first(site: Site) -> None:
    dead = {"state": RunState.DEAD}
    run(site, NOW, finished_at=NOW - timedelta(days=2), **dead)
    first = run(site, NOW, finished_at=NOW - 2 * MINUTE, **dead)
    last = run(site, NOW, finished_at=NOW - MINUTE, **dead)
    run(make_site("theirs"), NOW, finished_at=NOW, **dead)

    assert list(condition.given_up(site.pk, NOW - timedelta(days=1))) == [last, first]
