"""Where a day does not fit: codes and numbers, no sentences."""

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from itertools import accumulate, pairwise

from schedules.rounds.calc.day import ClockDay, Visit
from schedules.rounds.calc.returns import require_minutes
from schedules.rounds.calc.windows import minutes_between

MIN_PER_DAY = 1440.0


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


@dataclass(frozen=True, slots=True)
class GroomWork:
    """Who grooms a pen's beds, and how fast.

    Parameters
    ----------
    min_per_stall : float
        Work of one person or machine for one stall, above 0. [min]
    n_workers : int
        People, or machines with their drivers, at work together, at least 1.
    setup_min : float
        Once a visit: to come in, set up and pull out. [min]

    Raises
    ------
    ValueError
        If a value is out of range.

    Notes
    -----
    Common practice, no time study: 0.15 to 0.4 min a stall by hand, 0.03 to 0.08 mounted.
    """

    min_per_stall: float
    n_workers: int = 1
    setup_min: float = 5.0

    def __post_init__(self) -> None:
        if not 0 < self.min_per_stall < float("inf"):
            raise ValueError(f"groom work: min_per_stall must be > 0, got {self.min_per_stall}")
        if self.n_workers < 1:
            raise ValueError(f"groom work: n_workers must be at least 1, got {self.n_workers}")
        require_minutes("groom work", setup_min=self.setup_min)

    def groom_min(self, n_stalls: int) -> float:
        """Compute how long all workers together need for some stalls.

        Parameters
        ----------
        n_stalls : int
            Stalls to groom.

        Returns
        -------
        float
            Duration without setting up. [min]
        """
        return n_stalls * self.min_per_stall / self.n_workers


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


def _bed_warnings(visit: Visit, work: GroomWork) -> Iterator[DayWarning]:
    """Groom row after row, by their closing: if any order finishes all in time, this one does.

    A row without any room is named by `_window_warnings` and takes no work from the others.
    """
    beds = sorted((bed for bed in visit.beds if bed.groom_min > 0), key=lambda bed: bed.groom_min)
    works_min = (work.groom_min(bed.bed_group.n_stalls) for bed in beds)
    done_min = accumulate(works_min, initial=work.setup_min)
    next(done_min)  # set up, nothing groomed yet
    for bed, needed_min in zip(beds, done_min, strict=True):
        if needed_min > bed.groom_min:
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
    groom: Mapping[str, GroomWork],
    away_day_limit_min: float | None = None,
) -> tuple[DayWarning, ...]:
    """Find all that does not fit in a day: lengths in minutes and what they may be.

    Parameters
    ----------
    clock : ClockDay
        The day, timed.
    away_limit_min : float
        How long a pen may be away at one milking. [min]
    groom : mapping of str to GroomWork
        Who grooms, by pen; pens without an entry are not asked whether their beds can be
        finished.
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

    Valid: a day of the milkings that the farm means; rows of a pen are groomed by their closing.
    Checked: tests/schedules/rounds/test_warn.py::
    test_a_pen_away_too_long_is_named_with_its_minutes,
    test_a_pen_away_too_long_in_all_is_named_once

    References
    ----------
    Harner, Kansas State, as told in agproud.com/articles/27154.
    """
    found: list[DayWarning] = []
    for visit in clock.visits:
        found += _away_warnings(visit, away_limit_min)
        found += _window_warnings(visit)
        if visit.pen.key in groom:
            found += _bed_warnings(visit, groom[visit.pen.key])
    if away_day_limit_min is not None:
        found += _away_in_day_warnings(clock, away_day_limit_min)
    return (*found, *_overrun_warnings(clock), *_length_warnings(clock))
