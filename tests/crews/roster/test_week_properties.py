"""What must hold of any week: facts never help, and odd nights of the clock change hours only."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta

import pytest

from crews.roster.calc.check import check_week
from crews.roster.calc.problem import Demand, Given, Measure, Person, Problem, Rule, Wish
from crews.roster.calc.search import solve_week
from crews.roster.calc.solution import Status
from crews.roster.calc.tally import Tally
from tests.benchmarks.week_generator import farm_weeks

from .public_instances import BEST_KNOWN, shift_scheduling_instance
from .test_week_brute_force import a_problem
from .weeks import NIGHT, PRICE, a_week, cost, on, wanted

SEEDS = range(1, 40, 2)
A = Person("a", "all")


def optimum(problem: Problem) -> float:
    """The least cost, infinite where there is no roster."""
    solution = solve_week(problem, seconds=None, iterations=1)
    if solution.status is Status.INFEASIBLE:
        return float("inf")
    assert solution.score is not None
    assert solution.status is Status.OPTIMAL
    return solution.score.total_cost


def more_leave(problem: Problem) -> Problem:
    person = problem.people[0]
    away = replace(person, away_on=tuple({*person.away_on, problem.days[-1]}))
    return replace(problem, people=(away, *problem.people[1:]))


def one_more_rule(problem: Problem) -> Problem:
    rule = Rule("more", Measure.SHIFTS, most=1)
    contracts = tuple(replace(c, rules=(*c.rules, rule)) for c in problem.contracts)
    return replace(problem, contracts=contracts)


def one_more_wish(problem: Problem) -> Problem:
    wish = Wish(problem.people[0].id, problem.days[0], 7.0, "day")
    return replace(problem, wishes=(*problem.wishes, wish))


def one_more_demand(problem: Problem) -> Problem:
    known = {(d.on, d.kind, d.skill) for d in problem.demand}
    more = (
        Demand(on, kind.id, None, target=1, price_under=4.0)
        for on in problem.days
        for kind in problem.kinds
        if (on, kind.id, None) not in known
    )
    return replace(problem, demand=(*problem.demand, *more))


def one_more_fixed(problem: Problem) -> Problem:
    given = Given(problem.people[-1].id, problem.days[-1], "day")
    kept = tuple(g for g in problem.fixed if (g.person, g.on) != (given.person, given.on))
    return replace(problem, fixed=(*kept, given)) if kept == problem.fixed else problem


@pytest.mark.parametrize(
    "add", [more_leave, one_more_rule, one_more_wish, one_more_demand, one_more_fixed]
)
def test_a_fact_more_never_makes_a_week_cheaper(add: Callable[[Problem], Problem]) -> None:
    for seed in SEEDS:
        problem = a_problem(seed)

        assert optimum(add(problem)) >= optimum(problem) - 1e-3, seed


@pytest.mark.parametrize(
    ("starts_on", "night_min"),
    [(date(2026, 3, 2), 7 * 60), (date(2026, 10, 26), 9 * 60), (date(2026, 6, 1), 8 * 60)],
)
def test_the_odd_nights_have_their_own_hours(starts_on: date, night_min: int) -> None:
    problem = replace(a_week(demand=()), starts_on=starts_on, n_days=7)

    assert problem.worked_min(NIGHT, starts_on + timedelta(days=5)) == night_min


@pytest.mark.parametrize("starts_on", [date(2026, 3, 2), date(2026, 10, 26)])
def test_a_week_with_an_odd_night_gets_the_plan_of_any_other(starts_on: date) -> None:
    """Where no limit on hours is near, moving a week onto a clock change moves its plan alone."""
    plain = replace(
        a_problem(2), n_days=7, starts_on=date(2026, 6, 1), wishes=(), published=(), hot_on=(),
        demand=tuple(wanted(range(7), "night")), fixed=(), fairness=(),
    )  # fmt: skip
    people = tuple(replace(p, away_on=(), before=()) for p in plain.people)
    rules = (Rule("rest", Measure.REST_MIN, least=660), Rule("most", Measure.SHIFTS, most=4))
    plain = replace(plain, people=people, contracts=(replace(plain.contracts[0], rules=rules),))
    moved_by = starts_on - plain.starts_on
    demand = tuple(replace(d, on=d.on + moved_by) for d in plain.demand)
    moved = replace(plain, starts_on=starts_on, demand=demand)

    before, after = (solve_week(p, seconds=None, iterations=1, seed=5) for p in (plain, moved))

    assert before.status is after.status is Status.OPTIMAL
    assert [replace(a, on=a.on + moved_by) for a in before.assignments] == list(after.assignments)


def test_rest_over_the_spring_gap_is_an_hour_shorter() -> None:
    """From 14:00 to 03:00 are 13 h by the clock, 12 h where 02:00 to 03:00 is left out."""
    rule = Rule("rest", Measure.REST_MIN, least=12 * 60 + 30)
    early = replace(NIGHT, id="early", starts_local=NIGHT.starts_local.replace(hour=3))
    week = a_week(rule, n_days=7, kinds=(a_week().kinds[0], early), demand=())
    for starts_on, n_broken in ((date(2026, 3, 2), 1), (date(2026, 6, 1), 0)):
        problem = replace(week, starts_on=starts_on)
        row: list[str | None] = [*[None] * 5, "day", "early"]

        assert len(list(Tally.of(problem).breaches(A, rule, row))) == n_broken


def test_overtime_counts_the_hours_that_pass() -> None:
    rule = Rule("overtime", Measure.MINUTES, most=480, price=0.01)
    nights = wanted([6], "night", price_under=100.0)
    problem = a_week(rule, n_days=7, demand=nights)

    moved = tuple(replace(d, on=date(2026, 10, 31)) for d in nights)  # the clock goes back
    autumn = replace(problem, starts_on=date(2026, 10, 25), demand=moved)

    assert cost(problem) == 0
    assert cost(autumn) == pytest.approx(0.60)


def test_a_published_instance_is_solved_to_its_best_known_value() -> None:
    """Curtois and Qu, Computational results on new staff scheduling benchmark instances, 2014."""
    problem = shift_scheduling_instance(1)

    solution = solve_week(problem, seconds=60.0)

    assert check_week(problem, solution).is_feasible
    assert solution.status is Status.OPTIMAL
    assert solution.score is not None
    assert solution.score.total_cost == BEST_KNOWN[1]


@pytest.mark.parametrize("number", [4, 6])
def test_a_published_value_lies_between_our_bound_and_our_cost(number: int) -> None:
    """As above; the long runs are those of `public_table`."""
    problem = shift_scheduling_instance(number)

    solution = solve_week(problem, seconds=8.0)

    assert check_week(problem, solution).is_feasible
    assert solution.score is not None
    assert solution.bound_cost is not None
    assert solution.bound_cost <= BEST_KNOWN[number] <= solution.score.total_cost


def test_a_week_of_the_farms_kind_is_feasible_and_repeatable() -> None:
    problem = farm_weeks(n_people=6, n_weeks=1)

    one, two = (solve_week(problem, seconds=None, iterations=1, seed=4) for _ in range(2))

    assert one == two
    assert check_week(problem, one).broken == ()
    assert one.bound_cost is not None
    assert one.score is not None
    assert 0 < one.bound_cost <= one.score.total_cost


def test_dates_beside_the_week_are_refused() -> None:
    with pytest.raises(ValueError, match="is not one of its"):
        a_week(n_days=2, demand=(Demand(on(2), "day", target=1, price_under=PRICE),))
