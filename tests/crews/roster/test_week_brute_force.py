"""Tiny random weeks: the search finds what trying every roster finds, and so says the judge."""

from collections.abc import Iterator
from datetime import date, time, timedelta
from itertools import product

import numpy as np
import pytest

from crews.roster.calc.check import check_week
from crews.roster.calc.problem import (
    Contract,
    Crew,
    Demand,
    Fairness,
    Given,
    Measure,
    Person,
    Problem,
    Rule,
    ShiftKind,
    SkillHeld,
    Wish,
)
from crews.roster.calc.score import score_roster
from crews.roster.calc.search import solve_week
from crews.roster.calc.solution import Assignment, Solution, Status

N_PROBLEMS = 500
N_BATCHES = 10
STARTS_ON = date(2026, 10, 30)  # a Friday; the clock goes back in the night to Sunday
KINDS = (
    ShiftKind("day", time(6), 8 * 60),
    ShiftKind("night", time(22), 8 * 60, not_next=("day",)),
)


def a_rule(rng: np.random.Generator, number: int) -> Rule:
    measure = list(Measure)[int(rng.integers(len(Measure)))]
    size = {Measure.MINUTES: 480, Measure.REST_MIN: 240}.get(measure, 1)
    least = int(rng.integers(0, 4)) * size
    most = least + int(rng.integers(0, 3)) * size
    only = int(rng.integers(3))
    return Rule(
        f"r{number}",
        measure,
        least=least if only != 1 or measure is Measure.REST_MIN else None,
        most=None if only == 0 or measure is Measure.REST_MIN else most,
        price=float(rng.integers(1, 6)) if rng.random() < 0.6 else None,
        kinds=() if rng.random() < 0.6 else ("night",),
        is_weekly=measure in (Measure.MINUTES, Measure.SHIFTS) and bool(rng.random() < 0.4),
    )


def a_problem(seed: int) -> Problem:
    rng = np.random.default_rng(seed)
    n_people, n_days = ((2, 3), (1, 5), (3, 2), (2, 2))[seed % 4] if seed % 5 else (1, 3)
    days = [STARTS_ON + timedelta(days=n) for n in range(n_days)]
    names = [f"p{n}" for n in range(n_people)]
    people = tuple(
        Person(
            name,
            "c",
            skills=tuple(SkillHeld(s) for s in ("x", "y") if rng.random() < 0.6),
            away_on=tuple(on for on in days if rng.random() < 0.1),
            before=tuple(str(rng.choice(["", "day", "night"])) for _ in range(rng.integers(0, 4))),
            carried={"r0": int(rng.integers(0, 2)), "f": int(rng.integers(0, 3))},
            new_on=days[0] if rng.random() < 0.2 else None,
        )
        for name in names
    )
    return Problem(
        starts_on=STARTS_ON,
        n_days=n_days,
        zone="America/Denver",
        kinds=KINDS,
        contracts=(Contract("c", tuple(a_rule(rng, n) for n in range(rng.integers(1, 4)))),),
        people=people,
        demand=tuple(demands(rng, days)),
        wishes=tuple(wishes(rng, days, names)),
        crews=(Crew("k", tuple(names), 2.0, tuple(names[:1]), 3.0 if seed % 3 else None),)
        if seed % 2
        else (),
        fairness=(Fairness("f", 3.0, ("night",) if seed % 2 else (), seed % 3 == 0),),
        fixed=(Given(names[0], days[0], "night"),) if seed % 7 == 0 else (),
        published=tuple(Given(names[-1], on, "day" if seed % 2 else None) for on in days[:2]),
        change_price=float(seed % 4),
        is_one_skill_a_shift=seed % 5 == 0,
        week_starts_on=1 + seed % 7,
        hot_on=tuple(days),
    )


def demands(rng: np.random.Generator, days: list[date]) -> Iterator[Demand]:
    for on, kind, skill in product(days, KINDS, (None, "x", "y")):
        if rng.random() < 0.5:
            least = int(rng.random() < 0.08)
            yield Demand(
                on,
                kind.id,
                skill,
                least=least,
                most=int(rng.integers(1, 3)) if rng.random() < 0.3 else None,
                target=int(rng.integers(0, 3)),
                price_under=float(rng.integers(0, 9)),
                price_over=float(rng.integers(0, 5)),
            )


def wishes(rng: np.random.Generator, days: list[date], names: list[str]) -> Iterator[Wish]:
    for on, name in product(days, names):
        kind = str(rng.choice(["day", "night"])) if rng.random() < 0.7 else None
        yield Wish(name, on, float(rng.integers(0, 6)), kind, is_off=bool(rng.random() < 0.5))


def rosters(problem: Problem) -> Iterator[tuple[Assignment, ...]]:
    """Every roster there is, named skills and all."""
    choices = []
    for person, on in product(problem.people, problem.days):
        shifts: list[Assignment | None] = [None]
        held = [h.skill for h in person.skills] if problem.is_one_skill_a_shift else []
        for kind, skill in product(problem.kinds, [None, *held]):
            shifts.append(Assignment(person.id, on, kind.id, skill))
        choices.append(shifts)
    for roster in product(*choices):
        yield tuple(shift for shift in roster if shift is not None)


def least_cost(problem: Problem) -> float | None:
    best = None
    for roster in rosters(problem):
        score = score_roster(problem, roster)
        if best is None or score.total_cost < best:
            tried = Solution(Status.FEASIBLE, roster, score)
            best = score.total_cost if check_week(problem, tried).is_feasible else best
    return best


@pytest.mark.parametrize("batch", range(N_BATCHES))
def test_the_search_finds_what_trying_every_roster_finds(batch: int) -> None:
    for seed in range(batch, N_PROBLEMS, N_BATCHES):
        problem = a_problem(seed)

        solution = solve_week(problem, seconds=None, iterations=1, seed=seed)

        expected = least_cost(problem)
        if expected is None:
            assert solution.status is Status.INFEASIBLE, seed
        else:
            assert solution.status is Status.OPTIMAL, seed
            assert solution.score is not None
            assert check_week(problem, solution).broken == (), seed
            assert solution.score.total_cost == pytest.approx(expected, abs=2e-3), seed
