"""Status, and what Today tells of it: the worst first, each with what to do; quiet while well."""

from __future__ import annotations

import os
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.test import Client

from config import backup_record, tls
from config.data_folder import DataFolder
from crews.devices.models import Device
from equipment.site import condition
from equipment.site.models import Role, RunState, Site, TaskRun
from tests.farm import Farm

from .conftest import NOW, ClientOf
from .reading import rows, section, url, words

pytestmark = pytest.mark.django_db
HOUR, DAY = timedelta(hours=1), timedelta(days=1)
Beat = Callable[..., None]


@pytest.fixture
def kept(tmp_path: Path, settings: Any, monkeypatch: pytest.MonkeyPatch) -> DataFolder:
    """The data folder of a service that `up` runs, with all well in it."""
    folder = DataFolder(tmp_path / "data")
    folder.make()
    settings.DATA_ROOT = folder.root
    secured = tls.farm_certificate(folder.root / "tls", "barn.lan")
    settings.TLS_CERTIFICATE = secured.certificate
    monkeypatch.setitem(connection.settings_dict, "HOST", str(folder.places.sockets))
    monkeypatch.setattr(condition, "free_bytes", lambda: 41_300_000_000)
    backup_record.remember_made(folder, tmp_path / "usb" / "penround-1", NOW - 6 * HOUR)
    for name in ("worker", "solver"):
        sign(folder, name, NOW - timedelta(seconds=3))
    return folder


def sign(folder: DataFolder, name: str, at: datetime) -> None:
    file = folder.root / "run" / f"heartbeat-{name}"
    file.touch()
    os.utime(file, (at.timestamp(), at.timestamp()))


@pytest.fixture
def quiet(farm: Farm, kept: DataFolder) -> DataFolder:
    """Nothing of the service's own work is late, and every phone was heard."""
    TaskRun.objects.all().delete()
    Device.objects.filter(site=farm.site).update(last_seen_at=NOW - HOUR)
    return kept


def run(site: Site, due_at: datetime, **facts: Any) -> TaskRun:
    made = {"kind": "dayplan.solve", "dedupe_key": "late", "created_at": due_at, "due_at": due_at}
    return TaskRun.objects.create(site=site, **{**made, **facts})


def status(client: Client) -> str:
    return words(client.get(url("status")))


# All well ---------------------------------------------------------------------------------------


def test_where_all_is_well_nothing_is_asked_for_and_today_is_quiet(
    quiet: DataFolder, manager: Client
) -> None:
    said = status(manager)

    assert "Nothing must be put right." in said
    assert "Put right now" not in said
    assert "6 hours ago Last backup 2 of 2 Phones heard within a day" in said
    assert "41.3 GB Room on the disk 0 Own work late 2 of 2 Background processes" in said
    assert "manage.py" not in said
    today = manager.get(url("today")).content.decode()
    assert url("status") in today  # in the list of pages, and nowhere else
    assert today.count(url("status")) == 1


# Each fault -------------------------------------------------------------------------------------


def no_backup(kept: DataFolder) -> None:
    kept.backup_record.unlink()


def old_backup(kept: DataFolder) -> None:
    backup_record.remember_made(kept, kept.root.parent / "usb" / "penround-1", NOW - 30 * HOUR)


def failed_backup(kept: DataFolder) -> None:
    backup_record.remember_failed(kept, "usb is not there. Is its disk mounted?")


@pytest.mark.parametrize(
    ("fault", "told"),
    [
        (no_backup, "No whole backup of this farm is on record here."),
        (old_backup, "The last whole one is from Tue 3 Mar 3:00 am, 1 day, 6 hours ago."),
        (
            failed_backup,
            "The backup of 9:00 am failed. The last whole one is from 3:00 am, 6 hours ago.",
        ),
    ],
)
def test_backup_that_is_missing_old_or_failed_stands_first_and_on_today(
    fault: Callable[[DataFolder], None],
    told: str,
    farm: Farm,
    quiet: DataFolder,
    manager: Client,
) -> None:
    Site.objects.filter(pk=farm.site.pk).update(created_at=NOW - 30 * DAY)
    assert told not in words(manager.get(url("today")))

    fault(quiet)

    said = status(manager)
    assert "1 thing must be put right." in said
    assert "the worst first Put right now Last backup" in said
    assert told in said
    assert f"python3 manage.py backup --data {quiet.root} --out " in said
    assert f"{told} What to do" in words(manager.get(url("today")))


def test_why_a_backup_failed_and_what_to_type_are_for_leads(
    quiet: DataFolder, manager: Client, worker: Client
) -> None:
    failed_backup(quiet)

    assert "usb is not there. Is its disk mounted?" in status(manager)
    assert f"--out {quiet.root.parent / 'usb'}" in status(manager)
    said = status(worker)
    assert "Tell a lead." in said
    assert "usb" not in said
    assert "manage.py" not in said


def test_new_farm_without_a_backup_is_reminded_and_not_alarmed(
    farm: Farm, quiet: DataFolder, manager: Client
) -> None:
    Site.objects.filter(pk=farm.site.pk).update(created_at=NOW - HOUR)
    no_backup(quiet)

    assert "Mind Last backup: none" in status(manager)
    assert "No whole backup" not in words(manager.get(url("today")))


def test_backups_of_another_server_are_said_to_be_unknown(
    quiet: DataFolder, manager: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    old_backup(quiet)
    monkeypatch.setitem(connection.settings_dict, "HOST", "db.example")

    assert "Not known Last backup: not known The database is on a server" in status(manager)
    assert "last whole one" not in words(manager.get(url("today")))


def test_record_that_cannot_be_read_is_said_to_be_unknown(
    quiet: DataFolder, manager: Client
) -> None:
    quiet.backup_record.write_text("{")

    assert "What is remembered of backups cannot be read." in status(manager)


def test_work_that_stands_still_is_told_until_it_goes_on(
    farm: Farm, quiet: DataFolder, manager: Client
) -> None:
    told = "1 piece of the service's own work stands still, since 8:54 am."
    late = run(farm.site, NOW - timedelta(minutes=6), kind="work.consume")
    assert "Put right now Own work late: 1" in status(manager)
    assert f"python3 manage.py doctor --data {quiet.root}" in status(manager)
    assert f"{told} What to do" in words(manager.get(url("today")))

    TaskRun.objects.filter(pk=late.pk).update(state=RunState.DONE)

    assert told not in status(manager)
    assert told not in words(manager.get(url("today")))


def test_work_given_up_is_listed_and_its_fault_is_for_leads(
    farm: Farm, quiet: DataFolder, manager: Client, worker: Client
) -> None:
    dead = {"state": RunState.DEAD, "attempts": 5, "error": "ValueError: no way"}
    run(farm.site, NOW - HOUR, finished_at=NOW - HOUR, **dead)

    table = rows(manager.get(url("status")).content.decode())
    assert ["dayplan.solve", "8:00 am", "5", "ValueError: no way"] in table
    assert ["dayplan.solve", "8:00 am", "5"] in rows(worker.get(url("status")).content.decode())
    assert "Mind Given up: 1" in status(manager)


def test_certificate_near_its_end_or_over_is_told_with_its_days(
    quiet: DataFolder, manager: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    ends = condition.Certificate(NOW + 12 * DAY, is_farms=True)
    monkeypatch.setattr(condition, "certificate", lambda: ends)
    assert "Put right now Certificate: 12 days left Phones trust it until Mon 16 Mar." in status(
        manager
    )

    over = condition.Certificate(NOW - DAY, is_farms=False)
    monkeypatch.setattr(condition, "certificate", lambda: over)
    said = status(manager)
    assert "It ended on Tue 3 Mar: phones send nothing. Have a new one signed" in said


@pytest.mark.parametrize(("by_tls", "told"), [(True, "Not known Certificate"), (False, "NAME")])
def test_without_a_certificate_it_is_said_what_that_means(
    by_tls: bool, told: str, quiet: DataFolder, manager: Client, settings: Any
) -> None:
    settings.TLS_CERTIFICATE, settings.SERVED_BY_TLS = None, by_tls

    assert told in status(manager)


@pytest.mark.parametrize(
    ("free", "told"),
    [
        (900_000_000, "Put right now Room on the disk: 0.9 GB"),
        (4_000_000_000, "Mind Room on the disk: 4.0 GB"),
        (None, "Not known Room on the disk"),
    ],
)
def test_scarce_room_is_told(
    free: int | None,
    told: str,
    quiet: DataFolder,
    manager: Client,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(condition, "free_bytes", lambda: free)

    assert told in status(manager)


def test_process_that_went_silent_is_told_from_one_that_has_not_begun(
    quiet: DataFolder, manager: Client
) -> None:
    (quiet.root / "run" / "heartbeat-solver").unlink()
    assert "Mind Background processes: 1 of 2" in status(manager)

    sign(quiet, "solver", NOW - timedelta(minutes=7))
    assert "Put right now Background processes: 1 of 2" in status(manager)


def test_service_that_up_does_not_run_says_what_is_not_known(
    farm: Farm, manager: Client, settings: Any
) -> None:
    settings.DATA_ROOT = None

    said = status(manager)

    assert "Not known Background processes" in said
    assert "Not known Last backup" in said


# Phones -----------------------------------------------------------------------------------------


def test_phones_stand_with_their_last_contact_the_longest_silent_first(
    farm: Farm, quiet: DataFolder, manager: Client
) -> None:
    Device.objects.filter(pk=farm.phone.pk).update(last_seen_at=NOW - 4 * DAY)

    response = manager.get(url("status"))

    table = [row for row in rows(response.content.decode()) if row[0] in ("Ana", "Max")]
    assert table == [
        ["Ana", "Mind Sat 28 Feb 9:00 am · 4 days ago", "nothing yet"],
        ["Max", "8:00 am · 1 hour ago", "nothing yet"],
    ]
    said = words(response)
    assert "1 phone was not heard of for 3 days. The longest silent is Ana's: 4 days ago." in said
    assert "is on that phone alone: nobody here can count it" in section(response, "page")


# Who and how much -------------------------------------------------------------------------------


def test_page_of_faults_takes_few_queries(
    farm: Farm, quiet: DataFolder, client_of: ClientOf, django_assert_max_num_queries: Any
) -> None:
    failed_backup(quiet)
    run(farm.site, NOW - HOUR, kind="work.consume")
    client = client_of(Role.WORKER)
    client.get(url("status"))

    with django_assert_max_num_queries(10):
        assert client.get(url("status")).status_code == 200
