"""What slots and states cost, in minutes of walking, as the search reckons it."""

from __future__ import annotations

from bisect import bisect_right

from schedules.dayplan.calc.instance import Instance
from schedules.dayplan.calc.spans import Span
from schedules.dayplan.calc.state import NOBODY, Slot, State

# Small nudges far below any price of a plan. Common practice, no source.
_EARLY_PER_MIN = 0.002  # of two equal slots, the earlier
_PER_SKILL = 0.05  # of two equal people, the one with fewer other uses


class Prices:
    """Prices in a state of the plan; `noise` is added to each unit's."""

    def __init__(self, inst: Instance, state: State, noise: list[float]) -> None:
        self.inst = inst
        self.state = state
        self.weights = inst.problem.weights
        self.noise = noise

    def of_slot(self, job: int, slot: Slot) -> float:
        """What a job would add in a slot; guessed where it bears on later ones."""
        span = (slot.start, slot.end)
        cost = sum(self.of_unit(job, span, u) for u in slot.team if u != slot.driver)
        if slot.driver != NOBODY:
            cost += self._of_driver(job, slot)
        task = self.inst.tasks[job]
        if slot.start > task.latest_start:
            cost += task.at_stake
        return cost + self._of_job(job, slot) + slot.start * _EARLY_PER_MIN / 60

    def of_unit(self, job: int, span: Span, u: int) -> float:
        """What a job would add to a unit that walks to it."""
        place = self.inst.tasks[job].place
        line = self.state.units[u]
        i = bisect_right(line.starts, span[0])
        before = self.state.unit_stop(u, i)[1]
        walked = self.inst.walk[before][place] + self._detour(u, i, before, place)
        return self._of_unit(walked, span, u)

    def _of_driver(self, job: int, slot: Slot) -> float:
        inst, u, m = self.inst, slot.driver, slot.machine
        place = inst.tasks[job].place
        i = bisect_right(self.state.units[u].starts, slot.start)
        before = self.state.unit_stop(u, i)[1]
        stands = self.state.machine_stop(m, bisect_right(self.state.machines[m].starts, slot.start))
        way = inst.walk[before][stands[1]] + inst.drive[m][stands[1]][place]
        travel = way + self._detour(u, i, before, place)
        return self._of_unit(travel, (slot.start, slot.end), u)

    def _detour(self, u: int, i: int, before: int, place: int) -> int:
        jobs = self.state.units[u].jobs
        if i == len(jobs):
            return 0
        after = self.inst.tasks[jobs[i]].place
        return self.inst.walk[place][after] - self.inst.walk[before][after]

    def _of_unit(self, travel: int, span: Span, u: int) -> float:
        unit = self.inst.units[u]
        cost = travel / 60 * self.weights.travel_per_min + self.noise[u]
        if span[1] > unit.paid_end:
            cost += (span[1] - unit.paid_end) / 60 * self.weights.overtime_per_min
        return cost + unit.n_skills * _PER_SKILL

    def _of_job(self, job: int, slot: Slot) -> float:
        task, weights, units = self.inst.tasks[job], self.weights, self.inst.units
        cost = 0.0
        if slot.end > task.due:
            cost += (slot.end - task.due) / 60 * weights.late_per_min
        if task.crew is not None and any(units[u].crew != task.crew for u in slot.team):
            cost += weights.off_crew_per_job
        seat = task.previous
        if seat is not None and (
            seat.crew != {units[u].person for u in slot.team}
            or seat.machine != slot.machine
            or abs(slot.start - seat.start) > self.inst.tolerance
        ):
            cost += weights.change_per_job
        return cost

    def of_state(self) -> float:
        """What the whole plan costs."""
        cost = sum(self._of_line(u) for u, line in enumerate(self.state.units) if line.jobs)
        for job, slot in enumerate(self.state.slots):
            if slot is not None:
                cost += self._of_job(job, slot)
            else:
                task = self.inst.tasks[job]
                cost += task.left_out_cost
                cost += self.weights.change_per_job if task.previous is not None else 0
        return cost

    def _of_line(self, u: int) -> float:
        inst, state, unit = self.inst, self.state, self.inst.units[u]
        travel, place = 0, unit.place
        for job in state.units[u].jobs:
            to, slot = inst.tasks[job].place, state.slots[job]
            if slot is not None and slot.driver == u:
                line = state.machines[slot.machine]
                stands = state.machine_stop(slot.machine, line.jobs.index(job))[1]
                travel += inst.walk[place][stands] + inst.drive[slot.machine][stands][to]
            else:
                travel += inst.walk[place][to]
            place = to
        overtime = max(0, state.units[u].ends[-1] - unit.paid_end)
        weights = self.weights
        return (travel * weights.travel_per_min + overtime * weights.overtime_per_min) / 60
