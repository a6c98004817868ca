"""`manage.py upgrade`: an older farm's data brought to this release, or left as they were."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import psycopg
import pytest

from config import backup_folder, disk, ledger, restore, upgrade
from config.backup_folder import known_migrations
from config.data_folder import DataFolder
from config.database_facts import Facts, differences, read_facts
from config.rooms import APPS, BASE_DIR
from config.up import environment_of
from tests.config.kept_farm import KeptFarm, copied, database, migrate, stored
from tests.config.waiting import wait_for

NEWER = "INSERT INTO django_migrations (app, name, applied) VALUES ('crews', '9999_later', now())"
IN_THE_WAY = "CREATE TABLE schedules_alert (id bigint)"  # which a later step makes


@pytest.fixture
def farm() -> Iterator[KeptFarm]:
    """Give a farm whose tables end at an older release's."""
    with copied(stored) as made:
        yield made


def run(farm: KeptFarm, *options: str) -> int:
    given = ("--data", str(farm.folder.root), "--out", str(farm.out), *options)
    return upgrade.main(list(given))


def told(capsys: pytest.CaptureFixture[str]) -> dict[str, Any]:
    return dict(json.loads(capsys.readouterr().out))


def facts_of(farm: KeptFarm) -> Facts:
    with database(farm.folder.root) as connection:
        return read_facts(connection)


def without_backups(facts: Facts) -> Facts:
    """Leave out the row in which a backup tells phones how far it goes."""
    tables = {k: v for k, v in facts.tables.items() if k != "equipment_siteversion"}
    return replace(facts, tables=tables, n_bytes=0)


def execute(farm: KeptFarm, statement: str) -> None:
    with database(farm.folder.root) as connection:
        connection.execute(statement.encode())


def prepare_process(farm: KeptFarm) -> subprocess.Popen[str]:
    """Start what `up` starts before it serves, on the running database."""
    on = environment_of(farm.folder, "http://localhost:8000")
    command = [sys.executable, "-m", "config.prepare"]
    pipes: dict[str, Any] = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
    return subprocess.Popen(command, cwd=BASE_DIR, env={**os.environ, **on}, text=True, **pipes)


def test_older_farm_is_brought_to_now_and_keeps_its_rows(
    farm: KeptFarm, capsys: pytest.CaptureFixture[str]
) -> None:
    before = facts_of(farm)

    assert run(farm, "--json") == 0

    said = told(capsys)
    after = facts_of(farm)
    assert {app: set(after.migrations[app]) for app in APPS} == {
        app: known_migrations(app) for app in APPS
    }
    assert after.tables["equipment_attachment"] == before.tables["equipment_attachment"]
    assert after.tables["equipment_actor"] == before.tables["equipment_actor"]
    assert said["outcome"] == "upgraded"
    assert said["was"]["schedules"] == "0014_nudges"
    assert said["now"]["schedules"] == max(known_migrations("schedules"))
    assert "no table has fewer than before" in said["rows"]
    assert {finding["grade"] for finding in said["findings"]} <= {"well", "mind"}
    [made] = farm.backups()
    assert said["backup"] == str(made)
    assert backup_folder.read_manifest(made).facts.migrations == before.migrations
    assert not farm.folder.pids.exists()


def test_steps_are_made_in_the_order_of_the_ledger(
    farm: KeptFarm, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(farm, "--json") == 0

    steps = told(capsys)["steps"]
    with database(farm.folder.root) as connection:
        rows = connection.execute("SELECT app || '.' || name FROM django_migrations ORDER BY id")
        made = [name for (name,) in rows]
    assert made[-len(steps) :] == steps
    assert steps.index("schedules.0015_problem_safety") < steps.index("schedules.0016_farm_edits")


def test_again_it_changes_nothing(farm: KeptFarm, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(farm) == 0
    before, names = facts_of(farm), farm.names()
    capsys.readouterr()

    assert run(farm) == 0

    assert "nothing is to come" in capsys.readouterr().out
    assert farm.names() == names
    assert differences(before, facts_of(farm)) == []


def test_dry_run_names_the_steps_and_changes_nothing(
    farm: KeptFarm, capsys: pytest.CaptureFixture[str]
) -> None:
    (farm.folder.root / "secret_key").unlink()
    before, names = facts_of(farm), farm.names()

    assert upgrade.main(["--data", str(farm.folder.root), "--dry-run"]) == 0

    said = capsys.readouterr().out
    assert "would  schedules.0015_problem_safety" in said
    assert farm.names() == names
    assert not (farm.folder.root / "secret_key").exists()
    assert differences(before, facts_of(farm)) == []


def test_without_a_folder_for_the_backup_nothing_begins(
    farm: KeptFarm, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit):
        upgrade.main(["--data", str(farm.folder.root)])
    assert "--out FOLDER is needed" in capsys.readouterr().err

    farm.out.rmdir()
    assert run(farm) == 1

    words = capsys.readouterr().err
    assert "Is its disk mounted?" in words
    assert "nothing was changed" in words
    assert facts_of(farm).migrations["schedules"][-1] == "0014_nudges"


def test_tables_of_a_newer_release_are_refused(
    farm: KeptFarm, capsys: pytest.CaptureFixture[str]
) -> None:
    execute(farm, NEWER)
    before = facts_of(farm)

    assert run(farm) == 1

    words = capsys.readouterr().err
    assert "is of a newer Penround than this one" in words
    assert "crews.9999_later" in words
    assert farm.backups() == []
    assert differences(before, facts_of(farm)) == []


def test_up_does_not_serve_tables_of_a_newer_release(farm: KeptFarm) -> None:
    with database(farm.folder.root) as connection:
        connection.execute(NEWER)
        process = prepare_process(farm)
        said = process.communicate(timeout=60)[1]
        rows = connection.execute(b"SELECT name FROM django_migrations WHERE app = 'schedules'")
        made = {name for (name,) in rows}

    assert process.returncode == 1
    assert "crews.9999_later" in said
    assert "0015_problem_safety" not in made


def test_service_that_runs_is_told(farm: KeptFarm, capsys: pytest.CaptureFixture[str]) -> None:
    folder = DataFolder(farm.folder.root)
    folder.make()
    with folder.lock():
        folder.write_pids("http://localhost:8000", {})

        assert run(farm) == 1

    words = capsys.readouterr().err
    assert f"process {os.getpid()}, http://localhost:8000. Stop it first" in words
    assert farm.backups() == []


def test_folder_without_a_farm_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert upgrade.main(["--data", str(tmp_path), "--dry-run"]) == 1

    assert "holds no farm's database" in capsys.readouterr().err


def test_full_disk_is_said_before_anything_is_done(
    farm: KeptFarm, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(disk, "free_bytes", lambda _folder: 3_000_000)

    assert run(farm) == 1

    assert "has 3 MB free" in capsys.readouterr().err
    assert farm.backups() == []
    assert facts_of(farm).migrations["schedules"][-1] == "0014_nudges"


def test_step_that_fails_leaves_all_as_it_was_and_the_way_back_works(
    farm: KeptFarm, capsys: pytest.CaptureFixture[str]
) -> None:
    """A table is in the way of one of the last steps: those before it are taken back too."""
    execute(farm, IN_THE_WAY)
    before = facts_of(farm)

    assert run(farm, "--json") == 1

    printed = capsys.readouterr()
    said = json.loads(printed.out)
    assert said["outcome"] == "failed"
    assert said["now"] == said["was"]
    assert 'relation "schedules_alert" already exists' in said["why"]
    assert "The database is as it was" in printed.err
    [made] = farm.backups()
    way_back = f"python3 manage.py restore {made} --data {farm.folder.root} --aside"
    assert way_back in printed.err
    assert said["restore"] == way_back
    assert differences(without_backups(before), without_backups(facts_of(farm))) == []

    assert restore.main(way_back.split()[3:]) == 0
    assert facts_of(farm).migrations == before.migrations


def raise_(error: Exception) -> Callable[..., Any]:
    """Make what fails, whatever it is given."""

    def fail(*_args: Any, **_kwargs: Any) -> Any:
        raise error

    return fail


@pytest.mark.parametrize(
    ("place", "name", "error"),
    [
        (upgrade, "check", OSError(28, "No space left on device")),
        (upgrade, "look_again", psycopg.OperationalError("the connection is lost")),
        (upgrade, "say_rows", OSError(5, "Input/output error")),
    ],
)
def test_fault_after_the_steps_is_never_told_as_nothing_changed(
    place: Any,
    name: str,
    error: Exception,
    farm: KeptFarm,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setattr(place, name, raise_(error))

    assert run(farm, "--json") == 1

    printed = capsys.readouterr()
    said = json.loads(printed.out)
    assert said["outcome"] == "failed"
    assert str(error) in printed.err
    assert said["restore"] in printed.err
    assert "nothing was changed" not in printed.err
    assert said["made"] == (None if name == "look_again" else said["steps"])
    how = "How far it came could not be seen" if said["made"] is None else "are up to date"
    assert how in printed.err
    assert set(facts_of(farm).migrations["schedules"]) == known_migrations("schedules")


def test_program_that_cannot_be_started_is_a_failure_that_says_how_far_it_came(
    farm: KeptFarm, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    real = upgrade.run

    def started(wanted: upgrade.Wanted, address: str, module: str, *options: str) -> str:
        if options != upgrade.LOOK:
            raise OSError(12, "Cannot allocate memory")
        return real(wanted, address, module, *options)

    monkeypatch.setattr(upgrade, "run", started)

    assert run(farm) == 1

    printed = capsys.readouterr()
    assert "Cannot allocate memory" in printed.err
    assert "The database is as it was" in printed.err
    assert "python3 manage.py restore" in printed.err
    assert "unmade schedules.0015_problem_safety" in printed.out


@pytest.mark.parametrize(
    ("made", "how"),
    [
        (None, "How far it came could not be seen."),
        ([], "The database is as it was."),
        (["a.1"], "Of 2 steps of the tables these alone are made: a.1."),
        (["a.1", "a.2"], "Its tables are up to date."),
    ],
)
def test_what_is_made_is_said_as_it_is(made: list[str] | None, how: str) -> None:
    told = upgrade.Told("1", "farm", steps=["a.1", "a.2"], has_begun=True, made=made)

    assert how in upgrade.how_it_stands(told, "fault")


def test_failed_upgrade_can_be_done_again_once_it_is_mended(farm: KeptFarm) -> None:
    execute(farm, IN_THE_WAY)
    assert run(farm) == 1
    execute(farm, "DROP TABLE schedules_alert")

    assert run(farm) == 0

    assert set(facts_of(farm).migrations["schedules"]) == known_migrations("schedules")
    assert len(farm.backups()) == 2


def n_waiting(connection: psycopg.Connection[Any]) -> int:
    query = b"SELECT count(*) FROM pg_locks WHERE locktype = 'advisory' AND NOT granted"
    row = connection.execute(query).fetchone()
    assert row is not None
    return int(row[0])


def test_who_makes_the_steps_second_waits_and_finds_them_made(farm: KeptFarm) -> None:
    with database(farm.folder.root) as connection:
        connection.execute("SELECT pg_advisory_lock(%s)", [ledger.LOCK])
        both = [prepare_process(farm) for _ in range(2)]
        wait_for(lambda: n_waiting(connection) == 2, "both wait for who makes steps now", 60)
        rows = connection.execute(b"SELECT count(*) FROM django_migrations").fetchone()
        connection.execute("SELECT pg_advisory_unlock(%s)", [ledger.LOCK])

        said = [process.communicate(timeout=120) for process in both]
        after = read_facts(connection)

    assert [process.returncode for process in both] == [0, 0], said
    assert rows is not None
    assert rows[0] < sum(len(names) for names in after.migrations.values())
    assert {app: set(after.migrations[app]) for app in APPS} == {
        app: known_migrations(app) for app in APPS
    }


def test_tables_made_by_up_at_once_are_those_made_by_steps(farm: KeptFarm) -> None:
    """All in one transaction gives what one after the other gives."""
    with copied(stored) as other:
        with database(other.folder.root) as connection:
            migrate(other.folder.root)
            by_steps = read_facts(connection)
        assert run(farm) == 0
        at_once = facts_of(farm)

    assert at_once.constraints == by_steps.constraints
    assert at_once.migrations == by_steps.migrations
    assert set(at_once.tables) == set(by_steps.tables)
