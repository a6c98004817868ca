"""`manage.py backup`: all of a farm at one moment, or no backup at all (reliability R24)."""

import errno
import json
import os
import shutil
import stat
import subprocess
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import psycopg
import pytest

from config import backup, backup_folder, disk
from config.backup_folder import BackupError
from config.database_facts import Table, differences, read_facts
from tests.config.kept_farm import (
    EPOCH,
    PHOTOS,
    VERSION,
    KeptFarm,
    copied,
    database,
    digest_of,
    stored,
)


@pytest.fixture
def farm() -> Iterator[KeptFarm]:
    with copied(stored) as made:
        yield made


def kept_through(farm: KeptFarm) -> int:
    with database(farm.folder.root) as connection:
        row = connection.execute("SELECT kept_through FROM equipment_siteversion").fetchone()
    assert row is not None
    return int(row[0])


def test_backup_of_a_farm_that_does_not_run_is_whole(
    farm: KeptFarm, capsys: pytest.CaptureFixture[str]
) -> None:
    assert farm.backup() == 0

    [made] = farm.backups()
    assert capsys.readouterr().out == f"{made}\n"
    manifest = backup_folder.read_manifest(made)
    backup_folder.check_files(made, manifest)
    site = manifest.facts.sites["three-cairns"]
    assert (site.version, site.epoch) == (VERSION, EPOCH)
    assert manifest.facts.tables["equipment_attachment"].rows == len(PHOTOS)
    assert manifest.media == {digest_of(body): len(body) for body in PHOTOS}
    assert manifest.facts.migrations["schedules"][-1] == "0014_nudges"
    assert not farm.folder.pids.exists()


def test_whole_backup_is_told_to_phones(farm: KeptFarm) -> None:
    assert farm.backup() == 0

    assert kept_through(farm) == VERSION


def test_backup_that_fails_at_its_last_check_is_not_there_and_told_to_nobody(
    farm: KeptFarm, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def cut(file: Path) -> None:
        os.truncate(file, file.stat().st_size // 2)
        really(file)

    really = backup.check_dump
    monkeypatch.setattr(backup, "check_dump", cut)

    assert farm.backup() == 1

    assert farm.names() == {"data", "out"}
    assert kept_through(farm) == 7
    assert "pg_restore failed" in capsys.readouterr().err


def remembered(farm: KeptFarm) -> dict[str, str]:
    return dict(json.loads(farm.folder.backup_record.read_text()))


def test_data_folder_remembers_the_last_whole_backup_and_a_failure_since(
    farm: KeptFarm, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(_file: Path) -> None:
        raise BackupError("pg_restore failed: cut off")

    assert farm.backup() == 0
    made_at = backup_folder.read_manifest(farm.backups()[0]).made_at
    assert remembered(farm) == {"made_at": made_at, "to": str(farm.out)}
    assert stat.S_IMODE(farm.folder.backup_record.stat().st_mode) == 0o600

    monkeypatch.setattr(backup, "check_dump", fail)
    assert farm.backup() == 1

    known = remembered(farm)
    assert known.pop("failed_at") >= made_at
    assert known == {"made_at": made_at, "to": str(farm.out), "why": "pg_restore failed: cut off"}


def test_disk_that_is_not_mounted_is_a_failure_that_is_remembered(farm: KeptFarm) -> None:
    farm.out.rmdir()

    assert farm.backup() == 1

    assert "is not there. Is its disk mounted?" in remembered(farm)["why"]
    assert "made_at" not in remembered(farm)


def test_only_their_owner_reads_backups(farm: KeptFarm) -> None:
    farm.backup("--with-keys")

    for path in farm.out.rglob("*"):
        allowed = 0o700 if path.is_dir() else 0o600
        assert stat.S_IMODE(path.stat().st_mode) | allowed == allowed, path


def test_keys_are_in_it_only_where_asked_for(farm: KeptFarm) -> None:
    farm.backup()
    farm.backup("--with-keys")

    without, with_keys = farm.backups()
    secret = farm.folder.secret_key().encode()
    assert not [f for f in without.rglob("*") if f.is_file() and secret in f.read_bytes()]
    assert (with_keys / "keys" / "secret_key").read_bytes() == secret
    assert "people sign in again" in (without / "manifest.json").read_text()


def test_next_backup_shares_photos_and_stands_alone(farm: KeptFarm) -> None:
    farm.backup()
    farm.backup()

    first, second = farm.backups()
    photo = backup_folder.media_path(second / "media", digest_of(PHOTOS[0]))
    assert photo.stat().st_nlink == 2
    shutil.rmtree(first)
    backup_folder.check_files(second, backup_folder.read_manifest(second))


def test_photo_that_rotted_in_the_backup_before_is_copied_anew(farm: KeptFarm) -> None:
    farm.backup()
    rotten = backup_folder.media_path(farm.backups()[0] / "media", digest_of(PHOTOS[1]))
    rotten.write_bytes(b"another")

    assert farm.backup() == 0

    second = farm.backups()[1]
    backup_folder.check_files(second, backup_folder.read_manifest(second))


def test_only_the_newest_are_kept(farm: KeptFarm) -> None:
    farm.backup()
    farm.backup()
    _first, second = farm.backups()

    farm.backup("--keep", "2")

    assert len(farm.backups()) == 2
    assert farm.backups()[0] == second


@pytest.mark.parametrize("harm", ["missing", "damaged"])
def test_lost_photo_is_named_and_may_be_left_out(
    farm: KeptFarm, harm: str, capsys: pytest.CaptureFixture[str]
) -> None:
    lost = digest_of(PHOTOS[2])
    if harm == "missing":
        farm.photo(2).unlink()
    else:
        farm.photo(2).write_bytes(PHOTOS[2][:-1])

    assert farm.backup() == 1
    words = capsys.readouterr().err
    assert lost in words
    assert "--leave-out-lost" in words
    assert not farm.backups()

    assert farm.backup("--leave-out-lost") == 0
    assert backup_folder.read_manifest(farm.backups()[0]).lost == [lost]
    assert farm.restore() == 0


def test_full_disk_is_said_before_anything_is_written(
    farm: KeptFarm, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(disk, "free_bytes", lambda folder: 1_000_000)

    assert farm.backup() == 1

    assert "has 1 MB free" in capsys.readouterr().err
    assert farm.names() == {"data", "out"}


def test_disk_that_fills_up_meanwhile_leaves_nothing(
    farm: KeptFarm, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def no_space(source: Path, target: Path) -> str:
        raise OSError(errno.ENOSPC, "No space left on device", str(target))

    monkeypatch.setattr(disk, "copy", no_space)

    assert farm.backup() == 1

    words = capsys.readouterr().err
    assert "No space left on device. Make room there" in words
    assert farm.names() == {"data", "out"}


@pytest.mark.skipif(os.geteuid() != 0, reason="only root may mount a small disk")
def test_small_disk_that_fills_up_leaves_nothing(
    farm: KeptFarm, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    mount = ["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", str(farm.out)]
    if subprocess.run(mount, check=False, capture_output=True).returncode:
        pytest.skip("this machine lets root mount nothing")
    try:
        monkeypatch.setattr(disk, "free_bytes", lambda folder: 10**12)

        assert farm.backup() == 1

        assert "No space left on device" in capsys.readouterr().err
        assert not list(farm.out.iterdir())
    finally:
        subprocess.run(["umount", str(farm.out)], check=True)


def test_backup_inside_the_data_folder_is_refused(
    farm: KeptFarm, capsys: pytest.CaptureFixture[str]
) -> None:
    farm.out = farm.folder.root / "backups"

    assert farm.backup() == 1

    assert "would be lost with it" in capsys.readouterr().err
    assert not farm.out.exists()


def test_folder_that_is_not_there_is_made_by_nobody(
    farm: KeptFarm, capsys: pytest.CaptureFixture[str]
) -> None:
    farm.out.rmdir()  # as where its disk is not mounted

    assert farm.backup() == 1

    assert "Is its disk mounted?" in capsys.readouterr().err
    assert not farm.out.exists()


def test_backup_dated_later_than_now_is_refused_before_anything_is_written(
    farm: KeptFarm, capsys: pytest.CaptureFixture[str]
) -> None:
    (farm.out / "penround-29991231T000000000Z").mkdir()

    assert farm.backup("--keep", "1") == 1

    assert "is dated later than now" in capsys.readouterr().err
    assert farm.names() == {"data", "out", "penround-29991231T000000000Z"}
    assert kept_through(farm) == 7


def test_only_the_farms_own_backups_are_thinned_out(farm: KeptFarm) -> None:
    assert farm.backup() == 0
    [first] = farm.backups()
    other = farm.out / "penround-20260101T000000000Z"
    other.mkdir()
    manifest = backup_folder.read_manifest(first)
    elsewhere = replace(manifest.facts, sites={"elsewhere": manifest.facts.sites["three-cairns"]})
    backup_folder.write_manifest(other, replace(manifest, facts=elsewhere))
    damaged = farm.out / "penround-20260102T000000000Z"
    damaged.mkdir()

    assert farm.backup("--keep", "1") == 0

    assert not first.exists()
    assert farm.backups()[:2] == [other, damaged]
    assert len(farm.backups()) == 3


def test_what_fails_after_a_backup_is_whole_is_told_and_it_is_named(
    farm: KeptFarm, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def fail(*_told: object) -> None:
        raise PermissionError("not yours")

    monkeypatch.setattr(backup, "thin_out", fail)

    assert farm.backup("--keep", "1") == 0

    said = capsys.readouterr()
    assert said.out == f"{farm.backups()[0]}\n"
    assert "is whole, but what comes after it was not all done: not yours" in said.err


def test_photo_that_cannot_be_read_is_lost_or_taken_from_where_it_can(
    farm: KeptFarm, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert farm.backup() == 0
    broken, digest, copy = {farm.backups()[0]}, disk.digest, disk.copy

    def is_broken(path: Path) -> bool:
        return path.name == digest_of(PHOTOS[1]) and any(b in path.parents for b in broken)

    def read(path: Path) -> str:
        if is_broken(path):
            raise OSError(errno.EIO, "Input/output error")
        return digest(path)

    def copied(source: Path, target: Path) -> str:
        read(source)
        return copy(source, target)

    monkeypatch.setattr(disk, "digest", read)
    monkeypatch.setattr(disk, "copy", copied)
    assert farm.backup() == 0  # the farm's own is sound
    broken |= {farm.folder.media, *farm.backups()}
    capsys.readouterr()
    assert farm.backup() == 1
    assert f"such as {digest_of(PHOTOS[1])}" in capsys.readouterr().err
    assert farm.backup("--leave-out-lost") == 0


def test_folder_without_a_farm_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    options = ["--data", str(tmp_path / "nothing"), "--out", str(tmp_path / "out")]

    assert backup.main(options) == 1

    assert "holds no farm's database. Name the folder" in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


def test_folder_that_another_command_uses_is_told(
    farm: KeptFarm, capsys: pytest.CaptureFixture[str]
) -> None:
    with farm.folder.lock():
        farm.folder.write_pids("which makes a backup", {})

        assert farm.backup() == 1

    words = capsys.readouterr().err
    assert f"process {os.getpid()}, which makes a backup" in words


def test_farm_on_a_server_of_its_own_is_refused(
    farm: KeptFarm, capsys: pytest.CaptureFixture[str]
) -> None:
    with farm.folder.lock():
        farm.folder.write_pids("http://localhost:8000", {})
        farm.folder.write_environment({"DATABASE_URL": "postgresql://farm@db.example/farm"})

        assert farm.backup() == 1

    assert "on a server of your own" in capsys.readouterr().err


def test_what_a_killed_backup_left_is_taken_away(farm: KeptFarm) -> None:
    left = farm.out / "penround-20261127T000000000Z.part"
    left.mkdir()
    farms = farm.out / "penround-farm.part"  # a farm of before, that a restore left so
    farms.mkdir()
    (left / "database.dump").write_bytes(b"PGDMP")

    assert farm.backup() == 0

    assert not left.exists()
    assert farms.exists()
    assert len(farm.backups()) == 1


def test_two_backups_into_one_folder_wait_for_each_other(
    farm: KeptFarm, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(disk, "LAST_ONE_ENDS_WITHIN_S", 0.0)
    with disk.held(farm.out):
        assert farm.backup() == 1

    assert "Another backup or restore works in" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ("DELETE FROM equipment_attachment WHERE width = 4", "has 0 rows and not 4"),
        ("UPDATE equipment_attachment SET height = 9", "rows of table equipment_attachment are"),
        ("DROP TABLE schedules_subscription CASCADE", "schedules_subscription is missing"),
        ("CREATE TABLE more (n int)", "table more is new"),
        ("ALTER TABLE equipment_actor DROP CONSTRAINT {}", "its constraints are others"),
        ("DELETE FROM django_migrations WHERE app = 'crews'", "its migrations are others"),
    ],
)
def test_databases_that_differ_are_told_apart(farm: KeptFarm, change: str, told: str) -> None:
    name = "SELECT conname FROM pg_constraint WHERE conrelid = 'equipment_actor'::regclass"
    with database(farm.folder.root) as connection:
        before = read_facts(connection)
        row = connection.execute(f"{name} AND contype = 'f'".encode()).fetchone()
        assert row is not None
        assert differences(before, read_facts(connection)) == []
        connection.execute(change.format(*row).encode())

        assert told in " ".join(differences(before, read_facts(connection)))


def test_order_of_rows_is_no_difference_and_a_doubled_row_is_one(farm: KeptFarm) -> None:
    def table(connection: psycopg.Connection[Any]) -> Table:
        return read_facts(connection).tables["seen"]

    with database(farm.folder.root) as connection:
        connection.execute("CREATE TABLE seen AS SELECT n FROM generate_series(1, 50) n")
        known = table(connection)
        connection.execute("TRUNCATE seen")
        connection.execute("INSERT INTO seen SELECT 51 - n FROM generate_series(1, 50) n")
        assert table(connection) == known
        connection.execute("UPDATE seen SET n = 2 WHERE n = 1")  # 2 twice, 1 not at all
        assert table(connection).rows == known.rows
        assert table(connection) != known


def test_damaged_manifest_is_told(farm: KeptFarm) -> None:
    farm.backup()
    file = farm.backups()[0] / "manifest.json"
    file.write_text(file.read_text().replace(f'"version": {VERSION}', '"version": 42'))

    with pytest.raises(BackupError, match="is damaged: its digest is another"):
        backup_folder.read_manifest(file.parent)


def test_manifest_is_read_as_it_was_written(farm: KeptFarm) -> None:
    farm.backup()
    made = farm.backups()[0]
    known = backup_folder.read_manifest(made)
    (made / "manifest.json").unlink()

    backup_folder.write_manifest(made, replace(known, lost=["x"]))

    assert backup_folder.read_manifest(made) == replace(known, lost=["x"])
