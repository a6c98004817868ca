"""`manage.py restore`: the farm of the backup in its place, or everything as it was (R24)."""

import errno
import os
import shutil
import subprocess
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from config import backup_folder, disk, restore
from config.backup_folder import DUMP, Manifest, known_migrations, media_path
from config.data_folder import DataFolder
from config.database_facts import differences, read_facts
from config.rooms import APPS
from tests.config.kept_farm import (
    EPOCH,
    PHOTOS,
    VERSION,
    KeptFarm,
    backed_up,
    copied,
    database,
    digest_of,
    migrate,
    stored,
)


@pytest.fixture
def farm() -> Iterator[KeptFarm]:
    """Give a backup of the farm, which itself is gone."""
    with copied(backed_up) as made:
        yield made


@pytest.fixture
def living(farm: KeptFarm) -> KeptFarm:
    """Let the farm be there too."""
    subprocess.run(["cp", "-a", str(stored()), str(farm.root)], check=True)
    return farm


def fails(farm: KeptFarm, capsys: pytest.CaptureFixture[str], *options: str) -> str:
    """Restore, which must fail and leave all as it was; give its words."""
    before = farm.names()
    capsys.readouterr()

    assert farm.restore(*options) == 1

    assert farm.names() == before
    words = capsys.readouterr().err
    assert "nothing was restored" in words
    return words


def forged(farm: KeptFarm, **changes: object) -> None:
    """Let the newest backup's manifest say something else, and be whole."""
    made = farm.backups()[-1]
    manifest = backup_folder.read_manifest(made)
    (made / "manifest.json").unlink()
    backup_folder.write_manifest(made, replace(manifest, **changes))  # type: ignore[arg-type]


def manifest_of(farm: KeptFarm) -> Manifest:
    return backup_folder.read_manifest(farm.backups()[-1])


def test_restored_farm_is_the_one_of_the_backup_in_a_new_life(farm: KeptFarm) -> None:
    assert farm.restore() == 0

    known = manifest_of(farm).facts
    with database(farm.root / "new") as connection:
        found = read_facts(connection)
    assert differences(known, found) == ["rows of table equipment_siteversion are others"]
    assert found.sites["three-cairns"].version == VERSION
    assert found.sites["three-cairns"].epoch != EPOCH == known.sites["three-cairns"].epoch
    new = DataFolder(farm.root / "new")
    photos = [media_path(new.media, digest_of(body)).read_bytes() for body in PHOTOS]
    assert photos == PHOTOS
    assert not new.pids.exists()
    assert not (new.root / restore.HALF_MADE).exists()


def test_tables_of_an_older_release_are_restored_and_then_migrated(farm: KeptFarm) -> None:
    assert farm.restore() == 0

    with database(farm.root / "new") as connection:
        before = read_facts(connection)
        migrate(farm.root / "new")
        after = read_facts(connection)
    assert before.migrations["schedules"][-1] == "0014_nudges"
    assert {app: set(after.migrations[app]) for app in APPS} == {
        app: known_migrations(app) for app in APPS
    }
    assert after.tables["equipment_attachment"] == before.tables["equipment_attachment"]
    assert after.sites == before.sites


def test_keys_come_back_with_those_backups_that_have_them(living: KeptFarm) -> None:
    farm = living
    farm.restore(into="without")
    farm.backup("--with-keys")
    farm.restore(into="with")

    secret = farm.folder.secret_key()
    assert not (farm.root / "without" / "secret_key").exists()
    assert (farm.root / "with" / "secret_key").read_text() == secret


def test_older_backup_is_restored_with_a_word_about_the_newer(
    living: KeptFarm, capsys: pytest.CaptureFixture[str]
) -> None:
    assert living.backup() == 0
    first, second = living.backups()

    assert restore.main([str(first), "--data", str(living.root / "new")]) == 0
    assert f"{second} is newer: what phones told between" in capsys.readouterr().err
    assert living.restore(into="newer") == 0
    assert "is newer" not in capsys.readouterr().err


def test_folder_with_a_farm_is_left_alone(
    farm: KeptFarm, capsys: pytest.CaptureFixture[str]
) -> None:
    (farm.root / "new" / "postgres").mkdir(parents=True)

    words = fails(farm, capsys)

    assert "holds a farm's database and stays as it is" in words
    assert "--aside" in words


def test_farm_of_before_is_kept_aside_and_lends_its_keys(living: KeptFarm) -> None:
    farm = living
    (farm.folder.root / "of-before").touch()
    secret = farm.folder.secret_key()

    assert farm.restore("--aside", into="data") == 0

    [aside] = farm.root.glob("data.aside-*")
    assert farm.names() - {aside.name} == {"data", "out", farm.backups()[0].name}
    assert (aside / "of-before").exists()
    assert not (farm.folder.root / "of-before").exists()
    assert farm.folder.secret_key() == secret
    for folder, is_old in ((aside, True), (farm.folder.root, False)):
        with database(folder) as connection:
            found = read_facts(connection)
        assert (found.sites["three-cairns"].epoch == EPOCH) == is_old


def test_folder_in_use_is_told(farm: KeptFarm, capsys: pytest.CaptureFixture[str]) -> None:
    new = DataFolder(farm.root / "new")
    new.make()
    with new.lock():
        new.write_pids("http://localhost:8000", {})

        words = fails(farm, capsys, "--aside")

    assert f"process {os.getpid()}, http://localhost:8000. Stop it first" in words


@pytest.mark.parametrize("cut", ["half", "one byte"])
def test_damaged_dump_is_told_before_anything_is_touched(
    farm: KeptFarm, cut: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    dump = farm.backups()[0] / DUMP
    body = dump.read_bytes()
    middle = len(body) // 2
    other = bytes([body[middle] ^ 1])
    dump.write_bytes(body[:middle] if cut == "half" else body[:middle] + other + body[middle + 1 :])
    monkeypatch.setattr(restore, "half_made", None)  # nothing gets that far

    assert f"{dump} is damaged: its digest is another" in fails(farm, capsys)


def test_dump_that_ends_too_early_is_told_by_its_reader_too(
    farm: KeptFarm, capsys: pytest.CaptureFixture[str]
) -> None:
    dump = farm.backups()[0] / DUMP
    dump.write_bytes(dump.read_bytes()[:-40_000])
    forged(farm, dump=disk.digest(dump))

    assert "pg_restore failed" in fails(farm, capsys)


def test_dump_with_other_rows_is_told(living: KeptFarm, capsys: pytest.CaptureFixture[str]) -> None:
    farm = living
    with database(farm.folder.root) as connection:
        connection.execute("UPDATE equipment_actor SET name = 'Bea'")
    assert farm.backup() == 0
    first, second = farm.backups()
    shutil.copyfile(first / DUMP, second / DUMP)
    forged(farm, dump=disk.digest(second / DUMP))

    assert "rows of table equipment_actor are others" in fails(farm, capsys)


@pytest.mark.parametrize(("harm", "told"), [("missing", "is missing"), ("other", "is damaged")])
def test_photo_that_is_not_the_one_named_is_told(
    farm: KeptFarm, harm: str, told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    photo = media_path(farm.backups()[0] / "media", digest_of(PHOTOS[3]))
    photo.unlink()
    if harm == "other":
        photo.write_bytes(PHOTOS[2])

    assert f"{photo} {told}" in fails(farm, capsys)


def test_backup_of_a_newer_release_is_refused(
    farm: KeptFarm, capsys: pytest.CaptureFixture[str]
) -> None:
    forged(farm, penround="99.0.0")

    words = fails(farm, capsys)

    assert "was made by a newer Penround (99.0.0) than this one" in words
    assert "Restore it with that release or a later one" in words


def test_tables_of_a_newer_release_are_refused(
    farm: KeptFarm, capsys: pytest.CaptureFixture[str]
) -> None:
    facts = manifest_of(farm).facts
    later = [*facts.migrations["schedules"], "9999_of_later"]
    forged(farm, facts=replace(facts, migrations={**facts.migrations, "schedules": later}))

    assert "it has the step schedules.9999_of_later of its tables" in fails(farm, capsys)


@pytest.mark.parametrize("body", ["", "{", "[]", '{"form": 1}'])
def test_manifest_that_cannot_be_read_is_told(
    farm: KeptFarm, body: str, capsys: pytest.CaptureFixture[str]
) -> None:
    (farm.backups()[0] / "manifest.json").write_text(body)

    assert "manifest.json is damaged" in fails(farm, capsys)


def test_folder_that_is_no_backup_is_told(
    farm: KeptFarm, capsys: pytest.CaptureFixture[str]
) -> None:
    (farm.backups()[0] / "manifest.json").unlink()

    assert "is no backup: it has no manifest.json" in fails(farm, capsys)


def test_full_disk_is_said_before_anything_is_written(
    farm: KeptFarm, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(disk, "free_bytes", lambda folder: 2_000_000)

    assert "has 2 MB free" in fails(farm, capsys)


def test_disk_that_fills_up_meanwhile_leaves_all_as_it_was(
    farm: KeptFarm, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def no_space(source: Path, target: Path) -> str:
        raise OSError(errno.ENOSPC, "No space left on device", str(target))

    monkeypatch.setattr(disk, "copy", no_space)

    assert "No space left on device. Make room there" in fails(farm, capsys)


@pytest.mark.skipif(os.geteuid() != 0, reason="only root may mount a small disk")
def test_small_disk_that_fills_up_leaves_all_as_it_was(
    farm: KeptFarm, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    small = farm.root / "small"
    small.mkdir(mode=0o711)
    mount = ["mount", "-t", "tmpfs", "-o", "size=50m,mode=711", "tmpfs", str(small)]
    if subprocess.run(mount, check=False, capture_output=True).returncode:
        pytest.skip("this machine lets root mount nothing")
    try:
        monkeypatch.setattr(disk, "free_bytes", lambda folder: 10**12)

        assert farm.restore(into="small/new") == 1

        assert "No space left on device" in capsys.readouterr().err
        assert not list(small.iterdir())
    finally:
        subprocess.run(["umount", str(small)], check=True)


def test_disks_own_top_folder_is_refused(
    farm: KeptFarm, capsys: pytest.CaptureFixture[str]
) -> None:
    assert farm.restore(into="/proc") == 1

    assert "restore into a folder in it (--data /proc/farm)" in capsys.readouterr().err


def test_disk_that_cannot_exchange_folders_leaves_all_as_it_was(
    farm: KeptFarm, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def cannot(one: Path, other: Path) -> None:
        raise OSError(errno.EINVAL, "Invalid argument", str(one))

    (farm.root / "new").mkdir()
    (farm.root / "new" / "note").touch()
    monkeypatch.setattr(disk, "exchange", cannot)

    assert "Move it aside yourself and restore again" in fails(farm, capsys, "--aside")
    assert (farm.root / "new" / "note").exists()


def test_farm_that_came_there_meanwhile_stays(
    farm: KeptFarm, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    put = restore.put_files

    def begun_meanwhile(*told: Any) -> None:
        put(*told)
        DataFolder(farm.root / "new").make()

    monkeypatch.setattr(restore, "put_files", begun_meanwhile)
    assert farm.restore() == 1
    assert "Move it aside yourself and restore again" in capsys.readouterr().err
    assert [path.name for path in (farm.root / "new").iterdir()] == ["run"]


def test_what_fails_after_the_exchange_is_told_and_both_farms_are_there(
    living: KeptFarm, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    farm = living
    (farm.folder.root / "of-before").touch()

    def fail(_folder: Path) -> Path:
        raise PermissionError("not yours")

    monkeypatch.setattr(restore, "move_aside", fail)

    assert farm.restore("--aside", into="data") == 0

    assert "is restored, but what comes after was not all done: not yours" in (
        words := capsys.readouterr().err
    )
    assert f"what was there before is kept in {farm.folder.root}.part" in words
    assert (farm.root / "data.part" / "of-before").exists()
    assert not (farm.folder.root / "of-before").exists()


def test_folders_exchange_names_in_one_step(tmp_path: Path) -> None:
    for name in ("one", "other"):
        (tmp_path / name).mkdir()
        (tmp_path / name / name).touch()

    disk.exchange(tmp_path / "one", tmp_path / "other")

    assert (tmp_path / "one" / "other").exists()
    assert (tmp_path / "other" / "one").exists()
    with pytest.raises(FileNotFoundError):
        disk.exchange(tmp_path / "one", tmp_path / "none")
