"""`manage.py upgrade`: a farm's data brought to this release, with a backup first, or left alone.

What `up` does at its start is done here ahead (`config.prepare`), while nobody is served: a backup
is made, all steps of the tables in one transaction, then doctor's checks of what is at rest. Where
nothing is to come it makes no backup and changes nothing, so it can be repeated.
"""

from __future__ import annotations

import argparse
import json
import os
import secrets
import subprocess
import sys
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime
from enum import StrEnum
from pathlib import Path
from signal import SIGTERM

import psycopg

from config import backup, backup_folder, database_facts, disk, doctor
from config.backup import SPARE_BYTES, say
from config.backup_folder import BackupError, penround_version
from config.data_folder import DataFolder, default_root
from config.ledger import NewerError, refuse_newer
from config.processes import die_with_parent
from config.rooms import APPS, BASE_DIR
from config.up import environment_of

GROWS_BY = 2.0  # tables that a step writes anew are there twice until all is done
LOOK = ("--look",)
FAULTS = (*backup.FAULTS, NewerError)


class Outcome(StrEnum):
    """How it ended."""

    UP_TO_DATE = "up_to_date"
    WOULD = "would_upgrade"
    UPGRADED = "upgraded"
    REFUSED = "refused"
    FAILED = "failed"


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is asked for."""

    folder: DataFolder
    out: Path | None
    is_dry_run: bool = False
    is_json: bool = False


@dataclass
class Told:
    """What was, what was done and what is; `--json` prints it as it stands.

    From `has_begun` on nothing is as it was for certain: whatever goes wrong then is a failure.
    `made` are those of the steps that are made; None while nobody has looked since it began.
    """

    penround: str
    data: str
    outcome: Outcome = Outcome.REFUSED
    why: str = ""
    was: dict[str, str] = field(default_factory=dict)
    steps: list[str] = field(default_factory=list)
    has_begun: bool = False
    made: list[str] | None = None
    now: dict[str, str] = field(default_factory=dict)
    backup: str = ""
    restore: str = ""
    rows: str = ""
    findings: list[doctor.Finding] = field(default_factory=list)

    @property
    def is_wrong(self) -> bool:
        """Whether the exit code says so."""
        is_ill = any(finding.grade is doctor.Grade.WRONG for finding in self.findings)
        return is_ill or self.outcome in (Outcome.REFUSED, Outcome.FAILED)


def read_arguments(argv: list[str]) -> Wanted:
    parser = argparse.ArgumentParser(
        prog="manage.py upgrade",
        description="Bring a farm's data to this release, after a backup; `up` must not run.",
        epilog="It can be repeated: where nothing is to come, it changes nothing.",
    )
    parser.add_argument("--data", type=Path, default=default_root(), metavar="DIR")
    parser.add_argument(
        "--out", type=Path, metavar="FOLDER", help="where the backup goes that is made first"
    )
    parser.add_argument("--dry-run", action="store_true", help="say what would be done; do nothing")
    parser.add_argument("--json", action="store_true", help="print what was and is as JSON")
    given = parser.parse_args(argv)
    if given.out is None and not given.dry_run:
        parser.error("--out FOLDER is needed: a backup is made first")
    out = given.out.resolve() if given.out else None
    return Wanted(DataFolder(given.data.resolve()), out, given.dry_run, given.json)


def main(argv: list[str]) -> int:
    wanted = read_arguments(argv)
    told = Told(penround_version(), str(wanted.folder.root))
    try:
        upgrade(wanted, told)
    except KeyboardInterrupt:
        told.outcome, told.why = Outcome.FAILED, how_it_stands(told, "stopped")
        show(wanted, told)
        return 130
    except Exception as fault:
        is_foreseen = isinstance(fault, FAULTS)
        if not (is_foreseen or told.has_begun):
            raise
        told.outcome = Outcome.FAILED if told.has_begun else Outcome.REFUSED
        told.why = how_it_stands(told, f"{fault}".strip() or type(fault).__name__)
        if not is_foreseen:
            show(wanted, told)
            raise
    show(wanted, told)
    return 1 if told.is_wrong else 0


def upgrade(wanted: Wanted, told: Told) -> None:
    """Do it; what was and is stands in `told` however it ends."""
    backup.refuse_no_farm(wanted.folder)
    if wanted.is_dry_run:
        with backup.database_of(wanted.folder) as address:
            look(wanted, told, address)
        told.outcome = Outcome.WOULD if told.steps else Outcome.UP_TO_DATE
        told.now = told.was
        if wanted.folder.read_pids():
            say("the service runs here: stop it before you upgrade (Ctrl-C where `up` runs)")
        return
    with (
        wanted.folder.lock() as handle,
        backup.started_alone(wanted.folder, handle.fileno(), "which upgrades it") as address,
    ):
        look(wanted, told, address)
        if told.steps:
            told.backup = str(back_up(wanted, address))
            told.restore = (
                f"python3 manage.py restore {told.backup} --data {wanted.folder.root} --aside"
            )
        try:
            told.has_begun = True
            prepare(wanted, told, address)
            check(wanted, told)
        except BaseException:
            with suppress(*FAULTS):
                look_again(told, address)
            raise
        look_again(told, address)
        told.outcome = Outcome.UPGRADED if told.steps else Outcome.UP_TO_DATE


def look(wanted: Wanted, told: Told, address: str) -> None:
    """See what is and what is to come; refuse what cannot be upgraded, before anything is done."""
    with psycopg.connect(address, connect_timeout=10) as connection:
        if not database_facts.is_a_farms(connection):
            raise BackupError(f"{wanted.folder.root} holds no farm yet: `up` makes its tables.")
        made = database_facts.read_migrations(connection)
        n_bytes = database_facts.n_bytes(connection)
    told.was = last_of(made)
    refuse_newer(made)
    told.steps = run(wanted, address, "config.prepare", *LOOK).split()
    if told.steps:
        check_room(wanted, n_bytes)


def last_of(made: dict[str, list[str]]) -> dict[str, str]:
    """Name the last step of each app that is made."""
    return {app: max(names) for app, names in made.items()}


def check_room(wanted: Wanted, n_bytes: int) -> None:
    """Refuse to begin where the data's disk is too full; the backup looks at its own."""
    root = wanted.folder.root
    needed = int(n_bytes * GROWS_BY) + SPARE_BYTES
    if wanted.out and wanted.out.exists() and wanted.out.stat().st_dev == root.stat().st_dev:
        needed += n_bytes
    if (free := disk.free_bytes(root)) < needed:
        raise BackupError(
            f"{root} has {free // 10**6} MB free, and up to {needed // 10**6} MB are needed. "
            "Make room there and try again."
        )


def back_up(wanted: Wanted, address: str) -> Path:
    """Make a backup of the database that runs here."""
    assert wanted.out is not None
    say("making a backup first")
    return backup.make_backup(backup.Wanted(wanted.folder, wanted.out), running=address)


def how_it_stands(told: Told, fault: str) -> str:
    """Say of a fault, once it has begun, how the tables stand after it and the way back."""
    if not told.has_begun:
        return fault
    if told.made is None:
        how = "How far it came could not be seen"
    elif len(told.made) == len(told.steps):
        how = "Its tables are up to date"
    elif told.made:
        how = f"Of {len(told.steps)} steps of the tables these alone are made: " + ", ".join(
            told.made
        )
    else:
        how = "The database is as it was"
    back = f", or go back to the backup that was made first: {told.restore}"
    return f"{fault}\n{how}. Mend that and upgrade again{back if told.restore else '.'}"


def look_again(told: Told, address: str) -> None:
    """See how the tables stand after the steps, or after what stopped them."""
    with psycopg.connect(address, connect_timeout=10) as connection:
        made = database_facts.read_migrations(connection)
        told.now = last_of(made)
        told.made = [s for s in told.steps if s.partition(".")[2] in made.get(_app_of(s), ())]
        if told.backup:
            told.rows = say_rows(Path(told.backup), connection)


def say_rows(made: Path, connection: database_facts.Connection) -> str:
    """Compare how many rows each table has with the backup that was made first."""
    before = backup_folder.read_manifest(made).facts.tables
    after = database_facts.read_facts(connection).tables
    kept = [name for name in before if name in after and name != "django_migrations"]
    fewer = [
        f"{name} has {after[name].rows} rows and had {before[name].rows}"
        for name in kept
        if after[name].rows < before[name].rows
    ]
    n_rows = sum(after[name].rows for name in kept)
    gone = [f"{name} is gone" for name in before if name not in after]
    return f"{n_rows} rows in {len(kept)} tables; " + (
        "; ".join([*fewer, *gone]) or "no table has fewer than before"
    )


# What `up` does at its start ----------------------------------------------------------------------


def prepare(wanted: Wanted, told: Told, address: str) -> None:
    """Do what `up` does before it serves: catalogues, tables, files; then compile the plan's loops.

    Loops that cannot be compiled make the first plan late, and nothing worse.
    """
    if told.steps:
        say(f"making {len(told.steps)} steps of the tables, all or none")
    for line in run(wanted, address, "config.prepare").splitlines():
        say(line)
    try:
        run(wanted, address, "config.compile_loops")
    except BackupError as fault:
        say(f"the plan's loops were not compiled ahead: the first plan will be late ({fault})")


def run(wanted: Wanted, address: str, module: str, *options: str) -> str:
    """Run one of our programs on the farm's own database; its last words are the error's."""
    site_url = os.environ.get("SITE_URL", "http://localhost:8000")
    key = secrets.token_urlsafe(64) if options == LOOK else ""  # a look makes no key of the farm
    on = {**os.environ, **environment_of(wanted.folder, site_url, key), "DATABASE_URL": address}
    done = subprocess.run(
        [sys.executable, "-m", module, *options],
        check=False,
        capture_output=True,
        text=True,
        cwd=BASE_DIR,
        env=on,
        preexec_fn=die_with_parent(SIGTERM),
    )
    if done.returncode:
        lines = (done.stderr.strip() or done.stdout.strip()).splitlines()
        raise BackupError(f"{module} failed: {lines[-1] if lines else done.returncode}")
    return done.stdout


def check(wanted: Wanted, told: Told) -> None:
    """Look at what is at rest as doctor does."""
    at = wanted.out if told.backup else None
    patient = doctor.Patient(wanted.folder, datetime.now(UTC), at, is_at_rest=True)
    told.findings = list(doctor.look_at(patient))


# Words --------------------------------------------------------------------------------------------


def show(wanted: Wanted, told: Told) -> None:
    """Print what was and is; what went wrong goes to stderr too, so that it is seen in a log."""
    if wanted.is_json:
        body = asdict(told)
        print(json.dumps(body, indent=1, ensure_ascii=False))
    else:
        for line in lines_of(told):
            print(line)
    if told.why:
        say(told.why)
        if told.outcome is Outcome.REFUSED:
            say(f"nothing was changed in {told.data}")


def lines_of(told: Told) -> Iterator[str]:
    """Say it for people."""
    if told.was:
        yield f"was    {_ours(told.was)}"
    for step in told.steps:
        yield f"{_word_of(told, step):<6} {step}"
    if told.backup:
        yield f"backup {told.backup}"
    if told.now and told.now != told.was:
        yield f"is     {_ours(told.now)}"
    if told.rows:
        yield f"rows   {told.rows}"
    for finding in told.findings:
        yield f"{finding.grade:<6} {finding.words}"
        if finding.cure:
            yield f"       -> {finding.cure}"
    if told.outcome is Outcome.UP_TO_DATE:
        yield f"Penround {told.penround}: nothing is to come for {told.data}"
    elif told.outcome is Outcome.UPGRADED:
        yield f"Penround {told.penround}: {told.data} is upgraded"
        yield f"       -> start it: python3 manage.py up --no-demo --data {told.data}"
        yield f"       -> if need be, back with the program of before: {told.restore}"


def _word_of(told: Told, step: str) -> str:
    if not told.has_begun:
        return "would"
    if told.made is None:
        return "step"
    return "step" if step in told.made else "unmade"


def _app_of(step: str) -> str:
    return step.partition(".")[0]


def _ours(last: dict[str, str]) -> str:
    return ", ".join(f"{app}.{last[app]}" for app in APPS if app in last)
