"""Water: which flush runs come next, which ones a lock blocks, where a tank falls short."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import timedelta

from equipment.flushing.models import FlushRun, Lock, RunStatus
from equipment.flushing.queries import TankPlan, open_locks, read_runs, tank_plans
from equipment.site.models import Place, PlaceKind
from equipment.site.queries import place_name

from .base import Desk

AHEAD, SOON = timedelta(hours=24), timedelta(hours=6)
N_NEXT = 6
LOCKABLE = (
    PlaceKind.ALLEY,
    PlaceKind.LANE,
    PlaceKind.TANK,
    PlaceKind.BASIN,
    PlaceKind.PEN,
    PlaceKind.PARLOR,
)


@dataclass(frozen=True, slots=True)
class RunLine:
    """One flush run in words."""

    alley: str
    when: str
    tank: str
    volume: str
    is_blocked: bool
    blocked_by: str
    waits: str
    lacks: str


@dataclass(frozen=True, slots=True)
class TankLine:
    """One tank: how low it goes in the next day, and where it falls short."""

    tank: str
    lowest: str
    full: str
    is_short: bool
    short_at: str = ""
    short_by: str = ""


@dataclass(frozen=True, slots=True)
class LockLine:
    """One lock that is on."""

    lock: Lock
    place: str
    hours: str
    is_mine: bool


@dataclass
class Water:
    """What the part shows."""

    next_runs: list[RunLine] = field(default_factory=list)
    blocked: list[RunLine] = field(default_factory=list)
    tanks: list[TankLine] = field(default_factory=list)

    @property
    def n_blocked(self) -> int:
        """How many runs of the next day are blocked."""
        return len(self.blocked)


def water_of(desk: Desk) -> Water:
    """Read the flush runs of the next hours, all that are blocked, and the tanks: 3 queries."""
    runs = read_runs(desk.site_id, desk.now, desk.now + AHEAD)
    soon = [run for run in runs if run.starts_at < desk.now + SOON]
    planned = [run for run in soon if run.status == RunStatus.PLANNED]
    return Water(
        next_runs=[_run(desk, run) for run in planned[:N_NEXT]],
        blocked=[_run(desk, run) for run in runs if run.status == RunStatus.BLOCKED],
        tanks=[_tank(desk, plan) for plan in tank_plans(desk.site_id, desk.now, desk.now + AHEAD)],
    )


def _run(desk: Desk, run: FlushRun) -> RunLine:
    lock = run.blocked_by
    return RunLine(
        alley=desk.place(run.alley.place),
        when=desk.moment(run.starts_at),
        tank=desk.place(run.timer.tank.place),
        volume=desk.amount(run.volume_m3, "volume_m3", "gal"),
        is_blocked=lock is not None,
        blocked_by=f"{desk.place(lock.place)}, {lock.owner.name}" if lock else "",
        waits=f"{run.waits_s / 60:,.0f} min" if run.waits_s else "",
        lacks=desk.amount(run.short_m3, "short_m3", "gal") if run.short_m3 else "",
    )


def _tank(desk: Desk, plan: TankPlan) -> TankLine:
    steps = plan.day.steps
    short = next((step for step in steps if step.short_m3 > 0), None)
    lowest_m3 = min((step.after_m3 for step in steps), default=plan.day.end_m3)
    return TankLine(
        tank=desk.place(plan.tank.place),
        lowest=desk.amount(lowest_m3, "lowest_m3", "gal"),
        full=desk.amount(plan.tank.volume_m3, "volume_m3", "gal"),
        is_short=short is not None,
        short_at=desk.moment(short.at) if short else "",
        short_by=desk.amount(short.short_m3, "short_m3", "gal") if short else "",
    )


def lock_lines(desk: Desk) -> list[LockLine]:
    """Locks that are on, the oldest first: 1 query."""
    return [
        LockLine(
            lock=lock,
            place=desk.place(lock.place),
            hours=f"{(desk.now - lock.on_at) / timedelta(hours=1):,.1f} h",
            is_mine=lock.owner_id == desk.caller.actor.pk,
        )
        for lock in open_locks(desk.site_id)
    ]


def lockable_places(desk: Desk) -> list[tuple[int, str]]:
    """Places that a person may isolate, by name: 1 query."""
    site = desk.caller.site
    places = Place.objects.filter(site=site, kind__in=LOCKABLE, retired_at=None)
    named = [(place.pk, place_name(site, place, desk.language), place) for place in places]
    named.sort(key=lambda row: (LOCKABLE.index(PlaceKind(row[2].kind)), row[2].pk))
    return [(pk, name) for pk, name, _place in named]
