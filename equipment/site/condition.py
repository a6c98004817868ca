"""How the service itself is: its last backup, certificate, disk, signs of life and own work.

Files are read where the settings name them (DATA_ROOT, TLS_CERTIFICATE), which `up` does. What
cannot be read is None, never well.
"""

from __future__ import annotations

import json
import shutil
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from cryptography import x509
from django.conf import settings
from django.db import connection
from django.db.models import Count, Min, Q, QuerySet

from .models import RunState, TaskRun
from .runs import SLOW_QUEUES

RECORD = "last-backup.json"  # config/backup_record.py writes it
OLD_BACKUP = timedelta(hours=26)  # a day, and two hours for a backup that takes its time
LEAST_BYTES, SCARCE_BYTES = 10**9, 5 * 10**9
CERTIFICATE_ENDS = timedelta(days=30)
SILENT_AFTER = timedelta(seconds=360)  # as config/heartbeat.py has it
LATE_AFTER = timedelta(minutes=1)  # of quick work: a worker looks every 5 s, the poller each second
SLOW_LATE_AFTER = timedelta(minutes=15)  # of what takes minutes and waits for its turn


@dataclass(frozen=True, slots=True)
class BackupRecord:
    """The last whole backup, and the failure since then, if there was one."""

    made_at: datetime | None = None
    to: str = ""
    failed_at: datetime | None = None
    why: str = ""

    def is_old(self, now: datetime) -> bool:
        """Whether the last whole one is older than a day."""
        return self.made_at is not None and now - self.made_at > OLD_BACKUP


@dataclass(frozen=True, slots=True)
class OwnWork:
    """Task runs that wait or are being done; `late_since` is the oldest due time of the late."""

    n_waiting: int
    n_running: int
    n_late: int
    late_since: datetime | None


@dataclass(frozen=True, slots=True)
class Certificate:
    """What phones are spoken to with; the farm's own authority makes a new one by itself."""

    ends_at: datetime
    is_farms: bool


def data_root() -> Path | None:
    """Give the data folder where `up` serves the farm, else None."""
    root: Path | None = settings.DATA_ROOT
    return root


def is_database_kept_here() -> bool:
    """Whether the database lies in the data folder, so that `backup` can copy it."""
    root = data_root()
    return root is not None and Path(connection.settings_dict["HOST"]) == root / "sockets"


def backup_record() -> BackupRecord | None:
    """Read what is remembered of backups; None where it cannot be read, empty where none is."""
    root = data_root()
    if root is None:
        return None
    try:
        known = json.loads((root / RECORD).read_text())
        return BackupRecord(
            made_at=_moment(known.get("made_at")),
            to=str(known.get("to", "")),
            failed_at=_moment(known.get("failed_at")),
            why=str(known.get("why", "")),
        )
    except FileNotFoundError:
        return BackupRecord()
    except (OSError, ValueError, AttributeError, TypeError):
        return None


def _moment(text: Any) -> datetime | None:
    at = datetime.fromisoformat(text) if text else None
    if at is not None and at.tzinfo is None:
        raise ValueError(f"{text} says no zone")
    return at


def certificate() -> Certificate | None:
    """Read the certificate that the service speaks TLS with; None without one to be read."""
    file: Path | None = settings.TLS_CERTIFICATE
    if file is None:
        return None
    try:
        found = x509.load_pem_x509_certificate(file.read_bytes())
    except (OSError, ValueError):
        return None
    root = data_root()
    is_farms = root is not None and file.parent == root / "tls"
    return Certificate(found.not_valid_after_utc, is_farms)


def free_bytes() -> int | None:
    """Give the bytes that are free where the data lie, of photos alone where no more is known."""
    folder: Path = data_root() or settings.MEDIA_ROOT
    there = next((path for path in (folder, *folder.parents) if path.exists()), None)
    return shutil.disk_usage(there).free if there else None


def signs_of_life() -> dict[str, datetime | None] | None:
    """Say when each process that works in the background was last seen to live.

    None where `up` does not watch them; one without a time has shown none since the start.
    """
    root = data_root()
    if root is None:
        return None
    return {name: _touched(root / "run" / f"heartbeat-{name}") for name in ("worker", "solver")}


def _touched(file: Path) -> datetime | None:
    try:
        return datetime.fromtimestamp(file.stat().st_mtime, UTC)
    except OSError:
        return None


def own_work(site_id: int, now: datetime) -> OwnWork:
    """Count the site's open runs and those that stand still: 1 query, of open runs alone.

    Work waits for its turn: of quick and of slow each, it stands still only where nobody does any.
    """
    is_slow = Q(queue__in=SLOW_QUEUES)
    nobodys = Q(state=RunState.WAITING) | Q(lease_until__lte=now)
    late = ~is_slow & nobodys & Q(due_at__lte=now - LATE_AFTER)
    slow = is_slow & nobodys & Q(due_at__lte=now - SLOW_LATE_AFTER)
    states = (RunState.WAITING, RunState.RUNNING)
    found = (
        _of_site(site_id)
        .filter(state__in=states)
        .aggregate(
            n_waiting=Count("id", filter=Q(state=RunState.WAITING)),
            n_running=Count("id", filter=Q(state=RunState.RUNNING)),
            n_late=Count("id", filter=late),
            late_since=Min("due_at", filter=late),
            n_slow=Count("id", filter=slow),
            slow_since=Min("due_at", filter=slow),
            n_going=Count("id", filter=~is_slow & Q(lease_until__gt=now)),
            n_slow_going=Count("id", filter=is_slow & Q(lease_until__gt=now)),
        )
    )
    is_late, is_slow_late = not found["n_going"], not found["n_slow_going"]
    since = [
        found["late_since"] if is_late else None,
        found["slow_since"] if is_slow_late else None,
    ]
    return OwnWork(
        n_waiting=found["n_waiting"],
        n_running=found["n_running"],
        n_late=is_late * found["n_late"] + is_slow_late * found["n_slow"],
        late_since=min((at for at in since if at), default=None),
    )


def given_up(site_id: int, since: datetime) -> QuerySet[TaskRun]:
    """Runs of the site that were given up, the last first: 1 query."""
    dead = _of_site(site_id).filter(state=RunState.DEAD, finished_at__gt=since)
    return dead.order_by("-finished_at", "-id")


def _of_site(site_id: int) -> QuerySet[TaskRun]:
    """The site's runs, and those of no site."""
    return TaskRun.objects.filter(Q(site_id=site_id) | Q(site_id=None))
