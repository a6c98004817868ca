"""Backup and restore are killed with -9 at points of their work: what is there is whole (R24).

Each kill is shown to have happened; then the same command again does all. With a guard taken out
the same look finds the harm.
"""

from __future__ import annotations

import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from config import backup_folder
from config.backup_folder import BackupError
from config.database_facts import Connection
from config.rooms import BASE_DIR
from tests.config.kept_farm import EPOCH, KeptFarm, backed_up, copied, database, stored
from tests.config.service import processes_of
from tests.config.waiting import wait_for

pytestmark = pytest.mark.faults

BACKUP_POINTS = [
    "config.backup:database_of:1",
    "subprocess.run:pg_dump",
    "config.backup:write_media:1",
    "config.backup:link:3",
    "config.backup_folder:write_manifest:1",
    "subprocess.run:pg_restore",
    "config.disk:flush_folders:1",
    "config.backup:tell_phones:1",
    "config.backup:thin_out:1",
]
RESTORE_POINTS = [
    "config.restore:check_room:1",
    "config.stores:init_cluster:1",
    "subprocess.run:pg_restore",
    "config.restore:compare:1",
    "config.stores:flush_cluster:1",
    "config.disk:copy:3",
    "config.restore:flush_top:1",
    "config.disk:exchange:1",
    "config.restore:move_aside:1",
]


@pytest.fixture(scope="module")
def farm() -> Iterator[KeptFarm]:
    """Give the farm and a backup of it; every kill finds what the one before has left."""
    with copied(backed_up) as made:
        subprocess.run(["cp", "-a", str(stored()), str(made.root)], check=True)
        (made.folder.root / "of-before").touch()
        yield made


def run_killed(farm: KeptFarm, point: str, *command: str) -> None:
    """Run a command, see it killed, and wait until all that it began has ended."""
    words = [sys.executable, "-m", "tests.faults.killed_at", point, *command]
    done = subprocess.run(words, check=False, cwd=BASE_DIR, capture_output=True, text=True)
    assert done.returncode == -signal.SIGKILL, f"{point} was not met:\n{done.stderr}"
    wait_for(lambda: not processes_of(farm.root), "what it began has ended", 30)


def to_back_up(farm: KeptFarm) -> list[str]:
    return ["backup", "--data", str(farm.folder.root), "--out", str(farm.out)]


def to_restore(farm: KeptFarm) -> list[str]:
    made = str(farm.backups()[0])
    return ["restore", made, "--data", str(farm.folder.root), "--aside"]


def look_at_backups(farm: KeptFarm) -> int:
    """Read whatever has a backup's name, to its last byte; give how many there are."""
    for made in farm.backups():
        backup_folder.check_files(made, backup_folder.read_manifest(made))
    return len(farm.backups())


def kept_through(connection: Connection) -> tuple[int, str]:
    query = "SELECT kept_through, epoch::text FROM equipment_siteversion"
    row = connection.execute(query).fetchone()
    assert row is not None
    return int(row[0]), str(row[1])


@pytest.mark.parametrize("point", BACKUP_POINTS)
def test_killed_backup_is_whole_or_not_there(farm: KeptFarm, point: str) -> None:
    n_before = look_at_backups(farm)
    with database(farm.folder.root) as connection:
        connection.execute("UPDATE equipment_siteversion SET version = version + 1")
        told_before, _epoch = kept_through(connection)

    run_killed(farm, point, *to_back_up(farm), "--keep", "1")

    n_after = look_at_backups(farm)
    is_whole = point.partition(":")[2] in {"tell_phones:1", "thin_out:1"}
    assert n_after == n_before + is_whole
    with database(farm.folder.root) as connection:
        told, _epoch = kept_through(connection)
    assert (told > told_before) == ("thin_out" in point)  # told by then, and no earlier

    assert farm.backup("--keep", "1") == 0
    assert look_at_backups(farm) == 1
    assert farm.names() == {"data", "out", farm.backups()[0].name}


def test_without_a_temporary_name_a_killed_backup_is_taken_for_one(farm: KeptFarm) -> None:
    without = ["--without", "temporary_name", *to_back_up(farm)]

    run_killed(farm, "config.backup:write_media:1", *without)

    with pytest.raises(BackupError):
        look_at_backups(farm)
    broken = farm.backups()[-1]
    broken.rename(broken.with_name(broken.name + ".part"))  # taken away by the next


@pytest.mark.parametrize("point", RESTORE_POINTS)
def test_killed_restore_leaves_the_old_farm_or_the_new(farm: KeptFarm, point: str) -> None:
    run_killed(farm, point, *to_restore(farm))

    is_new = "move_aside" in point
    assert is_old_farm(farm.folder.root) != is_new
    with database(farm.folder.root) as connection:
        assert (kept_through(connection)[1] == EPOCH) != is_new

    assert farm.restore("--aside", into="data") == 0
    olds = [path for path in farm.root.iterdir() if is_old_farm(path)]
    assert len(olds) == 1, "the old farm is nowhere, or twice"
    assert ".aside-" in olds[0].name
    with database(farm.folder.root) as connection:
        assert kept_through(connection)[1] != EPOCH
    put_back(farm, olds[0])


def is_old_farm(folder: Path) -> bool:
    return (folder / "of-before").exists()


def put_back(farm: KeptFarm, old: Path) -> None:
    """Let the farm of before be in its place, as for the next kill."""
    for path in farm.root.iterdir():
        if path not in (old, farm.out):
            subprocess.run(["rm", "-r", str(path)], check=True)
    old.rename(farm.folder.root)


def test_without_one_step_a_killed_restore_leaves_no_farm_in_its_place(farm: KeptFarm) -> None:
    run_killed(farm, "config.disk:free_bytes:2", "--without", "one_step", *to_restore(farm))

    assert not farm.folder.root.exists()
    put_back(farm, farm.root / "between")
