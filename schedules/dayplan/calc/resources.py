"""What a day offers: places, people and machines, and when. Frozen records that refuse nonsense.

All times are aware UTC instants, so the plan does not know what a daylight-saving night is. An
interval runs from its start up to, not including, its end.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from itertools import pairwise


class Bucket(StrEnum):
    """What a bucket or blade last touched: clean sand and feed, or manure."""

    CLEAN = "clean"
    DIRTY = "dirty"


class Effort(StrEnum):
    """How hard outdoor work is, as heat tables for workers class it."""

    LIGHT = "light"
    MODERATE = "moderate"
    HEAVY = "heavy"


class ProblemError(ValueError):
    """A record that cannot be: `record` names it, `rule` says what it breaks."""

    def __init__(self, record: str, rule: str) -> None:
        super().__init__(f"{record}: {rule}")
        self.record = record
        self.rule = rule


def require(is_met: bool, record: str, rule: str) -> None:
    """Refuse `record` for `rule` unless it is met."""
    if not is_met:
        raise ProblemError(record, rule)


def minutes_between(start: datetime, end: datetime) -> float:
    """Minutes from one instant to another, negative when it lies before [min]."""
    return (end - start) / timedelta(minutes=1)


def require_utc(at: datetime | None, record: str, name: str) -> None:
    """Refuse an instant that is naive or in a local zone."""
    # A zoneinfo zone would make differences wall-clock ones, wrong by an hour on two nights a year.
    if at is not None and (at.tzinfo is None or str(at.tzinfo) != "UTC"):
        raise ProblemError(record, f"{name} must be an aware UTC instant, got {at!r}")


def _require_apart(spans: Iterable[Interval | Shift | HeatRest], record: str, name: str) -> None:
    ordered = sorted(spans, key=lambda span: span.start)
    for a, b in pairwise(ordered):
        require(a.end <= b.start, record, f"{name} overlap at {b.start.isoformat()}")


def require_unique(values: Iterable[str], record: str, name: str) -> None:
    """Refuse a value that stands twice."""
    seen: set[str] = set()
    for value in values:
        require(value not in seen, record, f"{name} names {value!r} twice")
        seen.add(value)


@dataclass(frozen=True, slots=True)
class Interval:
    """A stretch of time, `start` inside and `end` outside."""

    start: datetime
    end: datetime

    def __post_init__(self) -> None:
        require_span(self.start, self.end, "interval")


def require_span(start: datetime, end: datetime, record: str) -> None:
    """Refuse a span that is not two UTC instants in their order."""
    require_utc(start, record, "start")
    require_utc(end, record, "end")
    rule = f"start {start.isoformat()} must be before end {end.isoformat()}"
    require(start < end, record, rule)


@dataclass(frozen=True, slots=True)
class Place:
    """Where work is done.

    Parameters
    ----------
    x_m, y_m : float
        Position on the site's own flat grid. [m]
    is_exclusive : bool
        Whether one job at a time may have it (an alley with a machine in it, a pad bay, a lane).
    stocks : tuple of str
        Tools and materials that a person may call for on the way: it never runs out of them. One
        call loads what all later jobs of the shift need, as far as the person has room for it.
    call_min : float
        Time such a call takes. [min]
    """

    key: str
    x_m: float
    y_m: float
    is_exclusive: bool = False
    stocks: tuple[str, ...] = ()
    call_min: float = 0

    def __post_init__(self) -> None:
        require(bool(self.key), "place", "key must not be empty")
        require(self.call_min >= 0, f"place {self.key!r}", f"call_min {self.call_min} is below 0")
        require_unique(self.stocks, f"place {self.key!r}", "stocks")


@dataclass(frozen=True, slots=True)
class Road:
    """A stretch of the site's ways between two places, both ways unless `is_one_way`.

    Parameters
    ----------
    length_m : float
        Along the road. [m]
    is_for_people, is_for_machines : bool
        Who may use it.
    """

    a: str
    b: str
    length_m: float
    is_one_way: bool = False
    is_for_people: bool = True
    is_for_machines: bool = True

    def __post_init__(self) -> None:
        record = f"road {self.a!r} - {self.b!r}"
        require(self.length_m >= 0, record, f"length_m {self.length_m} is below 0")
        require(self.a != self.b, record, "leads back to where it begins")


@dataclass(frozen=True, slots=True)
class Gear:
    """Things of one kind that jobs hold while they last: attachments, pumps, barriers.

    `n` of them are there; where they stand is left aside.
    """

    key: str
    n: int

    def __post_init__(self) -> None:
        require(bool(self.key), "gear", "key must not be empty")
        require(self.n >= 0, f"gear {self.key!r}", f"n {self.n} is below 0")


@dataclass(frozen=True, slots=True)
class Amount:
    """So many of one kind of gear, tool or material."""

    key: str
    n: int = 1

    def __post_init__(self) -> None:
        require(bool(self.key), "amount", "key must not be empty")
        require(self.n >= 1, f"amount of {self.key!r}", f"n {self.n} is below 1")


@dataclass(frozen=True, slots=True)
class Fuel:
    """When a machine must be filled or charged, and where.

    Parameters
    ----------
    run_left_min, run_full_min : float
        Time on jobs, from start to end, that it can do before it must be filled: at first, and
        after each stop. Its driver fills it on the way to a job that it could not finish. Where it
        stands idle under a job it needs none. [min]
    place : str
        Where it is filled.
    fill_min : float
        Time the stop takes. [min]
    """

    run_left_min: float
    run_full_min: float
    place: str
    fill_min: float

    def __post_init__(self) -> None:
        rule = f"run_left_min {self.run_left_min} is not in 0..run_full_min {self.run_full_min}"
        require(0 <= self.run_left_min <= self.run_full_min, "fuel", rule)
        require(self.run_full_min > 0, "fuel", "run_full_min is not above 0")
        require(self.fill_min >= 0, "fuel", f"fill_min {self.fill_min} is below 0")


@dataclass(frozen=True, slots=True)
class Block:
    """A time in which no job may touch a place: cows walk back, a flush runs, a lane flows.

    `why` is a code for the explanation, not a sentence.
    """

    place: str
    start: datetime
    end: datetime
    why: str

    def __post_init__(self) -> None:
        require_span(self.start, self.end, f"block of {self.place!r}")


@dataclass(frozen=True, slots=True)
class Skill:
    """A skill held at the start of the horizon, and the instant it lapses (none: not in sight).

    `level` says how well: a job may ask for a least one.
    """

    key: str
    until: datetime | None = None
    level: int = 1

    def __post_init__(self) -> None:
        require_utc(self.until, f"skill {self.key!r}", "until")
        require(self.level >= 1, f"skill {self.key!r}", f"level {self.level} is below 1")


@dataclass(frozen=True, slots=True)
class Shift:
    """A person's shift; `overtime_min` [min] may be worked past its end, at a price."""

    start: datetime
    end: datetime
    overtime_min: float = 0

    def __post_init__(self) -> None:
        require_span(self.start, self.end, "shift")
        require(self.overtime_min >= 0, "shift", f"overtime_min {self.overtime_min} is below 0")

    @property
    def latest_end(self) -> datetime:
        """End of the shift with all its overtime."""
        return self.end + timedelta(minutes=self.overtime_min)


@dataclass(frozen=True, slots=True)
class HeatRest:
    """Rest minutes owed in each hour of work of each effort while a heat lasts.

    Parameters
    ----------
    light_min_per_h, moderate_min_per_h, heavy_min_per_h : int
        0 is no rest, 60 is no work at all. They never shrink as effort rises. [min h⁻¹]
    """

    start: datetime
    end: datetime
    light_min_per_h: int = 0
    moderate_min_per_h: int = 0
    heavy_min_per_h: int = 0

    def __post_init__(self) -> None:
        record = f"heat rest from {self.start.isoformat()}"
        require_span(self.start, self.end, record)
        rests = (self.light_min_per_h, self.moderate_min_per_h, self.heavy_min_per_h)
        rule = f"rests {rests} must rise from 0 to at most 60 with the effort"
        require(0 <= rests[0] <= rests[1] <= rests[2] <= 60, record, rule)

    def rest_min_per_h(self, effort: Effort) -> int:
        """Rest owed in an hour of this effort [min h⁻¹]."""
        if effort is Effort.LIGHT:
            return self.light_min_per_h
        return self.moderate_min_per_h if effort is Effort.MODERATE else self.heavy_min_per_h


@dataclass(frozen=True, slots=True)
class Person:
    """Someone who can be given jobs while on shift and not on a break.

    Parameters
    ----------
    start_place : str
        Where the person stands at the start of each shift.
    end_place : str or None
        Where the person must be back by the end of each shift with its overtime, on foot from the
        last job; none: anywhere. The way back is travel, and overtime where it is late.
    carries : tuple of Amount
        Tools and materials at hand at the start of each shift.
    room_for : tuple of Amount
        The most of a tool or material that a call loads up to; not named: no limit.
    walk_m_min : float or None
        Own speed between places; none: the problem's. [m min⁻¹]
    """

    id: str
    start_place: str
    shifts: tuple[Shift, ...]
    crew: str | None = None
    breaks: tuple[Interval, ...] = ()
    skills: tuple[Skill, ...] = ()
    heat_rests: tuple[HeatRest, ...] = ()
    end_place: str | None = None
    carries: tuple[Amount, ...] = ()
    walk_m_min: float | None = None
    room_for: tuple[Amount, ...] = ()

    def __post_init__(self) -> None:
        record = f"person {self.id!r}"
        require_unique((amount.key for amount in self.carries), record, "carries")
        require_unique((amount.key for amount in self.room_for), record, "room_for")
        require(self.walk_m_min is None or self.walk_m_min > 0, record, "walk_m_min is not above 0")
        require(bool(self.id), "person", "id must not be empty")
        _require_apart(self.shifts, record, "shifts")
        _require_apart(self.heat_rests, record, "heat_rests")
        require_unique((skill.key for skill in self.skills), record, "skills")

    def shift_at(self, at: datetime) -> Shift | None:
        """Return the shift, with its overtime, that holds an instant."""
        # The later one where overtime runs into the next shift.
        holding = [s for s in self.shifts if s.start <= at < s.latest_end]
        return max(holding, key=lambda shift: shift.start, default=None)

    def has_skill(self, key: str, until: datetime, level: int = 1) -> bool:
        """Whether the person holds the skill at a level for all of a job that ends at `until`."""
        return any(
            s.key == key and s.level >= level and (s.until is None or s.until >= until)
            for s in self.skills
        )


@dataclass(frozen=True, slots=True)
class Machine:
    """A machine that one job at a time can have.

    Parameters
    ----------
    driver_skill : str or None
        Skill its driver must hold; none: anybody may drive it.
    available : tuple of Interval
        When the farm would use it.
    holds : tuple of Interval
        When a named person has taken it out of use; they are cut out of `available`.
    speed_m_min : float
        Travel speed between places. [m min⁻¹]
    hookup_min : float
        Time to take it over when the driver does not come with it from its last job. [min]
    last_bucket : Bucket or None
        What its bucket touched before the horizon.
    fuel : Fuel or None
        When it must be filled or charged; none: never within the horizon.
    """

    id: str
    kind: str
    start_place: str
    speed_m_min: float
    available: tuple[Interval, ...]
    holds: tuple[Interval, ...] = ()
    driver_skill: str | None = None
    hookup_min: float = 0
    last_bucket: Bucket | None = None
    fuel: Fuel | None = None

    def __post_init__(self) -> None:
        record = f"machine {self.id!r}"
        require(bool(self.id), "machine", "id must not be empty")
        require(self.speed_m_min > 0, record, f"speed_m_min {self.speed_m_min} must be above 0")
        require(self.hookup_min >= 0, record, f"hookup_min {self.hookup_min} is below 0")
        _require_apart(self.available, record, "available")


def end_with_rest(
    people: Iterable[Person],
    start: datetime,
    duration_min: float,
    effort: Effort | None,
    pauses: Iterable[Interval] = (),
) -> datetime:
    """Instant at which work begun at `start` is done, with the rests that heat asks for.

    Parameters
    ----------
    people : iterable of Person
        Who does it together; at each moment the one who must rest most sets the pace.
    start : datetime
        Instant the work begins, UTC.
    duration_min : float
        Work without rest. [min]
    effort : Effort or None
        None: no rest is owed.
    pauses : iterable of Interval
        When the work is left.

    Notes
    -----
    An hour in which r minutes of rest are owed yields 60 − r minutes of work, evenly spread.
    """
    left = timedelta(minutes=duration_min)
    rests: list[tuple[Interval | HeatRest, int]] = [(pause, 60) for pause in pauses]
    if effort is not None:
        rests += [(r, r.rest_min_per_h(effort)) for person in people for r in person.heat_rests]
    edges = sorted({edge for r, _ in rests for edge in (r.start, r.end) if edge > start})
    at = start
    for edge in edges:
        owed = [min_per_h for r, min_per_h in rests if r.start <= at < r.end]
        work_frac = 1 - max(owed, default=0) / 60
        if left <= (edge - at) * work_frac:
            return at + left / work_frac
        left -= (edge - at) * work_frac
        at = edge
    return at + left
