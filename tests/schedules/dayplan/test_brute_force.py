"""Tiny random days against every plan there is, as the judge sees them.

All data are multiples of five minutes, so that some best plan starts every job on the five-minute
grid: put every job as early as it goes, and each start is a sum of data.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import timedelta
from itertools import combinations

import numpy as np
import pytest

from schedules.dayplan.calc.check import check
from schedules.dayplan.calc.judged import Plan
from schedules.dayplan.calc.problem import Booking, Dependency, Job, Problem, Relation
from schedules.dayplan.calc.resources import Block, Bucket, Shift
from schedules.dayplan.calc.rules import RULES
from schedules.dayplan.calc.solution import Assignment

from .tiny import a_day, a_job, a_machine, a_person, at, minute_of, solved, span

N_PROBLEMS = 50
GRID_MIN = 5


@dataclass
class _Draw:
    rng: np.random.Generator

    def grid(self, low_min: int, high_min: int) -> int:
        return GRID_MIN * int(self.rng.integers(low_min // GRID_MIN, high_min // GRID_MIN + 1))

    def is_so(self, chance: float) -> bool:
        return bool(self.rng.random() < chance)


def tiny_problem(seed: int) -> Problem:
    """Build four jobs, two people and a loader between barn and lot, five minutes apart."""
    draw = _Draw(np.random.default_rng(seed))
    last_bucket = Bucket.DIRTY if draw.is_so(0.5) else None
    return a_day(
        a_machine(speed_m_min=80, hookup_min=draw.grid(0, 5), last_bucket=last_bucket),
        a_person("ana", "cattle", breaks=(span(30, 40),) if draw.is_so(0.4) else ()),
        a_person("ben", shifts=(Shift(at(0), at(draw.grid(70, 100))),)),
        Block("lot", at(20), at(20 + draw.grid(5, 15)), "flush"),
        *(tiny_job(draw, number) for number in range(4)),
        horizon=span(0, 100),
    )


def tiny_job(draw: _Draw, number: int) -> Job:
    opens, length = draw.grid(0, 60), draw.grid(5, 15)
    is_driven, has_bucket = draw.is_so(0.3), draw.is_so(0.7)
    bucket = (Bucket.CLEAN if draw.is_so(0.5) else Bucket.DIRTY) if has_bucket else None
    waits = number > 0 and draw.is_so(0.4)
    relation = list(Relation)[int(draw.rng.integers(4))]
    most = draw.grid(0, 30) if draw.is_so(0.5) else None
    return a_job(
        f"job{number}",
        place="lot" if draw.is_so(0.5) else "barn",
        windows=(span(opens, opens + length + draw.grid(5, 30)),),
        duration_min=length,
        n_people=2 if draw.is_so(0.2) else 1,
        skills=("cattle",) if draw.is_so(0.2) else (),
        machine_kinds=("loader",) if is_driven else (),
        bucket=bucket if is_driven else None,
        priority=int(draw.rng.integers(1, 4)),
        depends_on=(Dependency(f"job{number - 1}", relation, 0, most),) if waits else (),
        occupies=("bay",) if draw.is_so(0.3) else (),
    )


def options(problem: Problem, job: Job) -> list[Booking]:
    """All ways to do a job on the grid, the driver named first, that no other job could mend."""
    opens, closes = minute_of(job.windows[0].start), minute_of(job.windows[0].end)
    starts = np.arange(opens, closes - job.duration_min + 1, GRID_MIN).tolist()
    teams = list(combinations((person.id for person in problem.people), job.n_people))
    if job.is_driven:
        teams += [team[::-1] for team in teams if len(team) > 1]
    machine = "loader-1" if job.is_driven else None
    bookings = (
        Booking(team, machine, at(start), at(start + job.duration_min))
        for start in starts
        for team in teams
    )
    return [booking for booking in bookings if is_possible(problem, job, booking)]


def broken_by(problem: Problem, plan: Mapping[Job, Booking]) -> set[str]:
    """Rules that the judge finds broken; the figures of a plan are not in question here."""
    given = (Assignment(j.id, b.people, b.machine, b.start, b.end) for j, b in plan.items())
    judged = Plan(problem, given)
    return {broken.code for rule in RULES for broken in rule(judged)}


def is_possible(problem: Problem, job: Job, booking: Booking) -> bool:
    # Another job may bring the machine nearer or wash its bucket, and is what this one waits for.
    mended = {"person_late", "machine_late", "bucket_not_washed", "predecessor_left_out"}
    return broken_by(problem, {job: booking}) <= mended


def clash(job: Job, booking: Booking, other_job: Job, other: Booking) -> bool:
    """Whether no third job could make the two fit: driving is no faster than walking here."""
    shares_person = bool(set(booking.people) & set(other.people))
    shares_machine = booking.machine == other.machine is not None
    shares_place = bool(set(job.occupies) & set(other_job.occupies))
    if not (shares_person or shares_machine or shares_place):
        return False
    is_apart = job.place != other_job.place and (shares_person or shares_machine)
    way = timedelta(minutes=5 if is_apart else 0)
    return booking.start < other.end + way and other.start < booking.end + way


def plans(ways: dict[Job, list[Booking]], done: list[Job]) -> Iterator[dict[Job, Booking]]:
    """All ways to do just these jobs that book nobody and nothing twice."""
    if not done:
        yield {}
        return
    for plan in plans(ways, done[:-1]):
        for booking in ways[done[-1]]:
            if not any(clash(done[-1], booking, *other) for other in plan.items()):
                yield {**plan, done[-1]: booking}


def least_left_out_cost(problem: Problem) -> float:
    """Price of the cheapest set of jobs to leave out such that the judge finds nothing broken."""
    prices = problem.weights.left_out

    def price(done: tuple[Job, ...]) -> float:
        return sum(prices[job.priority - 1] for job in problem.jobs if job not in done)

    ways = {job: options(problem, job) for job in problem.jobs}
    sets = [s for n in range(len(problem.jobs) + 1) for s in combinations(problem.jobs, n)]
    for done in sorted(sets, key=price):
        for plan in plans(ways, list(done)):
            if not broken_by(problem, plan):
                return price(done)
    raise AssertionError("even the empty plan is broken")


@pytest.mark.parametrize("seed", range(N_PROBLEMS))
def test_the_search_leaves_out_no_more_than_the_best_of_all_plans(seed: int) -> None:
    problem = tiny_problem(seed)

    solution = solved(problem, iterations=200)

    assert check(problem, solution).broken == ()
    assert solution.score.left_out_cost == least_left_out_cost(problem)


def test_the_tiny_days_are_of_all_sorts() -> None:
    costs = [solved(tiny_problem(seed)).score.left_out_cost for seed in range(N_PROBLEMS)]

    assert 10 < sum(cost == 0 for cost in costs) < N_PROBLEMS - 10
