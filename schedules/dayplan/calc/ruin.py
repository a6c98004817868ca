"""Which jobs to take out of a plan, so that putting them back may better it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

import numpy as np

from schedules.dayplan.calc.fit import Fitter
from schedules.dayplan.calc.instance import Instance
from schedules.dayplan.calc.spans import Span
from schedules.dayplan.calc.state import Line, State

# So many jobs are put back in some hundredths of a second on a day of 800.
_MOST_RUINED = 10
_NEAR = 60 * 60  # s around a job that at most count as its neighbourhood
_ROOM = 2 * 60  # s cleared beside a job that is to get in, for the way there

T = TypeVar("T")


class Ruiner:
    """Takes related jobs out of states of the plan."""

    def __init__(self, inst: Instance, rng: np.random.Generator) -> None:
        self.inst = inst
        self.rng = rng
        self.free_jobs = [i for i, task in enumerate(inst.tasks) if task.locked is None]

    def ruin(self, state: State, wanted: list[int]) -> tuple[int, list[int]] | None:
        """Take jobs out around a wanted one, or around any.

        Parameters
        ----------
        state : State
            Changed in place.
        wanted : list of int
            Jobs left out that some plan might hold.

        Returns
        -------
        tuple of int and list of int, or None
            The job around which, and the jobs taken out; None when a locked job could no longer be
            reached, in which case the state is of no use.
        """
        if wanted and self.rng.random() < 0.6:
            # The dearest of three, so that many cheap ones do not hide the one that matters.
            drawn = [self._any_of(wanted) for _ in range(3)]
            seed = max(drawn, key=lambda job: self.inst.tasks[job].left_out_cost)
            is_narrow = self.rng.random() < 0.5
            chosen = self._in_the_way(state, seed) if is_narrow else self._some_near(state, seed)
            chosen += [lag.other for lag in self.inst.tasks[seed].waits_for]
        else:
            seed = self._any_of(self.free_jobs)
            chosen = self._some_near(state, seed)
        movable = [job for job in chosen if self.inst.tasks[job].locked is None]
        taken = _take_out(self.inst, state, movable)
        return None if taken is None else (seed, taken)

    def _any_of(self, values: Sequence[T]) -> T:
        return values[int(self.rng.integers(len(values)))]

    def _some_near(self, state: State, seed: int) -> list[int]:
        """Some of the jobs near the seed in time with people, machines or places it could use."""
        task, slot = self.inst.tasks[seed], state.slots[seed]
        if slot is None and not task.openings:
            return []
        start, end = (slot.start, slot.end) if slot else self._any_of(task.openings)
        margin = int(self.rng.integers(_NEAR + 1))
        span = (start - margin, end + margin)
        lines = [state.units[u] for u in task.units]
        lines += [state.machines[m] for m in task.machines]
        lines += [state.places[p] for p in task.exclusive]
        near = sorted({job for line in lines for job in _jobs_in(line, span)})
        n_ruined = min(len(near), 1 + int(self.rng.integers(_MOST_RUINED)))
        return [near[i] for i in self.rng.permutation(len(near))[:n_ruined]]

    def _in_the_way(self, state: State, seed: int) -> list[int]:
        """All jobs that keep one team and machine from doing the seed at one time."""
        task = self.inst.tasks[seed]
        opens, closes = self._any_of(task.openings)
        start = int(self.rng.integers(opens, max(opens, closes - task.work) + 1))
        lines = [state.places[p] for p in task.exclusive]
        if task.machines:
            machine = self._any_of(task.machines)
            lines.append(state.machines[machine])
            if task.is_driven and task.drivers[machine]:
                lines.append(state.units[self._any_of(list(task.drivers[machine]))])
        units = list(task.units)
        chosen = self.rng.permutation(len(units))[: task.n_people - task.is_driven]
        lines += [state.units[units[i]] for i in chosen]
        span = (start - _ROOM, start + task.work + _ROOM)
        return sorted({job for line in lines for job in _jobs_in(line, span)})


def _jobs_in(line: Line, span: Span) -> list[int]:
    booked = zip(line.jobs, line.starts, line.ends, strict=True)
    return [job for job, start, end in booked if start < span[1] and span[0] < end]


def _take_out(inst: Instance, state: State, jobs: list[int]) -> list[int] | None:
    """Take jobs out, with those that wait for them, and those that can then no longer be reached.

    A job can be reached only thanks to the one before it when that one brings its driver, or its
    machine, or a clean bucket along.
    """
    fitter = Fitter(inst, state)
    taken: list[int] = []
    stack = list(jobs)
    while stack:
        job = stack.pop()
        if state.slots[job] is None:
            continue
        if inst.tasks[job].locked is not None:
            return None
        after = fitter.jobs_after(job)
        state.remove(job)
        taken.append(job)
        waiting = [lag.other for lag in inst.tasks[job].awaited_by]
        stack += [k for k in waiting if inst.tasks[k].locked is None]
        stack += [k for k in after if state.slots[k] is not None and fitter.is_missed(k)]
    return taken
