"""Where a day does not fit: codes and numbers, no sentences."""

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

from schedules.rounds.calc.day import ClockDay, Visit
from schedules.rounds.calc.windows import minutes_between

MIN_PER_DAY = 1440.0

BedWorkKey = tuple[int, str]  # a milking's slot and a row's key
NO_WORK: Mapping[BedWorkKey, float] = {}


class WarningCode(StrEnum):
    """What does not fit."""

    TIME_AWAY_OVER_LIMIT = "time_away_over_limit"
    TIME_AWAY_IN_DAY_OVER_LIMIT = "time_away_in_day_over_limit"
    BEDS_CANNOT_BE_FINISHED = "beds_cannot_be_finished"
    WINDOW_EMPTY = "window_empty"
    DAY_DOES_NOT_CLOSE = "day_does_not_close"


@dataclass(frozen=True, slots=True)
class DayWarning:
    """One thing that does not fit.

    Parameters
    ----------
    code : WarningCode
        What does not fit.
    value_min, limit_min : float
        What is needed or happens, and what there is or may be. [min]
    slot : int or None
        The milking, where it is one.
    pen_key, bed_group_key : str or None
        The pen and the row of beds, where it is one.
    """

    code: WarningCode
    value_min: float
    limit_min: float
    slot: int | None = None
    pen_key: str | None = None
    bed_group_key: str | None = None


def _away_warnings(visit: Visit, away_limit_min: float) -> Iterator[DayWarning]:
    if visit.away.length_min > away_limit_min:
        yield DayWarning(
            code=WarningCode.TIME_AWAY_OVER_LIMIT,
            value_min=visit.away.length_min,
            limit_min=away_limit_min,
            slot=visit.slot,
            pen_key=visit.pen.key,
        )


def _away_in_day_warnings(clock: ClockDay, limit_min: float) -> Iterator[DayWarning]:
    """Name each pen whose visits of the day are too long together."""
    away_min: dict[str, float] = defaultdict(float)
    for visit in clock.visits:
        away_min[visit.pen.key] += visit.away.length_min
    for pen_key, value_min in away_min.items():
        if value_min > limit_min:
            yield DayWarning(
                code=WarningCode.TIME_AWAY_IN_DAY_OVER_LIMIT,
                value_min=value_min,
                limit_min=limit_min,
                pen_key=pen_key,
            )


def _window_warnings(visit: Visit) -> Iterator[DayWarning]:
    for bed in visit.beds:
        if bed.groom_min <= 0:
            yield DayWarning(
                code=WarningCode.WINDOW_EMPTY,
                value_min=bed.groom_min,
                limit_min=0.0,
                slot=visit.slot,
                pen_key=visit.pen.key,
                bed_group_key=bed.bed_group.key,
            )


def _bed_warnings(visit: Visit, bed_work_min: Mapping[BedWorkKey, float]) -> Iterator[DayWarning]:
    """Name each row whose work is longer than its room; `_window_warnings` names those of none."""
    for bed in visit.beds:
        needed_min = bed_work_min.get((visit.slot, bed.bed_group.key), 0.0)
        if 0 < bed.groom_min < needed_min:
            yield DayWarning(
                code=WarningCode.BEDS_CANNOT_BE_FINISHED,
                value_min=needed_min,
                limit_min=bed.groom_min,
                slot=visit.slot,
                pen_key=visit.pen.key,
                bed_group_key=bed.bed_group.key,
            )


def _overrun_warnings(clock: ClockDay) -> Iterator[DayWarning]:
    """Name each milking whose wash ends after the next one should start."""
    starts = [milking.starts_at for milking in clock.day.milkings]
    if clock.day.next_day_starts_at is not None:
        starts.append(clock.day.next_day_starts_at)
    for milking, (starts_at, next_at) in zip(clock.milkings, pairwise(starts), strict=False):
        if milking.wash_until > next_at:
            yield DayWarning(
                code=WarningCode.DAY_DOES_NOT_CLOSE,
                value_min=minutes_between(starts_at, milking.wash_until),
                limit_min=minutes_between(starts_at, next_at),
                slot=milking.slot,
            )


def _length_warnings(clock: ClockDay) -> Iterator[DayWarning]:
    """Name a day whose milkings and washes together are longer than the day."""
    day = clock.day
    day_min = MIN_PER_DAY
    if day.next_day_starts_at is not None:
        day_min = minutes_between(day.milkings[0].starts_at, day.next_day_starts_at)
    busy_min = sum(minutes_between(m.starts_at, m.wash_until) for m in clock.milkings)
    if busy_min > day_min:
        yield DayWarning(code=WarningCode.DAY_DOES_NOT_CLOSE, value_min=busy_min, limit_min=day_min)


def find_warnings(
    clock: ClockDay,
    *,
    away_limit_min: float,
    bed_work_min: Mapping[BedWorkKey, float] = NO_WORK,
    away_day_limit_min: float | None = None,
) -> tuple[DayWarning, ...]:
    """Find all that does not fit in a day: lengths in minutes and what they may be.

    Parameters
    ----------
    clock : ClockDay
        The day, timed.
    away_limit_min : float
        How long a pen may be away at one milking. [min]
    bed_work_min : mapping of BedWorkKey to float, optional
        The longest piece of work that keeps to a row's usable window, by milking and row; rows
        without an entry are not asked. Pieces of work of one row are not summed, since several
        teams may be in it at once. [min]
    away_day_limit_min : float, optional
        How long a pen may be away at all milkings of the day; None, not asked. [min]

    Returns
    -------
    tuple of DayWarning
        Visit by visit, then pens by their whole day, then milkings that run into the next, then
        the day. [min]

    Notes
    -----
    Away over 60 minutes a milking at three milkings is too long. Cows that lie 12 to 14 h and eat
    3 to 5 h of the day have 2.5 to 3 h left for milking: Cornell Extension, as told in
    hoards.com/article-28392. Both limits are settings of the farm.

    Valid: a day of the milkings that the farm means; each work of a row has all of its room.
    Checked: tests/schedules/rounds/test_warn.py::
    test_a_pen_away_too_long_is_named_with_its_minutes,
    test_a_pen_away_too_long_in_all_is_named_once,
    test_a_row_whose_work_is_longer_than_its_room_is_named_with_both_lengths

    References
    ----------
    Harner, Kansas State, as told in agproud.com/articles/27154.
    """
    found: list[DayWarning] = []
    for visit in clock.visits:
        found += _away_warnings(visit, away_limit_min)
        found += _window_warnings(visit)
        found += _bed_warnings(visit, bed_work_min)
    if away_day_limit_min is not None:
        found += _away_in_day_warnings(clock, away_day_limit_min)
    return (*found, *_overrun_warnings(clock), *_length_warnings(clock))
