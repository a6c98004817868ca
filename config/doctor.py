"""`manage.py doctor`: what is wrong with a farm's service, and what to type about it.

It looks and changes nothing. Each line is `well`, `mind` (soon, or worth knowing) or `WRONG`; the
exit code is 1 where anything is wrong.
"""

import argparse
import http.client
import json
import ssl
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from enum import StrEnum
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import psycopg
import redis

from config import backup_folder, backup_record, disk, tls
from config.backup_folder import BackupError
from config.data_folder import DataFolder, default_root
from config.rooms import APPS

PATIENCE_S = 5
LEAST_BYTES, SCARCE_BYTES = 10**9, 5 * 10**9
LATE_RUN = timedelta(minutes=5)
QUIET_PHONE = timedelta(days=3)
OLD_BACKUP = timedelta(hours=26)  # a day, and two hours for a backup that takes its time
CERTIFICATE_ENDS = timedelta(days=30)
RUNS = """
    SELECT count(*) FILTER (WHERE state <> 'dead' AND due_at < %(late)s), min(due_at),
        count(*) FILTER (WHERE state = 'dead' AND finished_at > %(day)s),
        max(kind) FILTER (WHERE state = 'dead' AND finished_at > %(day)s)
    FROM equipment_taskrun
    WHERE state IN ('waiting', 'running') OR (state = 'dead' AND finished_at > %(day)s)
"""
PHONES = """
    SELECT count(*), count(*) FILTER (WHERE coalesce(last_seen_at, paired_at) < %(quiet)s)
    FROM crews_device WHERE revoked_at IS NULL
"""


class Grade(StrEnum):
    WELL = "well"
    MIND = "mind"
    WRONG = "WRONG"


@dataclass(frozen=True, slots=True)
class Finding:
    """What was looked at, how it is, and what to do about it."""

    grade: Grade
    words: str
    cure: str = ""


@dataclass(frozen=True, slots=True)
class Patient:
    """Whose service is looked at, and when."""

    folder: DataFolder
    now: datetime
    backups: Path | None = None
    is_at_rest: bool = False  # its database alone runs: what the service would do is not asked for

    @property
    def up(self) -> str:
        """What starts it."""
        return f"python3 manage.py up --no-demo --data {self.folder.root}"

    @property
    def environment(self) -> dict[str, str]:
        """What the running service runs on; nothing where none runs."""
        file = self.folder.environment
        return dict(json.loads(file.read_text())) if file.exists() else {}


Findings = Iterator[Finding]


def main(argv: list[str]) -> int:
    """Print all findings; 1 where something is wrong."""
    parser = argparse.ArgumentParser(prog="manage.py doctor", description=__doc__)
    parser.add_argument("--data", type=Path, default=default_root(), metavar="DIR")
    parser.add_argument("--backups", type=Path, metavar="FOLDER", help="where `backup` puts them")
    given = parser.parse_args(argv)
    patient = Patient(DataFolder(given.data.resolve()), datetime.now(UTC), given.backups)
    is_wrong = False
    for finding in look_at(patient):
        is_wrong |= finding.grade is Grade.WRONG
        print(f"{finding.grade:5}  {finding.words}", flush=True)
        if finding.cure:
            print(f"       -> {finding.cure}", flush=True)
    return 1 if is_wrong else 0


def look_at(patient: Patient) -> Findings:
    """Look at one thing after another; what breaks in looking is itself a finding."""
    if not patient.folder.places.postgres.exists() and not patient.environment:
        words = f"{patient.folder.root} holds no farm"
        cure = f"name its folder with --data, or begin one: {patient.up}"
        yield Finding(Grade.WRONG, words, cure)
        return
    every = (of_disk, of_processes, of_database, of_broker, of_web, of_certificate, of_backups)
    of_service = (of_processes, of_broker, of_web)
    for look in every:
        if not (patient.is_at_rest and look in of_service):
            yield from guarded(look, patient)


def guarded(look: Callable[[Patient], Findings], patient: Patient) -> Findings:
    try:
        yield from look(patient)
    except (OSError, ValueError, psycopg.Error, BackupError, tls.CertificateError) as fault:
        yield Finding(Grade.WRONG, f"{look.__name__.replace('_', ' ')}: {fault}".strip())


def of_disk(patient: Patient) -> Findings:
    free = disk.free_bytes(patient.folder.root)
    words = f"{free / 1e9:.1f} GB free where {patient.folder.root} lies"
    cure = "make room there; at nothing left the farm's database stops"
    if free < LEAST_BYTES:
        yield Finding(Grade.WRONG, words, cure)
    else:
        yield Finding(Grade.MIND if free < SCARCE_BYTES else Grade.WELL, words)


def of_processes(patient: Patient) -> Findings:
    known = patient.folder.read_pids()
    if not lives(known.get("supervisor")):
        yield Finding(Grade.WRONG, "the service does not run", patient.up)
        return
    ended = sorted(name for name, pid in known["children"].items() if not lives(pid))
    if ended:
        words = f"not running just now: {', '.join(ended)}"
        yield Finding(Grade.MIND, words, "`up` starts them anew; its lines say why they ended")
    else:
        yield Finding(Grade.WELL, f"all of {len(known['children'])} processes run")


def lives(pid: int | None) -> bool:
    return pid is not None and Path(f"/proc/{pid}").exists()


# Stores -------------------------------------------------------------------------------------------
def of_database(patient: Patient) -> Findings:
    address = patient.environment.get("DATABASE_URL") or patient.folder.places.database_url
    try:
        connection = psycopg.connect(address, connect_timeout=PATIENCE_S)
    except psycopg.OperationalError as fault:
        words = f"the database does not answer: {str(fault).strip().splitlines()[0]}"
        yield Finding(Grade.WRONG, words, patient.up)
        return
    with connection, connection.cursor() as cursor:
        yield Finding(Grade.WELL, "the database answers")
        missing = missing_migrations(cursor)
        if missing:
            words = f"{len(missing)} steps of the tables are not made, such as {missing[0]}"
            yield Finding(Grade.WRONG, words, f"stop the service and start it: {patient.up}")
            return
        yield from of_clock(cursor)
        yield from of_farm(cursor)
        if patient.is_at_rest:
            return
        yield from of_runs(cursor, patient.now)
        yield from of_phones(cursor, patient.now)


def missing_migrations(cursor: Any) -> list[str]:
    """Name this release's steps of the tables that the database has not seen."""
    cursor.execute("SELECT to_regclass('django_migrations') IS NOT NULL")
    done = set()
    if cursor.fetchone()[0]:
        cursor.execute("SELECT app, name FROM django_migrations")
        done = set(cursor.fetchall())
    wanted = {(app, name) for app in APPS for name in backup_folder.known_migrations(app)}
    return sorted(f"{app}.{name}" for app, name in wanted - done)


def of_clock(cursor: Any) -> Findings:
    cursor.execute("SELECT clock_timestamp()")
    apart_s = abs((cursor.fetchone()[0] - datetime.now(UTC)).total_seconds())
    if apart_s > PATIENCE_S:
        words = f"the clocks of this machine and of the database's are {apart_s:.0f} s apart"
        yield Finding(Grade.WRONG, words, "let both take their time from the network (NTP)")


def of_farm(cursor: Any) -> Findings:
    cursor.execute("SELECT slug FROM equipment_site ORDER BY slug")
    farms = [slug for (slug,) in cursor.fetchall()]
    if farms:
        yield Finding(Grade.WELL, f"farms: {', '.join(farms)}")
    else:
        yield Finding(Grade.MIND, "no farm yet", "python3 manage.py load_site FILE")


def of_runs(cursor: Any, now: datetime) -> Findings:
    """Say what the service does by itself and is late, and what it has given up."""
    cursor.execute(RUNS, {"late": now - LATE_RUN, "day": now - timedelta(days=1)})
    n_late, oldest, n_dead, kind = cursor.fetchone()
    if n_late:
        minutes = (now - oldest).total_seconds() / 60
        words = f"{n_late} pieces of the service's own work are late, one by {minutes:.0f} min"
        cure = "see the lines of `worker`, `solver` and `poller` that `up` prints; start it again"
        yield Finding(Grade.WRONG, words, cure)
    else:
        yield Finding(Grade.WELL, "none of the service's own work is late")
    if n_dead:
        words = f"{n_dead} pieces of the service's own work were given up since yesterday: {kind}"
        yield Finding(Grade.MIND, words, "`error` in the table equipment_taskrun says why")


def of_phones(cursor: Any, now: datetime) -> Findings:
    cursor.execute(PHONES, {"quiet": now - QUIET_PHONE})
    n, n_quiet = cursor.fetchone()
    words = f"{n} paired phones, {n_quiet} of them not heard of for {QUIET_PHONE.days} days"
    yield Finding(Grade.MIND if n_quiet else Grade.WELL, words)


def of_broker(patient: Patient) -> Findings:
    address = patient.environment.get("REDIS_URL") or patient.folder.places.redis_url
    client = redis.Redis.from_url(address, socket_timeout=PATIENCE_S)
    try:
        client.ping()
    except redis.RedisError as fault:
        words = f"the broker does not answer ({fault}): work is done, but later"
        yield Finding(Grade.WRONG, words, patient.up)
    else:
        yield Finding(Grade.WELL, "the broker answers")
    finally:
        client.close()


# Web ----------------------------------------------------------------------------------------------
def of_web(patient: Patient) -> Findings:
    address = patient.environment.get("SITE_URL")
    if not address:
        return
    status, body = asked(address, "/readyz", certificate_of(patient))
    if status == 200:
        yield Finding(Grade.WELL, f"{address} answers")
    elif status:
        waits = json.loads(body).get("waiting_for", "?") if status == 503 else f"status {status}"
        grade = Grade.MIND if waits == "farm" else Grade.WRONG
        yield Finding(grade, f"{address} answers and waits for: {waits}")
    else:
        words = f"{address} does not answer: {body}"
        yield Finding(Grade.WRONG, words, "is the name this machine's? See the lines of `web`")


def asked(address: str, path: str, trusted: Path | None) -> tuple[int, str]:
    """Ask a page; give its status and body, or 0 and why there is none."""
    parts = urlsplit(address)
    host = parts.hostname or ""
    connection = http.client.HTTPConnection(host, parts.port or 80, timeout=PATIENCE_S)
    if parts.scheme == "https":
        context = ssl.create_default_context(cafile=trusted and str(trusted))
        connection = http.client.HTTPSConnection(
            host, parts.port or 443, timeout=PATIENCE_S, context=context
        )
    try:
        connection.request("GET", path)
        answer = connection.getresponse()
        return answer.status, answer.read().decode()
    except OSError as fault:
        return 0, str(fault)
    finally:
        connection.close()


def certificate_of(patient: Patient) -> Path | None:
    """Give the farm's own authority, if it has one."""
    file = patient.folder.root / "tls" / "authority.crt"
    return file if file.exists() else None


def of_certificate(patient: Patient) -> Findings:
    file = patient.folder.root / "tls" / "site.crt"
    if not file.exists():
        return
    left = tls.read_certificate(file).not_valid_after_utc - patient.now
    words = f"the certificate for phones ends in {left.days} days"
    is_late = left < CERTIFICATE_ENDS
    cure = "stop `up --tls` and start it again: it makes a new one" if is_late else ""
    yield Finding(Grade.WRONG if is_late else Grade.WELL, words, cure)


def of_record(patient: Patient) -> Finding:
    """Say what the data folder remembers of backups; the backups themselves are not looked at."""
    known = backup_record.read(patient.folder)
    cure = "say where they are: --backups FOLDER"
    if "failed_at" in known:
        return Finding(Grade.WRONG, f"the last backup failed: {known.get('why', '')}", cure)
    if "made_at" not in known:
        return Finding(Grade.MIND, "backups were not looked at", cure)
    try:
        age = patient.now - datetime.fromisoformat(known["made_at"])
    except (ValueError, TypeError):  # no time, or one without its zone
        return Finding(Grade.MIND, "what is remembered of backups cannot be read", cure)
    words = f"a backup was made {age.total_seconds() / 3600:.0f} h ago in {known.get('to', '?')}"
    is_old = age > OLD_BACKUP
    return Finding(Grade.WRONG if is_old else Grade.WELL, words, cure if is_old else "")


def of_backups(patient: Patient) -> Findings:
    if patient.backups is None:
        yield of_record(patient)
        return
    made = backup_folder.backups_in(patient.backups) if patient.backups.is_dir() else []
    cure = f"python3 manage.py backup --data {patient.folder.root} --out {patient.backups}"
    if not made:
        yield Finding(Grade.WRONG, f"no backup lies in {patient.backups}", cure)
        return
    made_at = datetime.fromisoformat(backup_folder.read_manifest(made[-1]).made_at)
    hours = (patient.now - made_at).total_seconds() / 3600
    is_old = patient.now - made_at > OLD_BACKUP
    words = f"the last backup is {hours:.0f} h old: {made[-1]}"
    yield Finding(Grade.WRONG if is_old else Grade.WELL, words, cure if is_old else "")
