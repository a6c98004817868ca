"""Small roster problems: two kinds of shift, people a and b, demand that pulls them in."""

from collections.abc import Iterable
from dataclasses import replace
from datetime import date, time, timedelta
from typing import Any

from crews.roster.calc.check import check_week
from crews.roster.calc.problem import Contract, Demand, Person, Problem, Rule, ShiftKind
from crews.roster.calc.search import solve_week
from crews.roster.calc.solution import Solution

MONDAY = date(2026, 6, 1)
DAY = ShiftKind("day", time(6), 8 * 60)
NIGHT = ShiftKind("night", time(22), 8 * 60)
PRICE = 10.0


def on(day: int) -> date:
    return MONDAY + timedelta(days=day)


def wanted(days: Iterable[int], kind: str = "day", **more: Any) -> tuple[Demand, ...]:
    """One head wanted on each day, at a price."""
    return tuple(
        replace(Demand(on(day), kind, target=1, price_under=PRICE), **more) for day in days
    )


def a_week(
    *rules: Rule,
    n_days: int = 5,
    people: tuple[Person, ...] = (Person("a", "all"),),
    kinds: tuple[ShiftKind, ...] = (DAY, NIGHT),
    **more: Any,
) -> Problem:
    more.setdefault("demand", wanted(range(n_days)))
    return Problem(
        starts_on=MONDAY,
        n_days=n_days,
        zone="America/Denver",
        kinds=kinds,
        contracts=(Contract("all", rules),),
        people=people,
        **more,
    )


def solved(problem: Problem) -> Solution:
    """The best roster, which its judge must accept."""
    solution = solve_week(problem, seconds=None, iterations=5)
    if solution.score is not None:
        assert check_week(problem, solution).broken == ()
    return solution


def cost(problem: Problem) -> float:
    score = solved(problem).score
    assert score is not None
    return score.total_cost
