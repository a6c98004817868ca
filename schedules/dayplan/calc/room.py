"""Whether people and machines are free together for long enough, ways and set-up left aside.

What has no room here has none in any plan: `explain` names the cause, and the search takes its
bound from it.
"""

from __future__ import annotations

from collections.abc import Iterable

from schedules.dayplan.calc.instance import Instance
from schedules.dayplan.calc.spans import NEVER, SlowSpan, Span, common, cut, end_of_work, merged
from schedules.dayplan.calc.state import State


class Room:
    """The free time of places, people on shift and machines: all of it, or what a plan leaves.

    `within`, if given, is all the time that is looked at.
    """

    def __init__(
        self, inst: Instance, state: State | None = None, within: Span | None = None
    ) -> None:
        self.inst = inst
        self.state = state
        self.within = within

    def openings(self, job: int) -> list[Span]:
        """Return when the job may be done where it is to be done."""
        task, openings = self.inst.tasks[job], self.inst.tasks[job].openings
        if self.within is not None:
            openings = common(openings, [self.within])
        if self.state is None:
            return openings
        lines = [self.state.places[place] for place in task.exclusive]
        return cut(openings, [span for line in lines for span in line.spans])

    def of_unit(self, job: int, u: int) -> list[Span]:
        """Return when a unit is free for a job."""
        free = self.inst.units[u].free_for(self.inst.tasks[job])
        return free if self.state is None else cut(free, self.state.units[u].spans)

    def of_machine(self, m: int) -> list[Span]:
        """Return when a machine is free."""
        free = self.inst.machine_free[m]
        return free if self.state is None else cut(free, self.state.machines[m].spans)

    def machines_for(self, job: int) -> list[int]:
        """Return the machines that are free for long enough within the openings."""
        openings, work = self.openings(job), self.inst.tasks[job].work
        machines = self.inst.tasks[job].machines
        return [m for m in machines if widest(common(openings, self.of_machine(m))) >= work]

    def n_together(self, job: int, *, is_rested: bool = True) -> int:
        """Return how many skilled people are free together for long enough, machines left aside."""
        openings, units = self.openings(job), self.inst.tasks[job].units
        return most_at_once(self._starts(job, u, openings, units[u], is_rested) for u in units)

    def has_driver(self, job: int) -> bool:
        """Whether one who may drive a machine is free for long enough while that may be used."""
        openings, drivers = self.openings(job), self.inst.tasks[job].drivers
        return any(
            self._starts(job, u, common(openings, self.inst.machine_free[m]), until)
            for m, units in drivers.items()
            for u, until in units.items()
        )

    def is_enough(self, job: int) -> bool:
        """Whether the openings, enough people and a machine with its driver come together."""
        task, openings = self.inst.tasks[job], self.openings(job)
        if not task.needs_machine:
            return self._has_team(job, openings)
        spans = {m: common(openings, self.of_machine(m)) for m in task.machines}
        if not task.is_driven:
            return any(self._has_team(job, spans[m]) for m in task.machines)
        return any(
            self._has_driven_team(job, spans[m], d, until)
            for m in task.machines
            for d, until in task.drivers[m].items()
        )

    def _has_team(self, job: int, spans: list[Span]) -> bool:
        task = self.inst.tasks[job]
        starts = (self._starts(job, u, spans, until) for u, until in task.units.items())
        return most_at_once(starts) >= task.n_people

    def _has_driven_team(self, job: int, spans: list[Span], driver: int, until: int) -> bool:
        task = self.inst.tasks[job]
        led = self._starts(job, driver, spans, until)
        if not led or task.n_people == 1:
            return bool(led)
        others = ((u, end) for u, end in task.units.items() if u != driver)
        starts = (common(self._starts(job, u, spans, end), led) for u, end in others)
        return most_at_once(starts) >= task.n_people - 1

    def _starts(
        self, job: int, u: int, spans: list[Span], until: int, is_rested: bool = True
    ) -> list[Span]:
        """Spans of the starts at which the unit alone could do the job within the spans."""
        task, unit = self.inst.tasks[job], self.inst.units[u]
        slow = self.inst.slow[task.effort][unit.pace] if is_rested else []
        within = common(common(spans, self.of_unit(job, u)), [(-NEVER, until)])
        found = ((a, last_start(a, b, task.work, slow)) for a, b in within)
        return merged((a, last + 1) for a, last in found if last >= a)


def widest(spans: Iterable[Span]) -> int:
    """Return the length of the longest span, 0 if there is none."""
    return max((end - start for start, end in spans), default=0)


def last_start(first: int, end: int, work: int, slow: list[SlowSpan]) -> int:
    """Return the latest start from `first` on of work done by `end`; before `first` if none."""
    early, late = first - 1, end - work
    while early < late:  # the end of work never moves back when its start moves on
        middle = (early + late + 1) // 2
        if end_of_work(middle, work, slow) <= end:
            early = middle
        else:
            late = middle - 1
    return early if early >= first else first - 1


def most_at_once(several: Iterable[list[Span]]) -> int:
    """Return how many of the sets of spans hold one same instant, at most.

    The spans of one set must not overlap.
    """
    edges = [edge for spans in several for a, b in spans for edge in ((a, 1), (b, -1))]
    count = most = 0
    for _, step in sorted(edges):  # ends come before starts at the same instant
        count += step
        most = max(most, count)
    return most
