"""`python -m tests.schedules.dayplan.bound_check N`: a bound proved again from its prices alone.

Written apart from `calc/bound`, in plain Python and whole rows: no slots in the rows, nothing that
a row forgets, no prices but those given. Days with locked jobs are not read.
"""

from __future__ import annotations

import sys
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from graphlib import TopologicalSorter
from math import inf

import numpy as np
from numpy.typing import NDArray

from schedules.dayplan.calc.bound.model import bound_day
from schedules.dayplan.calc.model import solve_day
from schedules.dayplan.calc.problem import Job, Problem
from schedules.dayplan.calc.resources import Person, Shift
from schedules.dayplan.calc.ways import ways_of
from tests.benchmarks.day_generator import farm_day

PartPrices = Mapping[tuple[str, bool], float]
StandPrices = Mapping[tuple[str, str], float]
Span = tuple[float, float]
SLACK_MIN = 2e-3  # more than the judge lets pass


def proved(problem: Problem, parts: PartPrices, stands: StandPrices) -> float:
    """Return what prices prove that no plan can cost less than [min of walking]."""
    assert all(price >= 0 for price in (*parts.values(), *stands.values()))
    day = _Day(problem, parts, stands)
    value = -sum(stands.values())
    for job in problem.jobs:
        n = min(job.sizes)
        worth = (n - job.is_driven) * parts.get((job.id, False), 0.0)
        worth += parts.get((job.id, True), 0.0) if job.is_driven else 0.0
        value += min(worth, day.price_of_leaving_out(job))
    for person in problem.people:
        value += sum(_Row(day, person, shift).least() for shift in person.shifts)
    return value


class _Day:
    def __init__(self, problem: Problem, parts: PartPrices, stands: StandPrices) -> None:
        assert not any(job.locked for job in problem.jobs)
        self.problem, self.parts = problem, parts
        self.at = {place.key: i for i, place in enumerate(problem.places)}
        ways = ways_of(problem)
        self.walk_m, self.drive_m = _shortest(ways.people_m), _shortest(ways.machines_m)
        self.window = dict(self._windows())
        self.stands = self._stands(stands)

    def minute(self, instant: datetime) -> float:
        return (instant - self.problem.horizon.start) / timedelta(minutes=1)

    def span(self, of: object, more: float) -> Span:
        return self.minute(of.start) - more, self.minute(of.end) + more  # type: ignore[attr-defined]  # all have both

    def price_of_leaving_out(self, job: Job) -> float:
        weights = self.problem.weights
        price = weights.left_out[job.priority - 1]
        changed = weights.change_per_job if job.previous else 0.0
        return (price if job.left_out_cost is None else job.left_out_cost) + changed

    def shortest_min(self, job: Job) -> float:
        return min([job.duration_min, *(d.duration_min for d in job.durations)])

    def _windows(self) -> Iterator[tuple[str, tuple[float, float, float, float]]]:
        """Yield each job's first start and end and last start and end, what it waits for done."""
        jobs = {job.id: job for job in self.problem.jobs}
        known: dict[str, tuple[float, float, float, float]] = {}
        for key in TopologicalSorter(
            {j.id: [d.on for d in j.depends_on] for j in jobs.values()}
        ).static_order():
            job, work = jobs[key], self.shortest_min(jobs[key])
            spans = [self.span(window, SLACK_MIN) for window in job.windows]
            a, d = min(s for s, _ in spans), max(e for _, e in spans)
            b, c = a + work, d - work
            for on in job.depends_on:
                start, end, last_start, last_end = known[on.on]
                from_end = on.relation.startswith("FINISH")
                least = (end if from_end else start) + on.min_gap_min - SLACK_MIN
                most = (last_end if from_end else last_start) + SLACK_MIN
                most += inf if on.max_gap_min is None else on.max_gap_min
                if on.relation.endswith("TOSTART"):
                    a, c = max(a, least), min(c, most)
                else:
                    b, d = max(b, least), min(d, most)
            known[key] = a, max(b, a + work), min(c, d - work), d
            yield key, known[key]

    def _stands(self, prices: StandPrices) -> dict[str, list[tuple[str, int, float, float, float]]]:
        """Return, of each driven job, the stands: their job, place, drive, hookup and price."""
        machines, jobs = self.problem.machines, self.problem.jobs
        of_job = {job.id: {m.id for m in machines if job.may_use(m)} for job in jobs}
        places = [("", m.start_place, {m.id}, prices.get(("machine", m.id), 0.0)) for m in machines]
        users = [job for job in jobs if job.needs_machine]
        places += [(j.id, j.place, of_job[j.id], prices.get(("job", j.id), 0.0)) for j in users]
        found = defaultdict(list)
        for job in (job for job in users if job.is_driven):
            for key, place, kept, price in places:
                both = [m for m in machines if m.id in kept and m.id in of_job[job.id]]
                is_before = not key or self.window[key][1] <= self.window[job.id][2] + SLACK_MIN
                if both and key != job.id and is_before:
                    way_m = self.drive_m[self.at[place], self.at[job.place]]
                    drive_min = min(way_m / m.speed_m_min for m in both)
                    hookup_min = min(m.hookup_min for m in both)
                    found[job.id].append((key, self.at[place], drive_min, hookup_min, price))
        return found


@dataclass
class _Step:
    """A part that fits into a shift: its job, whether driving, when it may be done, its worth."""

    job: Job
    drives: bool
    spans: list[Span]
    work_min: float
    worth: float
    reach: tuple[float, float, float, float]
    rests: list[tuple[float, float, float]] = field(default_factory=list)


class _Row:
    """All rows of one person's shift."""

    def __init__(self, day: _Day, person: Person, shift: Shift) -> None:
        self.day, self.person, self.weights = day, person, day.problem.weights
        self.begins, self.until = day.minute(shift.start), day.minute(shift.latest_end) + SLACK_MIN
        self.paid = day.minute(shift.end)
        self.walk_min = day.walk_m / (person.walk_m_min or day.problem.walk_m_min)
        self.breaks = sorted(day.span(pause, 0) for pause in person.breaks)
        steps = (self._step(j, drives) for j in day.problem.jobs for drives in (False, True))
        self.steps = [step for step in steps if step is not None]
        places = [day.at[step.job.place] for step in self.steps]
        self.origins = [*places, day.at[person.start_place]]
        n = len(self.steps)
        self.ways = [[self._way(i, k) for k in range(n)] for i in range(n + 1)]

    def _step(self, job: Job, drives: bool) -> _Step | None:
        day, n = self.day, min(job.sizes)
        if (drives and not job.is_driven) or (not drives and n - job.is_driven < 1):
            return None
        spans = self._spans(job, drives)
        if not spans:
            return None
        rests = [
            (*day.span(rest, 0), 1 - rest.rest_min_per_h(job.effort) / 60)
            for rest in self.person.heat_rests
            if job.effort is not None
        ]
        worth = day.parts.get((job.id, drives), 0.0) - self._fixed(job)
        work_min = day.shortest_min(job)
        step = _Step(job, drives, spans, work_min, worth, day.window[job.id], rests)
        return step if self._end(step, self.begins) < inf else None

    def _fixed(self, job: Job) -> float:
        off = job.preferred_crew is not None and job.preferred_crew != self.person.crew
        cost = self.weights.off_crew_per_job if off else 0.0
        if job.previous is not None and self.person.id not in job.previous.people:
            cost += self.weights.change_per_job
        return cost / max(job.sizes)

    def _spans(self, job: Job, drives: bool) -> list[Span]:
        day, problem = self.day, self.day.problem
        spans = [day.span(window, SLACK_MIN) for window in job.windows]
        lights = [day.span(light, SLACK_MIN) for light in problem.daylight]
        spans = _both(spans, lights) if job.is_daylight_only else spans
        spans = _both(spans, [day.span(problem.horizon, SLACK_MIN)])
        spans = _both(spans, [(self.begins - SLACK_MIN, self.until)])
        holes = [
            day.span(block, -SLACK_MIN) for block in problem.blocks if block.place in job.places
        ]
        holes += [] if job.may_pause else [(a + SLACK_MIN, b - SLACK_MIN) for a, b in self.breaks]
        for skill in job.skills:
            spans = _both(spans, self._held(skill, job.skill_level))
        if job.needs_machine:
            spans = _both(spans, list(self._machine_spans(job, drives)))
        return _less(spans, holes)

    def _held(self, key: str, level: int) -> list[Span]:
        held = [s for s in self.person.skills if s.key == key and s.level >= level]
        return [(-inf, self.day.minute(s.until) + SLACK_MIN if s.until else inf) for s in held]

    def _machine_spans(self, job: Job, drives: bool) -> Iterator[Span]:
        for machine in self.day.problem.machines:
            if job.may_use(machine):
                skill = machine.driver_skill if drives else None
                there = [self.day.span(span, SLACK_MIN) for span in machine.available]
                holds = [self.day.span(hold, -SLACK_MIN) for hold in machine.holds]
                yield from _both(
                    _less(there, holds), self._held(skill, 1) if skill else [(-inf, inf)]
                )

    # Ways and ends ----------------------------------------------------------------------------

    def _way(self, i: int, k: int) -> tuple[float, float]:
        """Return the least time and cost of the way from one step, or the start, to another."""
        step, origin = self.steps[k], self.origins[i]
        per_min = self.weights.travel_per_min
        if not step.drives:
            walk_min = self.walk_min[origin, self.origins[k]]
            return walk_min, per_min * walk_min
        times, costs = [inf], [inf]
        before = self.steps[i].job.id if i < len(self.steps) and self.steps[i].drives else None
        for key, place, drive_min, hookup_min, price in self.day.stands[step.job.id]:
            way_min = self.walk_min[origin, place] + drive_min
            times.append(drive_min if key == before else way_min + hookup_min)
            costs.append(per_min * way_min + price)
        return min(times), min(costs)

    def _ready(self, at: float, way_min: float) -> float:
        for a, b in self.breaks:
            if b > at and at + way_min > a:
                way_min -= max(0.0, a - at)
                at = b
        return at + way_min

    def _end(self, step: _Step, ready: float) -> float:
        first_start, first_end, last_start, last_end = step.reach
        ends = [inf]
        for a, b in step.spans:
            start = max(a, ready, first_start)
            end = max(first_end, _worked(start, step.work_min, step.rests))
            if start <= last_start + SLACK_MIN and end <= min(b, last_end) + SLACK_MIN:
                ends.append(end)
        return min(ends)

    def _late(self, job: Job, end: float) -> float:
        if job.due_at is None:
            return 0.0
        per_min = self.weights.late_per_min if job.late_per_min is None else job.late_per_min
        return per_min / max(job.sizes) * max(0.0, end - self.day.minute(job.due_at))

    def _closing(self, k: int, end: float) -> float:
        home_min = 0.0
        if self.person.end_place is not None:
            home_min = self.walk_min[self.origins[k], self.day.at[self.person.end_place]]
        over_min = max(0.0, end + home_min - self.paid)
        return float(
            self.weights.overtime_per_min * over_min + self.weights.travel_per_min * home_min
        )

    def _after(self, i: int, at: float, k: int) -> tuple[float, float]:
        """Return when a step after another is over at the earliest, and what it adds."""
        way_min, cost = self.ways[i][k]
        if at + way_min > self.steps[k].reach[2] + SLACK_MIN:
            return inf, 0.0
        end = self._end(self.steps[k], self._ready(at, way_min))
        return end, cost - self.steps[k].worth + (
            self._late(self.steps[k].job, end) if end < inf else 0
        )

    # The least row ----------------------------------------------------------------------------

    def least(self) -> float:
        """Return the least that a row costs, its worth taken off; 0 for none."""
        n, best = len(self.steps), 0.0
        self.known: dict[tuple[int, int], float] = {}
        queue = [(self.begins, n, 0.0, frozenset[str]())]
        seen: dict[int, list[tuple[float, float, frozenset[str]]]] = defaultdict(list)
        while queue:
            at, i, cost, done = queue.pop()
            best = min(best, cost + (self._closing(i, at) if i < n else 0.0))
            options = []
            for k, step in enumerate(self.steps):
                if step.job.id in done:
                    continue
                end, more = self._after(i, at, k)
                if end == inf or cost + more + self._rest(k, int(end // 1)) >= best - 1e-9:
                    continue
                total, now = cost + more, done | {step.job.id}
                if not any(t <= end and c <= total and had <= now for t, c, had in seen[k]):
                    seen[k].append((end, total, now))
                    options.append((end, k, total, now))
            queue += sorted(options, key=lambda o: -(o[2] + self._rest(o[1], int(o[0] // 1))))
        return best

    def _rest(self, i: int, minute: int) -> float:
        """Return a bound on what may come after a step over in a minute; steps may come again."""
        key = i, minute
        if key not in self.known:
            least = self._closing(i, minute)
            for k in range(len(self.steps)):
                if k != i:
                    end, more = self._after(i, minute, k)
                    # A way of no time after a step of no whole minute would lead round.
                    if end < inf:
                        then = max(int(end // 1), minute + 1)
                        least = min(least, more + self._rest(k, then))
            self.known[key] = least
        return self.known[key]


def _worked(start: float, work_min: float, rests: list[tuple[float, float, float]]) -> float:
    """Return when work is over, in whose rests a minute yields less."""
    for a, b, rate in sorted(rests):
        if b <= start:
            continue
        if a > start:
            if work_min <= a - start:
                break
            work_min, start = work_min - (a - start), a
        if work_min <= (b - start) * rate:
            return start + work_min / rate
        work_min, start = work_min - (b - start) * rate, b
    return start + work_min


def _both(spans: list[Span], others: list[Span]) -> list[Span]:
    pairs = ((max(a, c), min(b, d)) for a, b in spans for c, d in others)
    return [(a, b) for a, b in pairs if a < b]


def _less(spans: list[Span], holes: list[Span]) -> list[Span]:
    for c, d in holes:
        spans = [(x, y) for a, b in spans for x, y in ((a, min(b, c)), (max(a, d), b)) if x < y]
    return spans


def _shortest(ways_m: NDArray[np.float64]) -> NDArray[np.float64]:
    least: NDArray[np.float64] = np.array(ways_m)
    for k in range(len(least)):
        least = np.minimum(least, least[:, [k]] + least[[k], :])
    np.fill_diagonal(least, 0)
    return least


if __name__ == "__main__":
    the_day = farm_day(int(sys.argv[1]))
    plan = solve_day(the_day, seconds=30, workers=2)
    bound = bound_day(the_day, plan.assignments, seconds=60, workers=2)
    again = proved(the_day, bound.part_prices, bound.stand_prices)
    print(f"plan {plan.score.total_cost:.1f}, bound {bound.cost:.2f}, proved again {again:.2f}")
