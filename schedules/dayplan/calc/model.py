"""The search: cheapest insertion in order of need, then ruin and recreate.

CP-SAT has no part in it: with several hundred jobs it needs longer for a first plan than this
search for a good one, and the few jobs of a ruin are as well put back one by one. The tests use it
as the outside reference.

References
----------
G. Schrimpf, J. Schneider, H. Stamm-Wilbrandt, G. Dueck, "Record breaking optimization results using
the ruin and recreate principle", Journal of Computational Physics 159 (2000) 139-171 (from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from heapq import heapify, heappop, heappush
from math import log
from time import monotonic

import numpy as np

from schedules.dayplan.calc.explain import Explainer
from schedules.dayplan.calc.insertion import Inserter
from schedules.dayplan.calc.instance import Instance
from schedules.dayplan.calc.legs import travel_legs
from schedules.dayplan.calc.pricing import Prices
from schedules.dayplan.calc.problem import Problem
from schedules.dayplan.calc.ruin import Ruiner
from schedules.dayplan.calc.score import score_plan
from schedules.dayplan.calc.solution import Assignment, Solution, Status
from schedules.dayplan.calc.spans import NEVER
from schedules.dayplan.calc.state import NOBODY, NOT_PLACED, Slot, State

_HEAT_COST = 20.0  # a plan worse by this much is at first accepted about one time in three [min]
_NOISE_COST = 6.0  # the greatest noise on a unit's price [min of walking]
_MOST_WANTED = 8  # jobs left out that each recreation tries again


@dataclass(frozen=True, slots=True)
class Progress:
    """Where a search stands.

    Parameters
    ----------
    n_iterations : int
        0 right after the first complete plan.
    elapsed_s : float
        Since the search began. [s]
    cost : float
        Of the best plan so far. [min of walking]
    n_left_out : int
        Jobs that it leaves out.
    """

    n_iterations: int
    elapsed_s: float
    cost: float
    n_left_out: int


OnProgress = Callable[[Progress], object]
Rank = tuple[int, float]


def solve_day(
    problem: Problem,
    *,
    seconds: float = 5.0,
    seed: int = 0,
    iterations: int | None = None,
    on_progress: OnProgress | None = None,
) -> Solution:
    """Plan a day.

    Parameters
    ----------
    problem : Problem
    seconds : float
        Time after which the search stops; the first plan is always finished. [s]
    seed : int
        Of the search's random numbers.
    iterations : int, optional
        Stop after so many ruins instead of by time. The plan then depends on nothing but the
        problem, `seed` and this.
    on_progress : callable, optional
        Told of the first plan, of each better one and from time to time; True stops the search,
        the best plan stays.

    Returns
    -------
    Solution
        A plan that keeps every rule that its locked jobs keep, with the reasons for what it leaves
        out.
    """
    search = _Search(Instance(problem), seed, seconds, iterations)
    search.run(on_progress or (lambda _: None))
    return search.solution()


class _Search:
    def __init__(self, inst: Instance, seed: int, seconds: float, n_most: int | None) -> None:
        self.inst = inst
        self.seed, self.seconds, self.n_most = seed, seconds, n_most
        self.began = monotonic()
        self.rng = np.random.default_rng(seed)
        self.n_iterations = 0
        self.ranks: list[Rank] = [(task.rank, float(task.latest_start)) for task in inst.tasks]
        self.state = State(inst)
        self._build()
        self.best, self.cost = self.state, _cost_of(inst, self.state)
        self.best_cost = self.cost
        self.hopeless = self._hopeless()
        self.bound_cost = sum(inst.tasks[job].left_out_cost for job in self.hopeless)

    def run(self, on_progress: OnProgress) -> None:
        """Better the first plan until told to stop, or nothing is left to better, or time is up."""
        ruiner = Ruiner(self.inst, self.rng)
        is_over = bool(on_progress(self._progress())) or not ruiner.free_jobs
        while not is_over and self.best_cost > self.bound_cost:
            share = self._share_gone()
            if share >= 1:
                return
            self.n_iterations += 1
            is_better = self._step(ruiner, share)
            if is_better or self.n_iterations % 50 == 0:
                is_over = bool(on_progress(self._progress()))

    def _share_gone(self) -> float:
        """Share of the iterations, or else of the time, that is used up."""
        if self.n_most is not None:
            return self.n_iterations / self.n_most if self.n_most else 1
        return (monotonic() - self.began) / self.seconds if self.seconds > 0 else 1

    def _progress(self) -> Progress:
        n_left_out = sum(slot is None for slot in self.best.slots)
        return Progress(self.n_iterations, monotonic() - self.began, self.best_cost, n_left_out)

    def _build(self) -> None:
        """Make the first plan: what the previous one had, where it still fits, then the rest."""
        inserter = Inserter(self.inst, self.state)
        before = [(t.previous.start, i) for i, t in enumerate(self.inst.tasks) if t.previous]
        for _, job in sorted(before):
            if self.state.slots[job] is None:
                slot = inserter.slot_as_before(job)
                if slot is not None:
                    self.state.place(job, slot)
        missing = [job for job, slot in enumerate(self.state.slots) if slot is None]
        self._insert(inserter, missing, self.ranks)

    def _insert(self, inserter: Inserter, jobs: Iterable[int], ranks: Sequence[Rank]) -> None:
        """Insert jobs by rank, none before those of them that it waits for."""
        tasks, pool = self.inst.tasks, set(jobs)
        n_waits = {job: sum(lag.other in pool for lag in tasks[job].waits_for) for job in pool}
        queue = [(ranks[job], job) for job in pool if n_waits[job] == 0]
        heapify(queue)
        while queue:
            _, job = heappop(queue)
            slot = inserter.best_slot(job, self._not_before(job))
            if slot is not None:
                inserter.state.place(job, slot)
            for lag in tasks[job].awaited_by:
                if lag.other in pool:
                    n_waits[lag.other] -= 1
                    if n_waits[lag.other] == 0:
                        heappush(queue, (ranks[lag.other], lag.other))

    def _not_before(self, job: int) -> int:
        """Return now and then an instant to try from that is later than the first possible.

        Often so for a job that another must follow soon: it may have to wait for that one.
        """
        task = self.inst.tasks[job]
        is_followed = any(lag.most < NEVER for lag in task.awaited_by)
        chance = 0.5 if is_followed else 0.1
        if self.n_iterations == 0 or not task.openings or self.rng.random() > chance:
            return NOT_PLACED
        start, end = task.openings[self.rng.integers(len(task.openings))]
        return int(self.rng.integers(start, max(start, end - task.work) + 1))

    def _hopeless(self) -> set[int]:
        """Jobs left out that no plan could hold, with those that wait for them."""
        explainer = Explainer(self.inst, self.best)
        missing = [job for job, slot in enumerate(self.best.slots) if slot is None]
        found = {job for job in missing if explainer.lasting(job)}
        for job in self.inst.order:
            is_waiting = any(lag.other in found for lag in self.inst.tasks[job].waits_for)
            if is_waiting and self.best.slots[job] is None:
                found.add(job)
        return found

    def _step(self, ruiner: Ruiner, share: float) -> bool:
        """Ruin and recreate once; whether the best plan got better."""
        trial = self.state.copy()
        if not self._rework(ruiner, trial):
            return False
        trial_cost = _cost_of(self.inst, trial)
        slack = -_HEAT_COST * (1 - share) * log(1 - self.rng.random())
        if trial_cost < self.cost + slack:
            self.state, self.cost = trial, trial_cost
        if trial_cost >= self.best_cost - 1e-6:
            return False
        self.best, self.best_cost = trial, trial_cost
        return True

    def _rework(self, ruiner: Ruiner, trial: State) -> bool:
        missing = [job for job, slot in enumerate(trial.slots) if slot is None]
        wanted = [job for job in missing if job not in self.hopeless]
        ruined = ruiner.ruin(trial, wanted)
        if ruined is None:
            return False
        seed, taken = ruined
        again = [wanted[i] for i in self.rng.permutation(len(wanted))[:_MOST_WANTED]]
        noise = self.rng.random(len(self.inst.units)) * _NOISE_COST * self.rng.random()
        inserter = Inserter(self.inst, trial, noise.tolist())
        self._insert(inserter, {*taken, *again}, self._mixed_ranks(seed))
        return True

    def _mixed_ranks(self, seed: int) -> list[Rank]:
        """Return the ranks, or random ones, with the seed of a ruin first."""
        ranks = list(self.ranks)
        if self.rng.random() < 0.5:
            ranks = [(0, value) for value in self.rng.random(len(ranks)).tolist()]
        ranks[seed] = (-1, 0.0)
        return ranks

    def solution(self) -> Solution:
        """Return the best plan as records, scored and explained without the search."""
        problem = self.inst.problem
        bare = [self._assignment(job, s) for job, s in enumerate(self.best.slots) if s is not None]
        legs = travel_legs(problem, bare)
        assignments = tuple(
            replace(given, travel_min=sum(leg.travel_min for leg in legs[given.job]))
            for given in bare
        )
        score = score_plan(problem, assignments)
        is_optimal = score.total_cost <= self.bound_cost + 1e-6
        return Solution(
            status=Status.OPTIMAL if is_optimal else Status.FEASIBLE,
            assignments=assignments,
            left_out=Explainer(self.inst, self.best).left_out(),
            score=score,
            bound_cost=self.bound_cost,
            seed=self.seed,
            n_iterations=self.n_iterations,
        )

    def _assignment(self, job: int, slot: Slot) -> Assignment:
        inst, record = self.inst, self.inst.problem.jobs[job]
        if record.locked is not None:
            kept = record.locked
            return Assignment(record.id, kept.people, kept.machine, kept.start, kept.end)
        people = tuple(inst.problem.people[inst.units[u].person].id for u in slot.team)
        machine = None if slot.machine == NOBODY else inst.problem.machines[slot.machine].id
        return Assignment(
            record.id, people, machine, inst.instant(slot.start), inst.instant(slot.end)
        )


def _cost_of(inst: Instance, state: State) -> float:
    return Prices(inst, state, []).of_state()
