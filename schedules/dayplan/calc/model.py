"""The search for a day's plan: first plan at once, then ever better ones until time is up.

The loops are compiled (`search`); here is what begins them, looks at the clock and reads the plan.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Executor, ThreadPoolExecutor, wait
from dataclasses import dataclass, replace
from time import monotonic

from schedules.dayplan.calc.bound.model import bound_day, use_bound_once
from schedules.dayplan.calc.exact.model import Exact
from schedules.dayplan.calc.exact.scope import beyond
from schedules.dayplan.calc.explain import Explainer, explain
from schedules.dayplan.calc.instance import Instance
from schedules.dayplan.calc.legs import travel_legs
from schedules.dayplan.calc.problem import Problem
from schedules.dayplan.calc.score import score_plan
from schedules.dayplan.calc.search.first import use_once
from schedules.dayplan.calc.search.tables import Tables
from schedules.dayplan.calc.search.worker import Worker
from schedules.dayplan.calc.solution import Assignment, Solution, Status
from schedules.dayplan.calc.state import State

_LOOK_S = 0.1  # the clock is looked at so often [s]
_FIRST_S = 0.2  # the first plan is bettered so long before it is told [s]
_EXACT_AFTER_S = 0.3  # then the exact model takes over, if it can: common practice, no source [s]
_TELL_S = 1.0  # progress is told at least so often [s]


@dataclass(frozen=True, slots=True)
class Progress:
    """Where a search stands.

    Parameters
    ----------
    n_iterations : int
        Ruins of the first search so far.
    elapsed_s : float
        Since the search began. [s]
    cost : float
        Of the best plan so far. [min of walking]
    n_left_out : int
        Jobs that it leaves out.
    bound_cost : float
        No plan can cost less. [min of walking]
    """

    n_iterations: int
    elapsed_s: float
    cost: float
    n_left_out: int
    bound_cost: float


OnProgress = Callable[[Progress], object]


def solve_day(
    problem: Problem,
    *,
    seconds: float = 5.0,
    seed: int = 0,
    workers: int = 1,
    iterations: int | None = None,
    on_progress: OnProgress | None = None,
    bounds: bool = False,
) -> Solution:
    """Plan a day.

    Parameters
    ----------
    problem : Problem
    seconds : float
        Time after which the search stops; the first plan is always finished, and compiling the
        loops, where that is still to be done, does not count. [s]
    seed : int
        Of the search's random numbers.
    workers : int
        Searches that run beside each other, each with random numbers of its own.
    iterations : int, optional
        Stop after so many ruins instead of by time. The plan then depends on nothing but the
        problem, `seed`, `workers` and this.
    on_progress : callable, optional
        Told of the first plan, of each better one and from time to time; True stops the search,
        the best plan stays.
    bounds : bool
        Whether up to half of the time, in its middle, goes into a better bound (`calc.bound`).

    Returns
    -------
    Solution
        A plan that keeps every rule that its locked jobs keep, with the reasons for what it leaves
        out.
    """
    search = _Search(problem, seed, seconds, iterations, bounds=bounds and iterations is None)
    search.run(workers, on_progress or (lambda _: None))
    return search.solution()


class _Search:
    def __init__(
        self, problem: Problem, seed: int, seconds: float, n_most: int | None, *, bounds: bool
    ) -> None:
        self.problem, self.seed, self.seconds, self.n_most = problem, seed, seconds, n_most
        self.bounds = bounds
        use_once()
        if bounds:
            use_bound_once()
        self.began = monotonic()
        self.inst = Instance(problem)
        self.tables = Tables(self.inst)
        self.bound_cost = 0.0
        self.better: tuple[Assignment, ...] | None = None  # than the best of the workers
        self.told = self.looked = self.began

    def run(self, workers: int, on_progress: OnProgress) -> None:
        """Make the first plan, then better it until told to stop or nothing or no time is left."""
        first = Worker(self.tables, self.seed)
        first.begin()
        self.best = first
        hopeless = self._hopeless(first)
        self.tables.hopeless = hopeless
        self.bound_cost = sum(self.inst.tasks[job].left_out_cost for job in hopeless)
        first.admit()
        others = [Worker(self.tables, self.seed + 7919 * k) for k in range(1, workers)]
        self.all = [first, *others]
        for worker in others:
            worker.begin_like(first)
        is_over = all(t.locked for t in self.inst.tasks)
        to_exact = self.n_most is None and not is_over and not beyond(self.inst)
        with ThreadPoolExecutor(workers) as threads:
            if self.n_most is None and not is_over:
                self._better_first(threads)
            is_over = bool(on_progress(self._progress())) or is_over
            until = _EXACT_AFTER_S / self.seconds if to_exact and self.seconds > 0 else 1
            if self.bounds and not to_exact:
                is_over = is_over or self._search(threads, on_progress, 0.5)
                is_over = is_over or self._bound(workers, on_progress)
            is_over = is_over or self._search(threads, on_progress, min(1, until))
            if to_exact and not is_over and not self._is_optimal():
                self._prove(threads, workers, on_progress)

    def _search(self, threads: Executor, on_progress: OnProgress, until: float) -> bool:
        """Search until a share of the time is gone; True when told to stop."""
        is_over = False
        while not is_over and self._share_gone() < until and not self._is_optimal():
            is_over = self._go_on(threads, on_progress)
        return is_over

    def _bound(self, workers: int, on_progress: OnProgress) -> bool:
        """Better the bound for half of all the time; True when told to stop."""
        is_over, hopeless_cost = False, self.bound_cost

        def hear(cost: float) -> bool:
            nonlocal is_over
            self.bound_cost = max(self.bound_cost, hopeless_cost + cost)
            if monotonic() - self.told > _TELL_S:
                self.told = monotonic()
                is_over = bool(on_progress(self._progress()))
            return is_over or self._is_optimal()

        plan, seconds = self.best.assignments(), self.seconds / 2
        rest = _without(self.problem, {self.problem.jobs[j].id for j in self.tables.hopeless})
        found = bound_day(rest, plan, seconds=seconds, workers=workers, is_over=hear)
        self.bound_cost = max(self.bound_cost, hopeless_cost + found.cost)
        return is_over

    def _better_first(self, threads: Executor) -> None:
        until_s = min(_FIRST_S, self.seconds)
        while monotonic() - self.began < until_s and not self._is_optimal():
            self._go_on(threads, lambda _: None)

    def _prove(self, threads: Executor, workers: int, on_progress: OnProgress) -> None:
        """Give the rest of the time to the exact model, which begins with the best plan."""
        exact = Exact(self.inst, all_done=not self.best.left_out())
        left_s = self.seconds - (monotonic() - self.began)
        known = tuple(self.best.assignments())
        found = threads.submit(exact.solve, max(0, left_s), self.seed, workers, known)
        while not wait([found], timeout=_TELL_S).done:
            self.bound_cost = max(self.bound_cost, exact.known_bound)
            if on_progress(self._progress(min(exact.known_cost, self.best.best_cost))):
                exact.stop()
        plan, bound_cost = found.result().assignments, found.result().bound_cost
        self.bound_cost = max(self.bound_cost, bound_cost)
        cost = self.best.best_cost
        if plan is not None and score_plan(self.problem, plan).total_cost < cost - 1e-6:
            self.better = plan

    def _go_on(self, threads: Executor, on_progress: OnProgress) -> bool:
        share, n_steps = self._share_gone(), self._steps()
        before = self.best.best_cost
        list(threads.map(lambda worker: worker.go_on(n_steps, share), self.all))
        self.best = min(self.all, key=lambda worker: worker.best_cost)
        is_told = self.best.best_cost < before - 1e-6 or monotonic() - self.told > _TELL_S
        if not is_told:
            return False
        self.told = monotonic()
        return bool(on_progress(self._progress()))

    def _steps(self) -> int:
        """How often to ruin before looking at the clock again."""
        n_done = self.all[0].n_steps
        if self.n_most is not None:
            return max(1, min(self.n_most - n_done, max(1, self.n_most // 100)))
        if n_done == 0:
            self.looked = monotonic()
            return 1
        rate = n_done / max(1e-3, monotonic() - self.looked)
        return max(1, min(int(rate * _LOOK_S), 2 * n_done))

    def _share_gone(self) -> float:
        """Share of the iterations, or else of the time, that is used up."""
        if self.n_most is not None:
            return self.all[0].n_steps / self.n_most if self.n_most else 1
        return (monotonic() - self.began) / self.seconds if self.seconds > 0 else 1

    def _is_optimal(self) -> bool:
        return self.best.best_cost <= self.bound_cost + 1e-6

    def _progress(self, cost: float | None = None) -> Progress:
        n_out = len(self.best.left_out())
        gone_s = monotonic() - self.began
        known = self.best.best_cost if cost is None else cost
        return Progress(self.all[0].n_steps, gone_s, known, n_out, self.bound_cost)

    def _hopeless(self, first: Worker) -> set[int]:
        """Jobs left out that no plan could hold, with those that wait for them."""
        missing = set(first.left_out())
        explainer = Explainer(self.inst, State(self.inst)) if missing else None
        found = {job for job in missing if explainer is not None and explainer.lasting(job)}
        for job in self.inst.order:
            is_waiting = any(lag.other in found for lag in self.inst.tasks[job].waits_for)
            if is_waiting and job in missing:
                found.add(job)
        return found

    def solution(self) -> Solution:
        """Return the best plan as records, scored and explained without the search."""
        problem = self.problem
        bare = list(self.best.assignments() if self.better is None else self.better)
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
            left_out=explain(problem, assignments),
            score=score,
            bound_cost=self.bound_cost,
            seed=self.seed,
            n_iterations=self.all[0].n_steps,
        )


def _without(problem: Problem, hopeless: set[str]) -> Problem:
    """Leave out jobs that no plan holds, and loosen what binds others to them."""
    jobs = (
        replace(job, same_people_as=(), other_people_than=(), same_machine_as=())
        for job in problem.jobs
        if job.id not in hopeless
    )
    return replace(problem, jobs=tuple(jobs))
