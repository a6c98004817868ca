"""`manage.py restore`: a farm's data from a backup, in its place as the last step or not at all.

All is made in a folder beside (`DIR.part`), compared with the manifest, flushed, and put in place
by one rename. A folder that has a farm is left alone, or with --aside changes names with the new
one in one step and is kept.
"""

import argparse
import shutil
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import psycopg

from config import backup_folder, disk, stores
from config.backup import FAULTS, SPARE_BYTES, run_client, say
from config.backup_folder import DUMP, KEYS, PART, BackupError, Manifest, media_path
from config.data_folder import DataFolder, default_root
from config.database_facts import Connection, differences, read_facts

HALF_MADE = "half-restored"  # in a folder that a restore has not finished, and nobody else's
STAMP = ".aside-{}"
BUILT_BYTES = 300_000_000  # of an empty cluster with its log
GROWS_BY = 1.3  # while it is filled
NEW_LIFE = "UPDATE equipment_siteversion SET epoch = gen_random_uuid()"


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is asked for."""

    backup: Path
    root: Path
    aside: bool = False


def read_arguments(argv: list[str]) -> Wanted:
    parser = argparse.ArgumentParser(
        prog="manage.py restore",
        description="Restore a backup into a data folder that is empty or not there.",
    )
    parser.add_argument("backup", type=Path, metavar="BACKUP", help="a folder penround-…")
    parser.add_argument("--data", type=Path, default=default_root(), metavar="DIR")
    parser.add_argument(
        "--aside", action="store_true", help="keep what is in DIR under another name beside it"
    )
    given = parser.parse_args(argv)
    return Wanted(given.backup.resolve(), given.data.resolve(), given.aside)


def main(argv: list[str]) -> int:
    wanted = read_arguments(argv)
    try:
        restore(wanted)
    except FAULTS as fault:
        say(f"{fault}")
        say(f"nothing was restored; {wanted.root} is as it was")
        return 1
    except KeyboardInterrupt:
        say(f"stopped; nothing was restored, {wanted.root} is as it was")
        return 130
    return 0


def restore(wanted: Wanted) -> None:
    """Restore a backup; on any error the data folder is as it was."""
    manifest = backup_folder.read_manifest(wanted.backup)
    refuse_place(wanted)
    say_if_older(wanted.backup, manifest)
    say("checking the backup")
    backup_folder.check_files(wanted.backup, manifest)
    wanted.root.parent.mkdir(parents=True, exist_ok=True)
    with ExitStack() as stack:
        lock = stack.enter_context(disk.held(wanted.root.parent))
        has_old = stack.enter_context(old_folder_at_rest(wanted))
        check_room(wanted, manifest)
        made = stack.enter_context(half_made(wanted))
        build_database(manifest, wanted, made, lock)
        put_files(wanted, manifest, made)
        aside = put_in_place(wanted, made, has_old=has_old)
    tell(wanted, manifest, aside)


def refuse_place(wanted: Wanted) -> None:
    """Refuse a folder that has something, or that cannot be put in place by a rename."""
    root = wanted.root
    if root.is_mount():
        raise BackupError(
            f"{root} is a disk's own top folder, which nothing can take the place of: "
            f"restore into a folder in it (--data {root / 'farm'}) and run `up` on that."
        )
    if root.exists() and not root.is_dir():
        raise BackupError(f"{root} is a file. Name a folder with --data.")
    if has_something(root) and not wanted.aside:
        what = "a farm's database" if DataFolder(root).places.postgres.exists() else "files"
        raise BackupError(
            f"{root} holds {what} and stays as it is. Name an empty or new folder with --data, "
            "or say --aside: then what is there is kept under another name beside it."
        )


def say_if_older(backup: Path, manifest: Manifest) -> None:
    """Warn where the farm's newer one lies beside it: phones forget what the newest holds."""
    known = backup_folder.backups_of(backup.parent, set(manifest.facts.sites))
    newest = max(known, default=backup)
    if newest.name > backup.name:
        say(f"{newest} is newer: what phones told between the two comes back only from that one")


def has_something(root: Path) -> bool:
    return root.is_dir() and any(root.iterdir())


@contextmanager
def old_folder_at_rest(wanted: Wanted) -> Iterator[bool]:
    """Keep `up` off the folder that is to be moved aside, and refuse while one runs there.

    Gives whether there is one.
    """
    if not has_something(wanted.root):
        yield False
        return
    folder = DataFolder(wanted.root)
    with folder.lock():
        folder.make()
        folder.forget_run()  # of an `up` that was killed
        folder.write_pids("where a backup is being restored", {})
        try:
            yield True
        except BaseException:
            folder.forget_run()
            raise


def check_room(wanted: Wanted, manifest: Manifest) -> None:
    media = sum(manifest.media.values())
    needed = int(manifest.facts.n_bytes * GROWS_BY) + media + BUILT_BYTES + SPARE_BYTES
    if (free := disk.free_bytes(wanted.root.parent)) < needed:
        raise BackupError(
            f"{wanted.root.parent} has {free // 10**6} MB free, and up to {needed // 10**6} MB are "
            "needed. Make room there, or name another folder with --data."
        )


@contextmanager
def half_made(wanted: Wanted) -> Iterator[Path]:
    """Give a folder beside the wanted one to build in; on any error nothing of it stays."""
    made = wanted.root.with_name(wanted.root.name + PART)
    if made.exists():
        clear(made)
    made.mkdir(mode=0o700)
    disk.write(made / HALF_MADE, b"Not a farm: a restore was stopped here.\n")
    try:
        yield made
    except OSError as fault:
        raise BackupError(
            f"{fault.filename or made}: {fault.strerror}. Make room there, or name another "
            "folder with --data."
        ) from fault
    finally:
        if (made / HALF_MADE).exists():
            clear(made)


def clear(made: Path) -> None:
    """Take away what a restore left half made, its mark last. Whatever has no mark is kept.

    It may be the farm of before: a restore that was killed had just let the two change names.
    """
    mark = made / HALF_MADE
    if not mark.exists() and has_something(made):
        say(f"a restore was killed at its last step: {made} is kept as {move_aside(made)}")
        return
    for path in made.iterdir():
        if path.is_dir():
            shutil.rmtree(path)
        elif path != mark:
            path.unlink()
    shutil.rmtree(made)


def move_aside(folder: Path) -> Path:
    """Give a folder, that no longer is or never was in its place, a dated name beside it."""
    name = folder.name.removesuffix(PART) + disk.stamp(STAMP, datetime.now(UTC))
    aside = folder.with_name(name)
    folder.rename(aside)
    disk.flush(folder.parent)
    return aside


# Building -----------------------------------------------------------------------------------------
def build_database(manifest: Manifest, wanted: Wanted, made: Path, lock: int) -> None:
    """Fill a new cluster, compare it with the manifest, begin each site's new life, flush it."""
    say("restoring the database")
    folder = DataFolder(made)
    folder.make()
    places, log = folder.places, made / "run" / "postgres.log"
    with stores.postgres_alone(places, durable=False, lock=lock, log=log):
        to = ("--exit-on-error", "--no-owner", "--no-privileges", "--jobs=2")
        address = f"--dbname={places.database_url}"
        run_client("pg_restore", *to, address, str(wanted.backup / DUMP))
        with psycopg.connect(places.database_url) as connection:
            compare(wanted, manifest, connection)
            connection.execute(NEW_LIFE)
            connection.execute("ANALYZE")  # else the first minutes' plans know nothing of the rows
    stores.flush_cluster(places)
    log.unlink()


def compare(wanted: Wanted, manifest: Manifest, connection: Connection) -> None:
    """Refuse a database that is not, row by row and rule by rule, the one that was dumped."""
    say("comparing it with the manifest")
    if told := differences(manifest.facts, read_facts(connection)):
        raise BackupError(
            f"What {wanted.backup / DUMP} holds is not what its manifest says: "
            f"{'; '.join(told[:5])}. Take another backup."
        )


def put_files(wanted: Wanted, manifest: Manifest, made: Path) -> None:
    """Put photos and keys back. Keys that are in no backup stay as the farm had them here."""
    say(f"copying {len(manifest.media)} photos and voice notes")
    media = DataFolder(made).media
    media.mkdir(mode=0o700)
    for name in manifest.media:
        if disk.copy(media_path(wanted.backup / "media", name), media_path(media, name)) != name:
            raise BackupError(f"{media_path(wanted.backup / 'media', name)} changed meanwhile.")
    keys = wanted.backup / KEYS if manifest.keys else wanted.root
    for name in manifest.keys or DataFolder(wanted.root).key_files():
        disk.copy(keys / name, made / name)
    disk.flush_folders(media)


# Last step ----------------------------------------------------------------------------------------
def put_in_place(wanted: Wanted, made: Path, *, has_old: bool) -> Path | None:
    """Give the new folder the name, in one step; give where the old one is now.

    Where there was none, whatever came there meanwhile stays and is told.
    """
    DataFolder(made).forget_run()
    mark = made / HALF_MADE
    mark.unlink()
    flush_top(made)
    try:
        if has_old:
            disk.exchange(made, wanted.root)
        else:
            made.rename(wanted.root)
    except OSError as fault:
        mark.touch()
        raise BackupError(
            f"{wanted.root} cannot be put in place: {fault.strerror}. Is it in use, or on a disk "
            "that cannot let folders change names? Move it aside yourself and restore again."
        ) from fault
    return settle(wanted, made, has_old=has_old)


def settle(wanted: Wanted, made: Path, *, has_old: bool) -> Path | None:
    """Flush the names and give the old folder a dated one: the farm is restored whatever fails."""
    aside = made if has_old else None
    try:
        disk.flush(wanted.root.parent)
        if has_old:
            DataFolder(made).forget_run()  # the old one's
            aside = move_aside(made)
    except (OSError, KeyboardInterrupt) as fault:
        say(f"{wanted.root} is restored, but what comes after was not all done: {fault}")
    return aside


def flush_top(made: Path) -> None:
    """Flush the folder's own names and those of its keys; database and photos are flushed."""
    for folder in (made / "tls", made):
        if folder.is_dir():
            disk.flush(folder)


def tell(wanted: Wanted, manifest: Manifest, aside: Path | None) -> None:
    say(
        f"{wanted.root} is as the farm was on {manifest.made_at}: {manifest.n_rows} rows and "
        f"{len(manifest.media)} photos and voice notes, each compared with the manifest"
    )
    if manifest.lost:
        say(f"{len(manifest.lost)} photos or voice notes were lost before the backup was made")
    if aside:
        say(f"what was there before is kept in {aside}; delete it when you no longer want it")
    if not DataFolder(wanted.root).key_files():
        say(backup_folder.about_secrets(manifest))
    say("phones notice by themselves and tell again what they still keep")
    farms = ", ".join(manifest.facts.sites) or "no farm yet"
    say(f"start it ({farms}): python3 manage.py up --no-demo --data {wanted.root}")
