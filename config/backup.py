"""`manage.py backup`: a dated copy of a farm's data, whole or not there at all.

The dump and all that is told of it are of one moment (an exported snapshot). When the backup is
in its place, and only then, phones hear up to which version it holds what they told.
"""

import argparse
import json
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from signal import SIGTERM

import psycopg
from psycopg.conninfo import conninfo_to_dict

from config import backup_folder, backup_record, disk, stores
from config.backup_folder import DUMP, KEYS, PART, BackupError, Manifest, media_path
from config.data_folder import DataFolder, InUseError, default_root
from config.database_facts import Facts, is_a_farms, read_facts
from config.processes import die_with_parent

SPARE_BYTES = 50_000_000
STAMP = "penround-{}"
LOCK_TIMEOUT = "30s"
KEPT_THROUGH = """
    UPDATE equipment_siteversion v SET kept_through = %(version)s FROM equipment_site s
    WHERE s.id = v.site_id AND s.slug = %(slug)s AND v.epoch::text = %(epoch)s
        AND v.kept_through < %(version)s
"""
FAULTS = (BackupError, InUseError, disk.HeldError, stores.StoreError, psycopg.Error, OSError)


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is asked for."""

    folder: DataFolder
    out: Path
    keep: int | None = None
    with_keys: bool = False
    leave_out_lost: bool = False


def read_arguments(argv: list[str]) -> Wanted:
    parser = argparse.ArgumentParser(
        prog="manage.py backup",
        description="Make a dated backup of a farm's data, whether `up` runs or not.",
        epilog="Let --out be on another disk or machine than the data.",
    )
    parser.add_argument("--data", type=Path, default=default_root(), metavar="DIR")
    parser.add_argument("--out", type=Path, required=True, metavar="FOLDER")
    parser.add_argument(
        "--keep", type=int, metavar="N", help="delete all but this farm's newest N after"
    )
    parser.add_argument(
        "--with-keys", action="store_true", help="with the keys that sign and those of the farm"
    )
    parser.add_argument(
        "--leave-out-lost", action="store_true", help="although photos are lost or damaged"
    )
    given = parser.parse_args(argv)
    if given.keep is not None and given.keep < 1:
        parser.error("--keep N: at least 1")
    folder = DataFolder(given.data.resolve())
    return Wanted(folder, given.out.resolve(), given.keep, given.with_keys, given.leave_out_lost)


def main(argv: list[str]) -> int:
    wanted = read_arguments(argv)
    try:
        made = make_backup(wanted)
    except FAULTS as fault:
        say(f"{fault}")
        say(f"no backup was made in {wanted.out}")
        keep_failure(wanted.folder, f"{fault}")
        return 1
    except KeyboardInterrupt:
        say(f"stopped; no backup was made in {wanted.out}")
        return 130
    print(made)
    return 0


def keep_failure(folder: DataFolder, why: str) -> None:
    """Let the Status page know, where a farm's data lie; a full disk hides no other fault."""
    if folder.places.postgres.exists():
        try:
            backup_record.remember_failed(folder, why)
        except OSError as fault:
            say(f"the Status page will not tell of it: {fault}")


def say(words: str) -> None:
    """Talk on stderr; stdout has the backup's path alone."""
    print(f"penround: {words}", file=sys.stderr, flush=True)


def make_backup(wanted: Wanted, running: str = "") -> Path:
    """Make a backup and tell phones of it; give its path. What goes wrong after that is told.

    `running` is the address of the folder's database where the caller runs it.
    """
    refuse_places(wanted)
    made: Path | None = None
    try:
        with disk.held(wanted.out):
            for half in wanted.out.glob(f"*{PART}"):
                if backup_folder.NAME.fullmatch(half.name.removesuffix(PART)):
                    shutil.rmtree(half)
            with nullcontext(running) if running else database_of(wanted.folder) as address:
                made, facts = write_backup(wanted, address)
                with suppress(OSError):  # a full disk: the backup is whole all the same
                    backup_record.remember_made(wanted.folder, made, made_at_of(made))
                tell_phones(address, facts)
            if wanted.keep:
                thin_out(wanted.out, wanted.keep, set(facts.sites))
    except (*FAULTS, KeyboardInterrupt) as fault:
        if made is None:
            raise
        why = f"{fault}" or "stopped"
        say(f"{made} is whole, but what comes after it was not all done: {why}")
    return made


def made_at_of(made: Path) -> datetime:
    return datetime.fromisoformat(backup_folder.read_manifest(made).made_at)


def refuse_places(wanted: Wanted) -> None:
    root = wanted.folder.root
    refuse_no_farm(wanted.folder)
    if wanted.out.is_relative_to(root):
        raise BackupError(
            f"{wanted.out} lies in the data folder and would be lost with it. "
            "Name a folder elsewhere with --out, best on another disk."
        )
    if not wanted.out.is_dir():
        raise BackupError(
            f"{wanted.out} is not there. Is its disk mounted? If the folder is new, make it first: "
            f"mkdir -p {wanted.out}"
        )
    if wanted.out.stat().st_dev == root.stat().st_dev:
        say(f"{wanted.out} is on the disk of the data: if that disk breaks, both are lost")


def refuse_no_farm(folder: DataFolder) -> None:
    """Refuse a folder in which no `up` has run yet."""
    if not folder.places.postgres.exists():
        raise BackupError(
            f"{folder.root} holds no farm's database. "
            "Name the folder that `up` runs on with --data."
        )


@contextmanager
def database_of(folder: DataFolder) -> Iterator[str]:
    """Give the address of the folder's database; where `up` does not run it is started alone."""
    try:
        handle = folder.lock()
    except InUseError:
        refuse_own_server(folder)
        wait_for_answer(folder.places)
        yield folder.places.database_url
        return
    with handle, started_alone(folder, handle.fileno(), "which makes a backup") as address:
        yield address


@contextmanager
def started_alone(folder: DataFolder, lock: int, what: str) -> Iterator[str]:
    """Run the database of a folder whose lock is held; `what` is told to who wants the folder."""
    folder.make()
    folder.forget_run()  # of an `up` that was killed
    folder.write_pids(what, {})
    try:
        log = folder.root / "run" / "postgres.log"
        with stores.postgres_alone(folder.places, durable=True, lock=lock, log=log):
            yield folder.places.database_url
    finally:
        folder.forget_run()


def refuse_own_server(folder: DataFolder) -> None:
    """Refuse where no `up` uses the folder, or one on a server named from outside."""
    try:
        known = json.loads(folder.environment.read_text())["DATABASE_URL"]
    except FileNotFoundError:
        folder.lock().close()  # it ended meanwhile, or is no `up`: says who it is
        raise BackupError("Penround has just been stopped: try again.") from None
    host = Path(str(conninfo_to_dict(known).get("host", "")))
    if not (host.is_dir() and host.samefile(folder.places.sockets)):
        raise BackupError(
            "The farm's database is on a server of your own (DATABASE_URL): back it up by that "
            f"server's means, and with it the folder {folder.media}."
        )


def wait_for_answer(places: stores.Places) -> None:
    """Let a database that `up` is just starting come up."""
    deadline = time.monotonic() + stores.READY_TIMEOUT_S
    while not stores.postgres_answers(places):
        if time.monotonic() > deadline:
            raise BackupError(
                f"The database of {places.root} does not answer: see the log of `up`."
            )
        time.sleep(0.1)


# Writing ------------------------------------------------------------------------------------------
def write_backup(wanted: Wanted, address: str) -> tuple[Path, Facts]:
    """Write all under a temporary name, check it, and give it its name as the last step."""
    made_at = datetime.now(UTC)
    target = wanted.out / disk.stamp(STAMP, made_at)
    if later := [path for path in backup_folder.backups_in(wanted.out) if path >= target]:
        raise BackupError(
            f"{later[-1]} is dated later than now. Set this machine's clock right, or move that "
            "backup to another folder."
        )
    with half_made(target) as part:
        facts = write_dump(wanted, address, part / DUMP)
        lost = write_media(wanted, facts, part / "media")
        manifest = Manifest(
            penround=backup_folder.penround_version(),
            made_at=made_at.isoformat(timespec="seconds"),
            facts=facts,
            dump=disk.digest(part / DUMP),
            keys=write_keys(wanted.folder, part / KEYS) if wanted.with_keys else {},
            lost=lost,
        )
        backup_folder.write_manifest(part, manifest)
        say("checking the backup")
        check_dump(part / DUMP)
        backup_folder.check_files(part, backup_folder.read_manifest(part))
        disk.flush_folders(part)
        part.rename(target)
        disk.flush(wanted.out)
    say(f"{manifest.n_rows} rows, {len(manifest.media)} photos and voice notes are in {target}")
    say(backup_folder.about_secrets(manifest))
    return target, facts


@contextmanager
def half_made(target: Path) -> Iterator[Path]:
    """Give a folder to write in; whatever goes wrong, nothing of it stays."""
    part = target.with_name(target.name + PART)
    part.mkdir(mode=0o700)
    try:
        yield part
    except OSError as fault:
        raise BackupError(
            f"{fault.filename or target}: {fault.strerror}. Make room there, or name another "
            "folder with --out."
        ) from fault
    finally:
        shutil.rmtree(part, ignore_errors=True)


def write_dump(wanted: Wanted, address: str, file: Path) -> Facts:
    """Dump the database as it is at one moment, and look at it at the same moment."""
    say("writing the database")
    with psycopg.connect(address, connect_timeout=10) as connection:
        connection.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
        if not is_a_farms(connection):
            raise BackupError(
                f"{wanted.folder.root} holds no farm yet: nothing is to be backed up."
            )
        row = connection.execute("SELECT pg_export_snapshot()").fetchone()
        assert row is not None
        facts = read_facts(connection)
        check_room(wanted, facts)
        moment = ("--snapshot", row[0], f"--lock-wait-timeout={LOCK_TIMEOUT}")
        form = ("--format=custom", "--compress=gzip:1", "--no-owner", "--no-privileges")
        run_client("pg_dump", *moment, *form, f"--file={file}", f"--dbname={address}")
    file.chmod(0o600)
    disk.flush(file)
    return facts


def check_room(wanted: Wanted, facts: Facts) -> None:
    """Refuse to begin where the disk is too full; a dump takes less than its database."""
    links = newest_media(wanted.out)
    media = sum(n for name, n in facts.media.items() if links is None or not _in(links, name))
    needed = facts.n_bytes + media + SPARE_BYTES
    if (free := disk.free_bytes(wanted.out)) < needed:
        raise BackupError(
            f"{wanted.out} has {free // 10**6} MB free, and up to {needed // 10**6} MB are "
            "needed. Make room there, or name another folder with --out."
        )


def _in(media: Path, name: str) -> bool:
    return media_path(media, name).is_file()


def newest_media(out: Path) -> Path | None:
    """Give the photos of the backup before: those that are still the same are linked."""
    made = backup_folder.backups_in(out)
    return made[-1] / "media" if made else None


def write_media(wanted: Wanted, facts: Facts, target: Path) -> list[str]:
    """Put in every file that a row of the dump names; give those that are lost at the farm."""
    say(f"copying {len(facts.media)} photos and voice notes")
    target.mkdir(mode=0o700)
    before = newest_media(wanted.out)
    lost = [
        name
        for name in facts.media
        if not (before and link(before, name, target))
        and not copy_named(wanted.folder.media, name, target)
    ]
    if lost and not wanted.leave_out_lost:
        raise BackupError(
            f"{len(lost)} photos or voice notes are missing or damaged in {wanted.folder.media}, "
            f"such as {lost[0]}. Put them back from an earlier backup's media folder, or back up "
            "what is left with --leave-out-lost."
        )
    return lost


def link(before: Path, name: str, target: Path) -> bool:
    """Share an unchanged file with the backup before, where the disk can."""
    source, path = media_path(before, name), media_path(target, name)
    if digest_of(source) != name:
        return False
    disk.make_folders(path.parent)
    try:
        os.link(source, path)
    except OSError:
        return False
    return True


def digest_of(path: Path) -> str:
    """Give a file's digest; "" where it is not there or cannot be read."""
    try:
        return disk.digest(path)
    except OSError:
        return ""


def copy_named(source: Path, name: str, target: Path) -> bool:
    """Copy the file of a digest; False where it is not there, is another or cannot be read."""
    path = media_path(target, name)
    try:
        found = disk.copy(media_path(source, name), path)
    except OSError:
        if (found := digest_of(media_path(source, name))) == name:
            raise  # it is the copy that cannot be written
    if found != name:
        path.unlink(missing_ok=True)
    return found == name


def write_keys(folder: DataFolder, target: Path) -> dict[str, str]:
    """Copy what signs and the farm's own authority; give their digests by name."""
    target.mkdir(mode=0o700)
    return {name: disk.copy(folder.root / name, target / name) for name in folder.key_files()}


def check_dump(file: Path) -> None:
    """Have PostgreSQL's own program read the dump to its end."""
    run_client("pg_restore", "--file=/dev/null", str(file))


def run_client(name: str, *options: str) -> None:
    """Run one of PostgreSQL's programs; its words are the error's."""
    done = subprocess.run(
        [stores.postgres_client(name), *options],
        check=False,
        capture_output=True,
        text=True,
        preexec_fn=die_with_parent(SIGTERM),
    )
    if done.returncode:
        raise BackupError(f"{name} failed: {done.stderr.strip()[-1500:] or done.returncode}")


# After it is whole --------------------------------------------------------------------------------
def tell_phones(address: str, facts: Facts) -> None:
    """Let phones forget what the backup holds: each pull's answer says up to which version."""
    with psycopg.connect(address, connect_timeout=10) as connection:
        connection.execute(f"SET lock_timeout = '{LOCK_TIMEOUT}'")
        for slug, site in facts.sites.items():
            told = {"slug": slug, "version": site.version, "epoch": site.epoch}
            connection.execute(KEPT_THROUGH, told)


def thin_out(out: Path, keep: int, farms: set[str]) -> None:
    """Delete all but the newest of these farms'; what is half deleted has no backup's name."""
    for old in backup_folder.backups_of(out, farms)[:-keep]:
        part = old.with_name(old.name + PART)
        old.rename(part)
        shutil.rmtree(part)
        say(f"deleted {old}")
