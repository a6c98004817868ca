"""Hour meters: what a reading must explain before it is taken, and the hours a machine has run."""

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from equipment.site.calc.local_time import elapsed_h, require_aware
from equipment.site.calc.refusal import RefusedValueError

# Common practice, no source.
ROUNDING_H = 0.1  # meters show tenths of an hour, so two readings may differ by one without work
_FLOAT_NOISE_H = 1e-6
OLDEST_D = 30.0
CLOCK_TOLERANCE = timedelta(minutes=5)  # a phone's clock may run ahead of ours
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Reading:
    """What an hour meter showed.

    Parameters
    ----------
    at : datetime
        Aware; when it was read, by the meter's own time stamp if it has one.
    meter_h : float
        The figure on the meter, zero or more. [h]
    is_new_meter : bool
        The first figure of a meter that has just replaced another.
    """

    at: datetime
    meter_h: float
    is_new_meter: bool = False

    def __post_init__(self) -> None:
        """Refuse a figure that no meter shows."""
        require_aware(self.at, "at")
        if not 0 <= self.meter_h < float("inf"):
            raise RefusedValueError("out_of_range", "meter_h", self.meter_h)


@dataclass(frozen=True, slots=True)
class MeterSeries:
    """The readings of a machine through all its meters, and the hours it has run.

    Parameters
    ----------
    readings : tuple of Reading
        In order of time, no two at one instant.

    Attributes
    ----------
    kept : tuple of Reading
        Readings that can all be true together.
    totals_h : tuple of float, shape (len(kept),)
        Hours run by each kept reading; never falls. [h]

    Raises
    ------
    RefusedValueError
        ``not_in_order`` when two readings are out of order or at one instant.

    Notes
    -----
    The total starts at the first figure of the first meter. A new meter goes on from the total of
    the reading before it, so the old meter's last figure should be read when it is taken out.

    Within one meter, readings that fall contradict each other. The largest set that never falls is
    kept, and of two as large the one with the later readings: a slip of the finger drops out when
    the readings after it agree with those before, whether it was too high or too low.
    """

    readings: tuple[Reading, ...]
    kept: tuple[Reading, ...] = field(init=False, repr=False)
    totals_h: tuple[float, ...] = field(init=False, repr=False)
    _stamps_s: Floats = field(init=False, repr=False, compare=False)
    _totals_h: Floats = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Sort out contradictions and add the meters up."""
        for earlier, later in zip(self.readings, self.readings[1:], strict=False):
            if elapsed_h(earlier.at, later.at) <= 0:
                raise RefusedValueError("not_in_order", "readings", later.at)
        kept: list[Reading] = []
        totals_h: list[float] = []
        for run in _meter_runs(self.readings):
            true_together = _longest_never_falling(run)
            first_h = true_together[0].meter_h
            so_far_h = totals_h[-1] if totals_h else first_h
            kept += true_together
            totals_h += [so_far_h + (reading.meter_h - first_h) for reading in true_together]
        object.__setattr__(self, "kept", tuple(kept))
        object.__setattr__(self, "totals_h", tuple(totals_h))
        stamps_s = np.array([reading.at.timestamp() for reading in kept], dtype=np.float64)
        object.__setattr__(self, "_stamps_s", stamps_s)
        object.__setattr__(self, "_totals_h", np.array(totals_h, dtype=np.float64))

    def total_h_at(self, instant: datetime) -> float:
        """Return the hours run by an instant.

        Parameters
        ----------
        instant : datetime
            Aware.

        Returns
        -------
        float
            On the straight line between the readings around it; before the first and after the
            last reading theirs. [h]

        Raises
        ------
        RefusedValueError
            ``no_readings``.
        """
        if not self.kept:
            raise RefusedValueError("no_readings", "readings")
        at_s = require_aware(instant).timestamp()
        return float(np.interp(at_s, self._stamps_s, self._totals_h))


def _meter_runs(readings: Sequence[Reading]) -> Iterator[list[Reading]]:
    run: list[Reading] = []
    for reading in readings:
        if reading.is_new_meter and run:
            yield run
            run = []
        run.append(reading)
    if run:
        yield run


def _longest_never_falling(run: list[Reading]) -> list[Reading]:
    """Patience sorting: `ends[n]` ends the best set of n + 1 readings, later ones taking over."""
    ends: list[int] = []
    end_values_h: list[float] = []
    before: list[int | None] = []
    for index, reading in enumerate(run):
        place = bisect_right(end_values_h, reading.meter_h)
        before.append(ends[place - 1] if place else None)
        ends[place : place + 1] = [index]
        end_values_h[place : place + 1] = [reading.meter_h]
    chain: list[Reading] = []
    link: int | None = ends[-1]
    while link is not None:
        chain.append(run[link])
        link = before[link]
    return chain[::-1]


class Question(StrEnum):
    """What is odd about a reading."""

    DUPLICATE = "duplicate"
    IN_FUTURE = "in_future"
    TOO_OLD = "too_old"
    BACKWARDS = "backwards"
    JUMP = "jump"


def questions_about(
    series: MeterSeries, new: Reading, now: datetime, *, oldest_d: float = OLDEST_D
) -> tuple[Question, ...]:
    """Say what is odd about a reading before it is taken.

    Parameters
    ----------
    series : MeterSeries
        The readings so far; the new one may fall anywhere among them.
    new : Reading
        The reading that was entered.
    now : datetime
        Aware.
    oldest_d : float
        A reading older than this is asked about. [d]

    Returns
    -------
    tuple of Question
        The gravest first; empty when there is nothing to ask. It runs ``backwards`` when it is
        below the reading before it or above the one after it, and it is a ``jump`` when more hours
        than passed lie between it and a neighbour, rounding of 0.1 h allowed.
    """
    now = require_aware(now, "now")
    asked = set(_questions_of_time(series, new, now, oldest_d))
    for earlier, later in _neighbour_pairs(series, new):
        run_h = later.meter_h - earlier.meter_h
        if run_h < 0:
            asked.add(Question.BACKWARDS)
        elif run_h > elapsed_h(earlier.at, later.at) + ROUNDING_H + _FLOAT_NOISE_H:
            asked.add(Question.JUMP)
    return tuple(question for question in Question if question in asked)


def _questions_of_time(
    series: MeterSeries, new: Reading, now: datetime, oldest_d: float
) -> Iterator[Question]:
    if any(reading.at == new.at for reading in series.readings):
        yield Question.DUPLICATE
    if new.at > now + CLOCK_TOLERANCE:
        yield Question.IN_FUTURE
    if new.at < now - timedelta(days=oldest_d):
        yield Question.TOO_OLD


def _neighbour_pairs(series: MeterSeries, new: Reading) -> Iterator[tuple[Reading, Reading]]:
    """Pairs of the new reading with its neighbours on the same meter."""
    stamps = [reading.at for reading in series.kept]
    before, after = bisect_left(stamps, new.at), bisect_right(stamps, new.at)
    if before > 0 and not new.is_new_meter:
        yield series.kept[before - 1], new
    if after < len(stamps) and not series.kept[after].is_new_meter:
        yield new, series.kept[after]


def may_accept(questions: Sequence[Question], reason: str) -> bool:
    """Say whether a reading may be taken: without question, or with a reason given.

    Parameters
    ----------
    questions : sequence of Question
        From `questions_about`.
    reason : str
        What the person said; blanks are no reason.

    Returns
    -------
    bool
        Whether it may be stored.
    """
    return not questions or bool(reason.strip())
