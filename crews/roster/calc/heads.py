"""How many people of each skill are here, half hour by half hour, against how many are needed."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from crews.roster.calc.shifts import Shift
from equipment.site.calc.local_time import require_aware
from equipment.site.calc.refusal import RefusedValueError

ANYBODY = ""  # the "skill" of simply being here


@dataclass(frozen=True, slots=True)
class SkillHeld:
    """That a worker is qualified from a date, until a date if it expires.

    Parameters
    ----------
    worker, skill : str
        Keys.
    from_on : date
        First local date.
    until_on : date or None
        Exclusive end; None when it does not expire.
    """

    worker: str
    skill: str
    from_on: date
    until_on: date | None = None

    def holds_on(self, day: date) -> bool:
        """Say whether the worker is qualified on a local date."""
        return self.from_on <= day and (self.until_on is None or day < self.until_on)


@dataclass(frozen=True, slots=True)
class HeadCounts:
    """How many people of each skill are here in each step of time.

    Parameters
    ----------
    start : datetime
        Start of the first step, in UTC.
    step_min : int
        Length of a step. [min]
    n_steps : int
        Number of steps.
    by_skill : dict of str to ndarray, shape (n_steps,)
        People here for the whole step; `ANYBODY` counts everyone.
    """

    start: datetime
    step_min: int
    n_steps: int
    by_skill: Mapping[str, NDArray[np.int64]]

    def step_start(self, step: int) -> datetime:
        """Return the instant at which a step starts."""
        return self.start + timedelta(minutes=self.step_min * step)


def head_counts(
    shifts: Iterable[Shift],
    skills: Iterable[SkillHeld],
    start: datetime,
    end: datetime,
    step_min: int = 30,
) -> HeadCounts:
    """Count who is here, by skill and step of time.

    Parameters
    ----------
    shifts : iterable of Shift
        Shifts of those expected.
    skills : iterable of SkillHeld
        Counted when held on the date on which the shift starts.
    start, end : datetime
        Aware. A last step that `end` cuts short is left out.
    step_min : int
        Length of a step. [min]

    Returns
    -------
    HeadCounts
        Someone with two skills counts under both, so each row alone is right and the rows must not
        be added up.
    """
    start = require_aware(start)
    n_steps = max(0, (require_aware(end) - start) // timedelta(minutes=step_min))
    held: dict[str, list[SkillHeld]] = defaultdict(list)
    for skill in skills:
        held[skill.worker].append(skill)
    counts: dict[str, NDArray[np.int64]] = defaultdict(lambda: np.zeros(n_steps, dtype=np.int64))
    counts[ANYBODY] += 0
    for shift in shifts:
        steps = _whole_steps(shift, start, step_min, n_steps)
        of_worker = {s.skill for s in held[shift.worker] if s.holds_on(shift.local_date)}
        for key in {ANYBODY} | of_worker:
            counts[key][steps] += 1
    return HeadCounts(start, step_min, n_steps, dict(counts))


def _whole_steps(shift: Shift, start: datetime, step_min: int, n_steps: int) -> slice:
    step = timedelta(minutes=step_min)
    first = -((start - shift.start) // step)  # rounds up: the first step begun inside the shift
    last = (shift.end - start) // step
    return slice(max(0, first), max(0, min(n_steps, last)))


@dataclass(frozen=True, slots=True)
class Shortage:
    """A stretch of time in which too few people of a skill are here.

    Parameters
    ----------
    skill : str
        Key, or `ANYBODY`.
    start, end : datetime
        In UTC; the end is exclusive.
    n_needed, n_here : int
        The same through the whole stretch.
    """

    skill: str
    start: datetime
    end: datetime
    n_needed: int
    n_here: int


def shortages(need: Mapping[str, Sequence[int]], have: HeadCounts) -> list[Shortage]:
    """Hold the people needed against the people here.

    Parameters
    ----------
    need : mapping of str to sequence of int, shape (n_steps,)
        People needed in each step, by skill or `ANYBODY`.
    have : HeadCounts
        The people here.

    Returns
    -------
    list of Shortage
        By start, then skill; neighbouring steps with the same numbers are one stretch.

    Raises
    ------
    RefusedValueError
        ``out_of_range`` when a row of `need` has another number of steps.
    """
    found: list[Shortage] = []
    for skill, needed in need.items():
        if len(needed) != have.n_steps:
            raise RefusedValueError("out_of_range", f"need.{skill}", len(needed))
        here = have.by_skill.get(skill, np.zeros(have.n_steps, dtype=np.int64))
        found.extend(_short_stretches(skill, needed, here.tolist(), have))
    return sorted(found, key=lambda s: (s.start, s.skill))


def _short_stretches(
    skill: str, needed: Sequence[int], here: Sequence[int], have: HeadCounts
) -> Iterator[Shortage]:
    step = 0
    for (n_needed, n_here), same in groupby(zip(needed, here, strict=True)):
        n_same = sum(1 for _ in same)
        if n_here < n_needed:
            start, end = have.step_start(step), have.step_start(step + n_same)
            yield Shortage(skill, start, end, n_needed, n_here)
        step += n_same
