"""A plan as busy lists of people on shift, machines and places: what `explain` looks at."""

from __future__ import annotations

from dataclasses import dataclass, field

from schedules.dayplan.calc.instance import Instance, Lag
from schedules.dayplan.calc.problem import Booking, Relation
from schedules.dayplan.calc.solution import Assignment
from schedules.dayplan.calc.spans import NEVER, Span

_FROM_END = (Relation.FINISH_TO_START, Relation.FINISH_TO_FINISH)
_TO_START = (Relation.FINISH_TO_START, Relation.START_TO_START)


@dataclass(slots=True)
class Line:
    """The jobs of one person on shift, machine or place, and when it is taken by them."""

    jobs: list[int] = field(default_factory=list)
    spans: list[Span] = field(default_factory=list)

    def add(self, start: int, end: int, job: int) -> None:
        """Book a span."""
        self.jobs.append(job)
        self.spans.append((start, end))


@dataclass(slots=True)
class Bounds:
    """What the jobs it waits for, and those that wait for it, leave of a job's time."""

    first_start: int = -NEVER
    last_start: int = NEVER
    first_end: int = -NEVER
    last_end: int = NEVER

    def narrow(self, is_start: bool, first: int, last: int) -> None:
        """Keep the start (or the end) from `first` to `last`."""
        if is_start:
            self.first_start = max(self.first_start, first)
            self.last_start = min(self.last_start, last)
        else:
            self.first_end = max(self.first_end, first)
            self.last_end = min(self.last_end, last)


class State:
    """When each job is done, None for one left out, and the lines that follow from that."""

    def __init__(self, inst: Instance) -> None:
        self.inst = inst
        self.slots: list[Span | None] = [None] * len(inst.tasks)
        self.units = [Line() for _ in inst.units]
        self.machines = [Line() for _ in inst.machine_free]
        self.places = [Line() for _ in inst.place_index]
        for job, task in enumerate(inst.tasks):
            if task.locked is not None:
                self.place(job, task.locked)

    def place(self, job: int, given: Booking | Assignment) -> None:
        """Book a job on all lines it takes; people off shift are left aside."""
        inst = self.inst
        start, end = inst.floor_s(given.start), inst.ceil_s(given.end)
        several = [inst.units_of[inst.person_index[person]] for person in given.people]
        lines = [
            self.units[u]
            for units in several
            for u in units
            if inst.units[u].start < end and start < inst.units[u].end
        ]
        lines += [self.places[place] for place in inst.tasks[job].exclusive]
        if given.machine is not None:
            lines.append(self.machines[inst.machine_index[given.machine]])
        self.slots[job] = (start, end)
        for line in lines:
            line.add(start, end, job)

    def bounds(self, job: int) -> Bounds | None:
        """Bounds of a job from its dependencies, None while one it waits for is left out."""
        bounds = Bounds()
        for lag in self.inst.tasks[job].waits_for:
            slot = self.slots[lag.other]
            if slot is None:
                return None
            at = slot[1] if lag.relation in _FROM_END else slot[0]
            bounds.narrow(lag.relation in _TO_START, at + lag.least, at + lag.most)
        for lag in self.inst.tasks[job].awaited_by:
            self._narrow_before(bounds, lag)
        return bounds

    def _narrow_before(self, bounds: Bounds, lag: Lag) -> None:
        slot = self.slots[lag.other]
        if slot is not None:
            at = slot[0] if lag.relation in _TO_START else slot[1]
            bounds.narrow(lag.relation not in _FROM_END, at - lag.most, at - lag.least)
