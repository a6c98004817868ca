"""What fits into one person's shift: tables that rows are made from."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

import numpy as np
from numpy.typing import NDArray

from schedules.dayplan.calc.bound.day import MORE_MIN, NEVER_MIN, Part, RelaxedDay
from schedules.dayplan.calc.bound.pricing import NO_END
from schedules.dayplan.calc.bound.times import Spans, common, first_ends, union
from schedules.dayplan.calc.problem import Job
from schedules.dayplan.calc.resources import Person, Shift

_FAR_SLOTS = 1e6  # a way longer than any shift

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
_Rests = list[tuple[float, float, float]]


@dataclass(frozen=True, slots=True)
class Choice:
    """From which stands a driven part's machine may come, and what each way costs.

    Parameters
    ----------
    part : int
        Its number in the turn.
    costs : ndarray, shape (n + 1, n_stands)
        After each part, and at first. [min of walking]
    """

    part: int
    costs: Floats
    stands: Ints


@dataclass(frozen=True, slots=True)
class Turn:
    """A person's shift, and the `n` parts that fit into it.

    Parameters
    ----------
    person : str
    begins_min, until_min : float
        Of the shift with its overtime. [min]
    parts : ndarray, shape (n,)
    ends : ndarray, shape (n, n_slots)
        Slot in which a part is over at the earliest, when all is ready in a slot.
    ways, costs : ndarray, shape (n + 1, n)
        Least time [slots] and cost [min of walking] of the way to each part, after each part and
        at first; that of driven parts stands in `choices`.
    late, closing : ndarray, shape (n, n_slots)
        Cost of ending a part in a slot, and of nothing coming after it. [min of walking]
    breaks : ndarray, shape (n_breaks, 2)
        In slots.
    """

    person: str
    begins_min: float
    until_min: float
    parts: Ints
    ends: Ints
    ways: Floats
    costs: Floats
    late: Floats
    closing: Floats
    breaks: Floats
    choices: tuple[Choice, ...]


def turns_of(day: RelaxedDay) -> list[Turn]:
    """Return the turns of all people, by shift."""
    people = day.problem.people
    return [_Turn(day, person, shift).turn() for person in people for shift in person.shifts]


class _Turn:
    def __init__(self, day: RelaxedDay, person: Person, shift: Shift) -> None:
        self.day, self.person, self.shift = day, person, shift
        self.begins, self.until = day.minute(shift.start), day.minute(shift.latest_end) + MORE_MIN
        self.n_slots = int((self.until - self.begins) / day.slot_min) + 2
        self.ready = self.begins + day.slot_min * np.arange(self.n_slots)
        self.pauses = [(day.minute(b.start), day.minute(b.end)) for b in person.breaks]
        self.walk_min = day.walk_min(person)
        self.parts: list[int] = []
        self.ends: list[Ints] = []
        for r, part in enumerate(day.parts):
            spans = self._spans(part)
            if spans:
                self._fit(r, part.job, spans)
        self.jobs = [day.parts[r].job for r in self.parts]
        keys = [day.problem.jobs[j].place for j in self.jobs]
        self.places = np.array([day.place[key] for key in keys], np.int64)
        self.origin = np.array([*self.places, day.place[person.start_place]], np.int64)

    def turn(self) -> Turn:
        day, weights = self.day, self.day.problem.weights
        walks = self.walk_min[np.ix_(self.origin, self.places)]
        fixed = np.array([self._fixed(day.problem.jobs[j]) for j in self.jobs])
        ways, choices = walks.copy(), []
        for k, r in enumerate(self.parts):
            if day.parts[r].is_driver:
                ways[:, k] = self._ride_min(k)
                choices.append(self._choice(k, fixed[k]))
        late = np.array([self._late(day.problem.jobs[j]) for j in self.jobs])
        breaks = np.array(sorted(self.pauses)).reshape(-1, 2) - self.begins
        return Turn(
            person=self.person.id,
            begins_min=self.begins,
            until_min=self.until,
            parts=np.array(self.parts, np.int64),
            ends=np.array(self.ends, np.int64).reshape(-1, self.n_slots),
            ways=np.minimum(ways / day.slot_min, _FAR_SLOTS),
            costs=weights.travel_per_min * walks + fixed,
            late=late.reshape(-1, self.n_slots),
            closing=self._closing(),
            breaks=breaks / day.slot_min,
            choices=tuple(choices),
        )

    # When -------------------------------------------------------------------------------------

    def _fit(self, r: int, j: int, spans: Spans) -> None:
        """Add a part, if there is time for it."""
        day = self.day
        from_min = np.maximum(self.ready, day.first[j][0])
        rests = self._rests(day.problem.jobs[j])
        over = first_ends(from_min, day.work_min[j], spans, rests, day.last[j][0])
        over = np.maximum(over, day.first[j][1])
        over[over > day.last[j][1] + MORE_MIN] = np.inf
        if np.isfinite(over[0]):
            slots = np.floor((over - self.begins) / day.slot_min + 1e-6)
            self.parts.append(r)
            self.ends.append(np.where(np.isfinite(over), slots, NO_END).astype(np.int64))

    def _spans(self, part: Part) -> Spans:
        """When a person may be at a part."""
        day = self.day
        job = day.problem.jobs[part.job]
        spans = common(day.spans[part.job], [(self.begins - MORE_MIN, self.until)])
        for key in job.skills:
            spans = common(spans, self._held(key, job.skill_level))
        if not job.may_pause:
            spans = day.without(spans, self.pauses)
        if spans and job.needs_machine:
            spans = common(spans, self._driven(part))
        return [(a, b) for a, b in spans if b - a >= day.work_min[part.job] - MORE_MIN]

    def _held(self, key: str, level: int) -> Spans:
        held = [s for s in self.person.skills if s.key == key and s.level >= level]
        ends = [NEVER_MIN if s.until is None else self.day.minute(s.until) for s in held]
        return [(-NEVER_MIN, end + MORE_MIN) for end in ends]

    def _driven(self, part: Part) -> Spans:
        """When some machine is there for a job, and this driver for the machine."""
        several: Spans = []
        for m in self.day.machines_for(part.job):
            skill = self.day.problem.machines[m].driver_skill
            is_asked = part.is_driver and skill is not None
            held = self._held(str(skill), 1) if is_asked else [(-NEVER_MIN, NEVER_MIN)]
            several += common(self.day.free[m], held)
        return union(several)

    def _rests(self, job: Job) -> _Rests:
        if job.effort is None:
            return []
        minute = self.day.minute
        return [
            (minute(r.start), minute(r.end), 1 - r.rest_min_per_h(job.effort) / 60)
            for r in self.person.heat_rests
        ]

    # Ways and costs ---------------------------------------------------------------------------

    def _at(self, stands: Ints) -> Ints:
        return np.array([self.day.stands[s].place for s in stands], np.int64)

    def _ride_min(self, k: int) -> Floats:
        """Return the least time to a driven part, after each other and at first [min]."""
        day = self.day
        ride = day.rides[self.jobs[k]]
        walks = self.walk_min[np.ix_(self.origin, self._at(ride.stands))]
        least: Floats = (walks + ride.drive_min + ride.hookup_min).min(axis=1, initial=NEVER_MIN)
        along = {day.stands[s].job: d for s, d in zip(ride.stands, ride.drive_min, strict=True)}
        for i, r in enumerate(self.parts):
            if day.parts[r].is_driver and day.parts[r].job in along:
                least[i] = min(least[i], along[day.parts[r].job])
        return least

    def _choice(self, k: int, fixed: float) -> Choice:
        ride = self.day.rides[self.jobs[k]]
        way_min = self.walk_min[np.ix_(self.origin, self._at(ride.stands))] + ride.drive_min
        return Choice(k, self.day.problem.weights.travel_per_min * way_min + fixed, ride.stands)

    def _fixed(self, job: Job) -> float:
        """Return a person's least share of what a job costs by who does it."""
        weights, cost = self.day.problem.weights, 0.0
        if job.preferred_crew is not None and self.person.crew != job.preferred_crew:
            cost += weights.off_crew_per_job
        if job.previous is not None and self.person.id not in job.previous.people:
            cost += weights.change_per_job
        return cost / max(job.sizes)

    def _late(self, job: Job) -> Floats:
        if job.due_at is None:
            return np.zeros(self.n_slots)
        own = job.late_per_min
        per_min = self.day.problem.weights.late_per_min if own is None else own
        late_min: Floats = np.maximum(0, self.ready - self.day.minute(job.due_at))
        return late_min * (per_min / max(job.sizes))

    def _closing(self) -> Floats:
        """Return the least overtime and way home after each part, ending in each slot."""
        day, weights = self.day, self.day.problem.weights
        paid = self.begins + (self.shift.end - self.shift.start) / timedelta(minutes=1)
        home_min = np.zeros(len(self.parts))
        if self.person.end_place is not None:
            home_min = self.walk_min[self.places, day.place[self.person.end_place]]
        back: Floats = self.ready + home_min[:, None]
        over: Floats = weights.overtime_per_min * np.maximum(0, back - paid)
        over += weights.travel_per_min * home_min[:, None]
        over[back > self.until + MORE_MIN] = np.inf
        return over
