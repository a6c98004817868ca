"""Who works when: rotations to shifts, rest between them, who is here."""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from enum import StrEnum
from itertools import groupby, pairwise
from zoneinfo import ZoneInfo

from equipment.site.calc.local_time import elapsed_h, require_aware, wall_span
from equipment.site.calc.refusal import RefusedValueError

# Common practice, no source: no federal rule sets rest between farm shifts for adults, states may.
REST_WANTED_H = 11.0
REST_LEAST_H = 10.0

_LONGEST_SHIFT_MIN = 24 * 60


@dataclass(frozen=True, slots=True)
class ShiftPattern:
    """A shift's local start and its length by the wall clock.

    Parameters
    ----------
    key : str
        The farm's key for it.
    starts_local : time
        Naive local time of day.
    duration_min : int
        Length on an ordinary night, 1 to 1440. [min]
    """

    key: str
    starts_local: time
    duration_min: int

    def __post_init__(self) -> None:
        """Refuse a pattern that no night can hold."""
        if not 0 < self.duration_min <= _LONGEST_SHIFT_MIN:
            raise RefusedValueError("out_of_range", f"{self.key}.duration_min", self.duration_min)
        if self.starts_local.tzinfo is not None:
            raise RefusedValueError("has_offset", f"{self.key}.starts_local", self.starts_local)


@dataclass(frozen=True, slots=True)
class Rotation:
    """A worker's turn: so many days on, so many off, counted from a date both ways.

    Parameters
    ----------
    worker : str
        Key of the worker.
    pattern : ShiftPattern
        The shift worked on days on.
    days_on, days_off : int
        At least one day on; no days off means every day.
    anchor_on : date
        Local date of a first day on.
    """

    worker: str
    pattern: ShiftPattern
    days_on: int
    days_off: int
    anchor_on: date

    def __post_init__(self) -> None:
        """Refuse a turn that has no day on."""
        if self.days_on < 1 or self.days_off < 0:
            raise RefusedValueError(
                "out_of_range", f"{self.worker}.rotation", (self.days_on, self.days_off)
            )

    def works_on(self, day: date) -> bool:
        """Say whether a local date is one of the days on."""
        return (day - self.anchor_on).days % (self.days_on + self.days_off) < self.days_on


@dataclass(frozen=True, slots=True)
class Leave:
    """Days a worker is away: the first, and the day they are back.

    Parameters
    ----------
    worker : str
        Key of the worker.
    from_on, until_on : date
        Local dates; the end is exclusive.
    """

    worker: str
    from_on: date
    until_on: date

    def covers(self, day: date) -> bool:
        """Say whether the worker is away on a local date."""
        return self.from_on <= day < self.until_on


@dataclass(frozen=True, slots=True)
class Shift:
    """One worker's shift on the local date it starts.

    Parameters
    ----------
    worker, pattern : str
        Keys.
    local_date : date
        Date on which it starts.
    start, end : datetime
        Aware, in UTC; the end is exclusive.
    """

    worker: str
    pattern: str
    local_date: date
    start: datetime
    end: datetime

    def __post_init__(self) -> None:
        """Refuse a shift without length."""
        if elapsed_h(self.start, self.end) <= 0:
            raise RefusedValueError("not_positive", f"{self.worker}.shift", self.start)

    @property
    def hours_h(self) -> float:
        """Hours that pass in it: for pay and rest, not for the board [h]."""
        return elapsed_h(self.start, self.end)

    def is_on_at(self, instant: datetime) -> bool:
        """Say whether the worker is on shift at an instant."""
        return self.start <= instant < self.end


def shifts_between(
    rotations: Iterable[Rotation],
    leaves: Iterable[Leave],
    from_on: date,
    until_on: date,
    zone: ZoneInfo,
) -> list[Shift]:
    """Make the shifts of all rotations that start in a range of dates.

    Parameters
    ----------
    rotations : iterable of Rotation
        Any number a worker.
    leaves : iterable of Leave
        A shift that starts on a day of leave is left out.
    from_on, until_on : date
        Local dates; the end is exclusive.
    zone : ZoneInfo
        The site's zone.

    Returns
    -------
    list of Shift
        By start, then worker.

    Raises
    ------
    RefusedValueError
        ``overlap`` when two rotations put a worker on two shifts at once.

    Notes
    -----
    A shift runs from wall time to wall time: 22:00 to 06:00 takes 7 h over the spring gap and 9 h
    over the autumn fold.
    """
    away: dict[str, list[Leave]] = defaultdict(list)
    for leave in leaves:
        away[leave.worker].append(leave)
    days = [from_on + timedelta(days=n) for n in range((until_on - from_on).days)]
    shifts = [
        _shift_on(rotation, day, zone)
        for rotation in rotations
        for day in days
        if rotation.works_on(day) and not any(leave.covers(day) for leave in away[rotation.worker])
    ]
    refuse_overlaps(shifts)
    return sorted(shifts, key=lambda s: (s.start, s.worker))


def _shift_on(rotation: Rotation, day: date, zone: ZoneInfo) -> Shift:
    pattern = rotation.pattern
    wall = timedelta(minutes=pattern.duration_min)
    start, end = wall_span(datetime.combine(day, pattern.starts_local), wall, zone)
    return Shift(rotation.worker, pattern.key, day, start, end)


def _neighbours(shifts: Iterable[Shift]) -> Iterator[tuple[Shift, Shift]]:
    in_order = sorted(shifts, key=lambda s: (s.worker, s.start, s.end))
    for _, of_worker in groupby(in_order, key=lambda s: s.worker):
        yield from pairwise(of_worker)


def refuse_overlaps(shifts: Iterable[Shift]) -> None:
    """Refuse shifts that put one worker in two places.

    Parameters
    ----------
    shifts : iterable of Shift
        Of any number of workers, in any order. Shifts that only touch do not overlap.

    Raises
    ------
    RefusedValueError
        ``overlap``, naming the worker, with the start of the later shift.
    """
    for earlier, later in _neighbours(shifts):
        if later.start < earlier.end:
            raise RefusedValueError("overlap", f"{later.worker}.shift", later.start)


class RestCode(StrEnum):
    """How a rest between two shifts falls short."""

    BELOW_WANTED = "below_wanted"
    TOO_SHORT = "too_short"


@dataclass(frozen=True, slots=True)
class RestFault:
    """A rest between two shifts of a worker that is shorter than it should be.

    Parameters
    ----------
    earlier, later : Shift
        The shifts on both sides.
    rest_h : float
        Hours that pass between them. [h]
    code : RestCode
        How short it is.
    """

    earlier: Shift
    later: Shift
    rest_h: float
    code: RestCode


def rest_faults(
    shifts: Iterable[Shift], *, wanted_h: float = REST_WANTED_H, least_h: float = REST_LEAST_H
) -> list[RestFault]:
    """Find rests between shifts that are shorter than they should be.

    Parameters
    ----------
    shifts : iterable of Shift
        Without overlaps (`refuse_overlaps`).
    wanted_h : float
        A shorter rest is ``below_wanted``. [h]
    least_h : float
        A rest shorter than this is ``too_short``. [h]

    Returns
    -------
    list of RestFault
        By worker, then time.

    Notes
    -----
    Elapsed hours: over the spring gap a night off is an hour shorter than the clock says.
    """
    faults = []
    for earlier, later in _neighbours(shifts):
        rest_h = elapsed_h(earlier.end, later.start)
        if rest_h < wanted_h:
            code = RestCode.TOO_SHORT if rest_h < least_h else RestCode.BELOW_WANTED
            faults.append(RestFault(earlier, later, rest_h, code))
    return faults


def present_at(shifts: Iterable[Shift], instant: datetime) -> list[Shift]:
    """Find who is on shift at an instant.

    Parameters
    ----------
    shifts : iterable of Shift
        Of those who have not called in sick.
    instant : datetime
        Aware.

    Returns
    -------
    list of Shift
        By worker. Who ends at the instant is gone, who starts at it is here.
    """
    at = require_aware(instant)
    return sorted((s for s in shifts if s.is_on_at(at)), key=lambda s: s.worker)
