"""When a job can begin, given who does it and with what: the rules, as the search applies them.

Each rule looks at a start and gives back the same start if it holds, or the next one worth trying.
A start that no rule moves is the earliest that all of them allow.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable
from dataclasses import dataclass

from schedules.dayplan.calc.instance import CLEAN, DIRTY, UNTOUCHED, Instance, Lag
from schedules.dayplan.calc.problem import Relation
from schedules.dayplan.calc.spans import NEVER, SlowSpan, Span, end_of_work, next_inside
from schedules.dayplan.calc.state import NOBODY, NOT_PLACED, Slot, State, Stop

_FROM_END = (Relation.FINISH_TO_START, Relation.FINISH_TO_FINISH)
_TO_START = (Relation.FINISH_TO_START, Relation.START_TO_START)


@dataclass(slots=True)
class Bounds:
    """What the jobs it waits for, and those that wait for it, leave of a job's time."""

    first_start: int = NOT_PLACED
    last_start: int = NEVER
    first_end: int = NOT_PLACED
    last_end: int = NEVER

    def narrow(self, is_start: bool, first: int, last: int) -> None:
        """Keep the start (or the end) from `first` to `last`."""
        if is_start:
            self.first_start = max(self.first_start, first)
            self.last_start = min(self.last_start, last)
        else:
            self.first_end = max(self.first_end, first)
            self.last_end = min(self.last_end, last)


class Fitter:
    """Finds starts in a state of the plan."""

    def __init__(self, inst: Instance, state: State) -> None:
        self.inst = inst
        self.state = state

    def bounds(self, job: int) -> Bounds | None:
        """Bounds from dependencies, None while a job it waits for is not placed."""
        bounds = Bounds()
        for lag in self.inst.tasks[job].waits_for:
            slot = self.state.slots[lag.other]
            if slot is None:
                return None
            at = slot.end if lag.relation in _FROM_END else slot.start
            bounds.narrow(lag.relation in _TO_START, at + lag.least, at + lag.most)
        for lag in self.inst.tasks[job].awaited_by:
            self._narrow_before(bounds, lag)
        return bounds

    def _narrow_before(self, bounds: Bounds, lag: Lag) -> None:
        slot = self.state.slots[lag.other]
        if slot is not None:
            at = slot.start if lag.relation in _TO_START else slot.end
            bounds.narrow(lag.relation not in _FROM_END, at - lag.most, at - lag.least)

    def fit(
        self,
        job: int,
        at: int,
        bounds: Bounds,
        slow: list[SlowSpan],
        *,
        machine: int,
        driver: int,
        walkers: Iterable[int],
    ) -> Span | None:
        """Return the earliest start from `at` on, with its end, for a given team and machine."""
        while True:
            at, end = self._in_opening(job, at, bounds, slow)
            if at == NEVER:
                return None
            then = self._after_places(job, at, end)
            if then == at and machine != NOBODY:
                then = self._after_machine(job, at, end, machine, driver)
            for unit in walkers:
                if then == at:
                    then = self.after_walker(job, at, end, unit)
            if then == at:
                return at, end
            at = then

    def _in_opening(self, job: int, at: int, bounds: Bounds, slow: list[SlowSpan]) -> Span:
        task = self.inst.tasks[job]
        at = max(at, bounds.first_start)
        for opens, closes in task.openings:
            if closes <= at:
                continue
            start = max(at, opens)
            end = end_of_work(start, task.work, slow) if slow else start + task.work
            while end < bounds.first_end:
                start += bounds.first_end - end
                end = end_of_work(start, task.work, slow)
            if end <= closes:
                is_kept = start <= bounds.last_start and end <= bounds.last_end
                return (start, end) if is_kept else (NEVER, NEVER)
        return NEVER, NEVER

    def _after_places(self, job: int, at: int, end: int) -> int:
        for place in self.inst.tasks[job].exclusive:
            line = self.state.places[place]
            i = bisect_right(line.starts, at)
            free = line.free_from(i, at)
            if free > at:
                return free
            if i < len(line.starts) and line.starts[i] < end:
                return line.ends[i]
        return at

    def after_walker(self, job: int, at: int, end: int, u: int) -> int:
        """Return `at` if the unit can walk there, stay and go on to its next job; else try at."""
        task, unit, line = self.inst.tasks[job], self.inst.units[u], self.state.units[u]
        if end > task.units[u]:
            return NEVER
        i = bisect_right(line.starts, at)
        free, place, _ = self.state.unit_stop(u, i)
        ready = unit.after(free, self.inst.walk[place][task.place])
        if ready > at:
            return ready
        then = unit.next_free(at, end)
        if then == at and i < len(line.jobs):
            following = line.jobs[i]
            if self._is_missed(following, u, (end, task.place, job)):
                return line.ends[i]
        return then

    def _after_machine(self, job: int, at: int, end: int, m: int, driver: int) -> int:
        inst, line = self.inst, self.state.machines[m]
        i = bisect_right(line.starts, at)
        stop = self.state.machine_stop(m, i)
        if stop[0] > at:
            return stop[0]
        then = next_inside(inst.machine_free[m], inst.machine_starts[m], at, end)
        if then == at and driver == NOBODY:
            then = max(at, self._brought(job, m, stop, self.state.needs_wash(job, m, i), at))
        elif then == at:
            then = self._after_driver(job, at, end, m, driver)
        if then == at and i < len(line.jobs) and self._delays_machine(job, at, end, m, driver):
            return line.ends[i]
        return then

    def _after_driver(self, job: int, at: int, end: int, m: int, u: int) -> int:
        task, state, line = self.inst.tasks[job], self.state, self.state.units[u]
        if end > task.drivers[m][u]:
            return NEVER
        k = bisect_right(line.starts, at)
        i = bisect_right(state.machines[m].starts, at)
        has_wash = state.needs_wash(job, m, i)
        stops = state.unit_stop(u, k), state.machine_stop(m, i)
        ready = self._driven(job, stops, u=u, m=m, has_wash=has_wash, near=at)
        if ready > at:
            return ready
        then = self.inst.units[u].next_free(at, end)
        if then == at and k < len(line.jobs):
            following = line.jobs[k]
            is_shared = following in state.machines[m].jobs[i : i + 1]
            if not is_shared and self._is_missed(following, u, (end, task.place, job)):
                return line.ends[k]
        return then

    def _driven(
        self, job: int, stops: tuple[Stop, Stop], *, u: int, m: int, has_wash: bool, near: int
    ) -> int:
        """When the unit has walked to the machine, washed it, taken it over and driven it there."""
        inst, unit = self.inst, self.inst.units[u]
        stop_u, stop_m = stops
        needed = inst.drive[m][stop_m[1]][inst.tasks[job].place]
        if has_wash:
            needed += inst.wash
        if stop_u[2] == NOBODY or stop_u[2] != stop_m[2]:
            needed += inst.hookup[m]
        at_machine = unit.after(stop_u[0], inst.walk[stop_u[1]][stop_m[1]])
        return unit.after(max(at_machine, stop_m[0], self._released(m, near)), needed)

    def _brought(self, job: int, m: int, stop: Stop, has_wash: bool, near: int) -> int:
        way = self.inst.drive[m][stop[1]][self.inst.tasks[job].place]
        wash = self.inst.wash if has_wash else 0
        return max(stop[0], self._released(m, near)) + way + wash

    def _released(self, m: int, near: int) -> int:
        starts = self.inst.machine_starts[m]
        i = bisect_right(starts, near)
        return starts[i - 1] if i else NOT_PLACED

    def _delays_machine(self, job: int, at: int, end: int, m: int, driver: int) -> bool:
        """Whether the machine's later jobs would be late with this one put before them."""
        stop = (end, self.inst.tasks[job].place, job)
        i = bisect_right(self.state.machines[m].starts, at)
        following = self.state.machines[m].jobs[i]
        for later, has_wash in self._affected(job, m, i):
            slot = self.slot(later)
            comes_along = slot.driver == driver != NOBODY and later == self._next_of(driver, at)
            stop_u = stop if comes_along else None
            stop_m = stop if later == following else None
            if self._ready(later, stop_u, stop_m, has_wash) > slot.start:
                return True
        return False

    def _next_of(self, u: int, at: int) -> int:
        line = self.state.units[u]
        i = bisect_right(line.starts, at)
        return line.jobs[i] if i < len(line.jobs) else NOBODY

    def _affected(self, job: int, m: int, i: int) -> list[tuple[int, bool | None]]:
        """Later jobs of the machine that a job before its i-th reaches, and their wash if known."""
        tasks, jobs = self.inst.tasks, self.state.machines[m].jobs[i:]
        bucket = tasks[job].bucket
        touching = next((k for k in jobs if tasks[k].bucket != UNTOUCHED), NOBODY)
        if bucket == UNTOUCHED or touching == NOBODY:
            return [(jobs[0], None)]
        has_wash = bucket == DIRTY and tasks[touching].bucket == CLEAN
        if touching == jobs[0]:
            return [(touching, has_wash)]
        return [(jobs[0], None), (touching, True)] if has_wash else [(jobs[0], None)]

    def _is_missed(self, job: int, u: int, stop: Stop) -> bool:
        """Whether a unit at this stop would come late to a job it is on."""
        slot = self.slot(job)
        if slot.driver == u:
            return self._ready(job, stop) > slot.start
        way = self.inst.walk[stop[1]][self.inst.tasks[job].place]
        return self.inst.units[u].after(stop[0], way) > slot.start

    def _ready(
        self,
        job: int,
        stop_u: Stop | None = None,
        stop_m: Stop | None = None,
        has_wash: bool | None = None,
    ) -> int:
        """When a placed job's machine is there; what is None is as the state has it."""
        slot = self.slot(job)
        m, line = slot.machine, self.state.machines[slot.machine]
        i = line.jobs.index(job, bisect_left(line.starts, slot.start))
        if stop_m is None:
            stop_m = self.state.machine_stop(m, i)
        if has_wash is None:
            has_wash = self.state.needs_wash(job, m, i)
        if slot.driver == NOBODY:
            return self._brought(job, m, stop_m, has_wash, slot.start)
        if stop_u is None:
            stop_u = self._stop_before(job, slot.driver, slot)
        return self._driven(
            job, (stop_u, stop_m), u=slot.driver, m=m, has_wash=has_wash, near=slot.start
        )

    def _stop_before(self, job: int, u: int, slot: Slot) -> Stop:
        line = self.state.units[u]
        return self.state.unit_stop(u, line.jobs.index(job, bisect_left(line.starts, slot.start)))

    def slot(self, job: int) -> Slot:
        """Slot of a placed job."""
        slot = self.state.slots[job]
        assert slot is not None
        return slot

    def is_missed(self, job: int) -> bool:
        """Whether a placed job's people or machine cannot be there in time, as the state is now."""
        slot = self.slot(job)
        if any(self._is_missed(job, u, self._stop_before(job, u, slot)) for u in slot.team):
            return True
        if slot.machine == NOBODY or slot.driver != NOBODY:
            return False
        return self._ready(job) > slot.start

    def jobs_after(self, job: int) -> list[int]:
        """Placed jobs whose people or machine come from this one (or owe it a clean bucket)."""
        slot = self.slot(job)
        after = [self._next_of(u, slot.start) for u in slot.team]
        if slot.machine != NOBODY:
            line = self.state.machines[slot.machine]
            i = bisect_right(line.starts, slot.start)
            after += line.jobs[i : i + 1]
            after += [k for k in line.jobs[i:] if self.inst.tasks[k].bucket != UNTOUCHED][:1]
        return [k for k in after if k != NOBODY]
