"""Background work as rows: made with its cause, claimed by lease, done exactly once.

PostgreSQL is the ledger. The broker only rings: a lost, doubled or late ring changes nothing,
since the poller finds every due row by itself (reliability R1 to R5).
"""

from __future__ import annotations

import logging
import random
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from importlib import import_module
from pathlib import Path
from typing import Any

from django.db import transaction
from django.db.models import F, Q, QuerySet
from kombu.exceptions import OperationalError

from .models import RunState, Site, TaskRun

log = logging.getLogger(__name__)

MAX_ATTEMPTS = 5
SLOW_QUEUES = ("solve", "forecast")  # seconds to minutes a run: never before what is quick
Prepare = Callable[[TaskRun], Any]
Apply = Callable[[TaskRun, Any], None]


@dataclass(frozen=True, slots=True)
class RunKind:
    """How one kind of run is done: `prepare` outside, `apply` inside the final transaction."""

    name: str
    queue: str
    lease_s: float
    apply: Apply
    prepare: Prepare | None = None


KINDS: dict[str, RunKind] = {}
SUBSCRIBERS: dict[str, tuple[str, ...]] = {}  # run kind: beginnings of the topics it reads
PERIODIC: dict[str, timedelta] = {}


def run_kind(
    name: str,
    *,
    queue: str = "produce",
    lease_s: float = 60,
    prepare: Prepare | None = None,
    on_change: tuple[str, ...] = (),
    every: timedelta | None = None,
) -> Callable[[Apply], Apply]:
    """Register a kind of run; `every` makes one per site and slot.

    `on_change` holds the topics that ring for it, each by its beginning: ("visit.", "hold.").
    A consumer that names none of the topics it writes itself cannot ring for ever.
    """

    def register(apply: Apply) -> Apply:
        KINDS[name] = RunKind(name, queue, lease_s, apply, prepare)
        if on_change:
            SUBSCRIBERS[name] = on_change
        if every:
            PERIODIC[name] = every
        return apply

    return register


def enqueue(
    kind: str,
    *,
    key: str,
    at: datetime,
    site_id: int | None = None,
    args: dict[str, Any] | None = None,
    due_at: datetime | None = None,
) -> None:
    """Write a run once per (kind, key), in the caller's transaction; ring after it commits."""
    run = TaskRun(
        site_id=site_id,
        kind=kind,
        dedupe_key=key,
        args=args or {},
        queue=KINDS[kind].queue,
        due_at=due_at or at,
        created_at=at,
    )
    TaskRun.objects.bulk_create([run], ignore_conflicts=True)
    transaction.on_commit(lambda: ring(kind, key))


_bell_rests_until = 0.0  # monotonic s; a frozen broker must not cost every request its timeout


def ring(kind: str, key: str) -> None:
    """Ask a worker to look at a run now. A dead broker is no error: the poller finds the run."""
    global _bell_rests_until  # noqa: PLW0603  one bell per process
    from .tasks import run as run_task

    if time.monotonic() < _bell_rests_until:
        return
    try:
        run_task.apply_async((kind, key), queue=KINDS[kind].queue, retry=False)
    except OperationalError as error:
        _bell_rests_until = time.monotonic() + 5
        log.warning("doorbell silent for %s: %s", kind, error)


def claimable(now: datetime) -> QuerySet[TaskRun]:
    """Runs that are due and nobody's, or whose holder's lease ran out."""
    waiting = Q(state=RunState.WAITING, due_at__lte=now)
    return TaskRun.objects.filter(waiting | Q(state=RunState.RUNNING, lease_until__lte=now))


def claim(run_id: int, now: datetime) -> TaskRun | None:
    """Take a run for one lease; None when it is another's, done, not due, or given up."""
    run = claimable(now).filter(id=run_id).first()
    if run is None or _gave_up(run, now):
        return None
    lease_until = now + timedelta(seconds=KINDS[run.kind].lease_s)
    taken = (
        claimable(now)
        .filter(id=run_id, attempts=run.attempts)
        .update(state=RunState.RUNNING, lease_until=lease_until, attempts=F("attempts") + 1)
    )
    if not taken:
        return None
    run.refresh_from_db()
    return run


def _gave_up(run: TaskRun, now: datetime) -> bool:
    """Give a run up whose last attempt ended without a word: it may be what kills its worker."""
    if run.state != RunState.RUNNING or run.attempts < MAX_ATTEMPTS:
        return False
    log.error("run %s (%s) outlasted its lease or its worker; given up", run.id, run.kind)
    words = f"given up: attempt {run.attempts} ended without a word, its worker lost or too slow"
    _held(run).update(state=RunState.DEAD, finished_at=now, lease_until=None, error=words)
    return True


class LostLeaseError(Exception):
    """Another worker took the run over; what we did is rolled back."""


def perform(run_id: int, *, now: datetime | None = None) -> bool:
    """Claim and do one run; its effect and its done mark commit together, or neither does."""
    run = claim(run_id, now or datetime.now(UTC))
    if run is None:
        return False
    kind = KINDS[run.kind]
    try:
        prepared = kind.prepare(run) if kind.prepare else None
        with transaction.atomic():
            kind.apply(run, prepared)
            _mark_done(run)
    except LostLeaseError:
        log.warning("run %s (%s) was taken over", run.id, run.kind)
        return False
    except Exception as error:
        log.exception("run %s (%s) failed", run.id, run.kind)
        _mark_failed(run, error)
        return False
    return True


def _held(run: TaskRun) -> QuerySet[TaskRun]:
    return TaskRun.objects.filter(id=run.id, state=RunState.RUNNING, attempts=run.attempts)


def _mark_done(run: TaskRun) -> None:
    done = _held(run).update(
        state=RunState.DONE, finished_at=datetime.now(UTC), lease_until=None, error=""
    )
    if done != 1:
        raise LostLeaseError


def _mark_failed(run: TaskRun, error: Exception) -> None:
    now = datetime.now(UTC)
    delay_s = min(300, 2**run.attempts) * random.uniform(0.5, 1.5)  # noqa: S311  jitter, no secret
    dead = run.attempts >= MAX_ATTEMPTS
    _held(run).update(
        state=RunState.DEAD if dead else RunState.WAITING,
        due_at=now + timedelta(seconds=delay_s),
        finished_at=now if dead else None,
        lease_until=None,
        error=f"{type(error).__name__}: {error}"[:2000],
    )


def poll(*, now: datetime, limit: int = 100) -> int:
    """Do what is due and quick, oldest first, without any broker. The floor under the doorbell."""
    return _poll(claimable(now).exclude(queue__in=SLOW_QUEUES), limit)


def poll_slow(*, now: datetime, waited_s: float = 0.0) -> int:
    """Do one run that takes long and has been due for so many seconds."""
    due = claimable(now - timedelta(seconds=waited_s)).filter(queue__in=SLOW_QUEUES)
    return _poll(due, 1)


def _poll(due: QuerySet[TaskRun], limit: int) -> int:
    ids = list(due.order_by("due_at").values_list("id", flat=True)[:limit])
    return sum(perform(i) for i in ids)


def plan_periodic(*, now: datetime) -> None:
    """Write each site's periodic runs of the current slot, once each whoever ticks."""
    for site_id in Site.objects.values_list("id", flat=True):
        for kind, every in PERIODIC.items():
            slot = int(now.timestamp() // every.total_seconds())
            key = f"{site_id}:{every.total_seconds():.0f}s:{slot}"
            if not TaskRun.objects.filter(kind=kind, dedupe_key=key).exists():
                enqueue(kind, key=key, site_id=site_id, at=now)


def load_kinds(app: str, folder: Path) -> None:
    """Import the tasks of an app's rooms: a web process must know the kinds that it enqueues."""
    for path in sorted(folder.glob("*/tasks.py")):
        import_module(f"{app}.{path.parent.name}.tasks")
