"""Each rule on the smallest week that feels it, the twin that it makes impossible, and why."""

from dataclasses import dataclass, replace
from datetime import time
from typing import Any

import pytest

from crews.roster.calc.explain import explain_clash, give_up
from crews.roster.calc.problem import (
    Crew,
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
from crews.roster.calc.solution import Status

from .weeks import DAY, MONDAY, NIGHT, PRICE, a_week, cost, on, solved, wanted

A, B = Person("a", "all"), Person("b", "all")
NIGHT_LAST = ShiftKind("night", time(22), 8 * 60, not_next=("day",))


@dataclass(frozen=True)
class Case:
    """A week, what it costs with the rule, without it, and what makes it impossible."""

    name: str
    week: Problem
    cost: float
    loose_cost: float
    loose: Problem
    twin: Problem
    clash: set[tuple[str, str]]  # code and rule of each fact


def fixed(week: Problem, *days: int, kind: str | None = "day", person: str = "a") -> Problem:
    return replace(week, fixed=tuple(Given(person, on(day), kind) for day in days))


def of_rule(
    rule: Rule, *fixed_days: int, cost: float, kind: str | None = "day", **more: Any
) -> Case:
    week = a_week(rule, **more)
    n_fixed = ("fixed", "")
    return Case(
        name=f"{rule.measure}_{'least' if rule.most is None else 'most'}",
        week=week,
        cost=cost,
        loose_cost=0,
        loose=a_week(**more),
        twin=fixed(week, *fixed_days, kind=kind),
        clash={n_fixed, ("rule", rule.id)},
    )


def row(measure: Measure, least: int | None = None, most: int | None = None, **more: Any) -> Rule:
    return Rule("limit", measure, least, most, **more)


def busy(*days: int, n_days: int = 5) -> dict[str, Any]:
    """One head wanted on some days, a price on any on the others, one kind of shift."""
    idle = [day for day in range(n_days) if day not in days]
    unwanted = wanted(idle, target=0, price_under=0, price_over=PRICE)
    return {"n_days": n_days, "kinds": (DAY,), "demand": (*wanted(days), *unwanted)}


RULES = [
    of_rule(row(Measure.MINUTES, most=960), 0, 1, 2, cost=3 * PRICE),
    of_rule(row(Measure.MINUTES, least=960), 0, 1, 2, 3, cost=2 * PRICE, kind=None, **busy()),
    of_rule(row(Measure.SHIFTS, most=2), 0, 1, 2, cost=3 * PRICE),
    of_rule(row(Measure.SHIFTS, least=2), 0, 1, 2, 3, cost=2 * PRICE, kind=None, **busy()),
    of_rule(
        row(Measure.SHIFTS, most=5, is_weekly=True), 0, 1, 2, 3, 4, 5, cost=4 * PRICE, n_days=14
    ),
    of_rule(row(Measure.WEEKENDS, most=0), 5, cost=2 * PRICE, n_days=7),
    of_rule(row(Measure.SPLIT_WEEKENDS, most=0), 5, cost=PRICE, **busy(5, n_days=7)),
    of_rule(row(Measure.DAYS_IN_A_ROW, most=3), 0, 1, 2, 3, cost=PRICE),
    of_rule(row(Measure.DAYS_IN_A_ROW, least=3), 1, cost=PRICE, **busy(1)),
    of_rule(row(Measure.DAYS_OFF_IN_A_ROW, least=2), 1, 3, cost=PRICE, **busy(1, 3)),
    of_rule(
        row(Measure.DAYS_OFF_IN_A_ROW, most=2),
        1, 2, 3,
        cost=PRICE,
        kind=None,
        **busy(),
    ),
    of_rule(
        row(Measure.REST_MIN, least=660),
        1,
        cost=PRICE,
        n_days=2,
        demand=(*wanted([0], "night"), *wanted([1])),
    ),
]  # fmt: skip


def _with_twins() -> list[Case]:
    cases = []
    for case in RULES:
        twin = case.twin
        if case.name.startswith("split_weekends"):
            twin = replace(twin, fixed=(*twin.fixed, Given("a", on(6), None)))
        elif case.name.startswith("days_in_a_row_least"):
            twin = replace(twin, fixed=(*twin.fixed, Given("a", on(0)), Given("a", on(3))))
        elif case.name.startswith("days_off_in_a_row_least"):
            twin = replace(twin, fixed=(*twin.fixed, Given("a", on(2))))
        elif case.name.startswith("rest"):
            twin = replace(twin, fixed=(*twin.fixed, Given("a", on(0), "night")))
        cases.append(replace(case, twin=twin))
    return cases


NURSE = Person("a", "all", skills=(SkillHeld("calving", until_on=on(2)),))
FORBIDDEN = a_week(n_days=2, kinds=(DAY, NIGHT_LAST), demand=(*wanted([0], "night"), *wanted([1])))
LED = a_week(people=(A, B), n_days=1, crews=(Crew("x", ("a", "b"), leads=("b",)),))
FACTS = [
    Case(
        "leave",
        a_week(people=(replace(A, away_on=(on(1),)),)),
        PRICE, 0, a_week(),
        a_week(people=(replace(A, away_on=(on(1),)),), demand=wanted([1], least=1)),
        {("away", ""), ("least", "")},
    ),
    Case(
        "fixed",
        fixed(a_week(), 1, kind=None),
        PRICE, 0, a_week(),
        fixed(a_week(demand=wanted([1], least=1)), 1, kind=None),
        {("fixed", ""), ("least", "")},
    ),
    Case(
        "succession",
        FORBIDDEN, PRICE, 0, replace(FORBIDDEN, kinds=(DAY, NIGHT)),
        replace(FORBIDDEN, fixed=(Given("a", on(0), "night"), Given("a", on(1), "day"))),
        {("fixed", ""), ("kind_forbidden_next", "")},
    ),
    Case(
        "lapsed skill",
        a_week(n_days=3, people=(NURSE,), demand=wanted([2], skill="calving")),
        PRICE, 0, a_week(n_days=3, people=(NURSE,), demand=wanted([1], skill="calving")),
        a_week(n_days=3, people=(NURSE,), demand=wanted([2], skill="calving", least=1)),
        {("least", "")},
    ),
    Case(
        "least",
        a_week(n_days=1, people=(A,), demand=wanted([0], target=0, price_over=PRICE, least=1)),
        PRICE, 0, a_week(n_days=1, demand=wanted([0], target=0, price_over=PRICE)),
        a_week(n_days=1, people=(A,), demand=wanted([0], least=2)),
        {("least", "")},
    ),
    Case(
        "most",
        a_week(n_days=1, people=(A, B), demand=wanted([0], target=2, most=1)),
        PRICE, 0, a_week(n_days=1, people=(A, B), demand=wanted([0], target=2)),
        replace(
            a_week(n_days=1, people=(A, B), demand=wanted([0], most=1)),
            fixed=(Given("a", on(0), "day"), Given("b", on(0), "day")),
        ),
        {("fixed", ""), ("most", "")},
    ),
    Case(
        "lead",
        replace(LED, people=(A, replace(B, away_on=(MONDAY,)))),
        PRICE, 0, LED,
        fixed(replace(LED, people=(A, replace(B, away_on=(MONDAY,)))), 0),
        {("fixed", ""), ("away", ""), ("lead", "x")},
    ),
]  # fmt: skip

CASES = [*_with_twins(), *FACTS]


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_a_rule_costs_what_it_forbids_and_nothing_without_it(case: Case) -> None:
    assert cost(case.week) == pytest.approx(case.cost)
    assert cost(case.loose) == pytest.approx(case.loose_cost)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_the_impossible_twin_is_explained_by_its_facts(case: Case) -> None:
    assert solved(case.twin).status is Status.INFEASIBLE

    clash = explain_clash(case.twin)

    assert {(limit.code, limit.rule) for limit in clash.limits} == case.clash
    assert clash.remedies
    # Minimal: with any one of its facts given up, the others can be kept.
    for limit in clash.limits:
        assert solved(give_up(case.twin, [limit])).status is not Status.INFEASIBLE
    # Each remedy breaks what it gives up and nothing else.
    for remedy in clash.remedies:
        assert len(remedy.given_up) == 1
        assert remedy.broken


def test_a_rule_at_a_price_is_broken_where_that_is_cheaper() -> None:
    rule = Rule("overtime", Measure.MINUTES, most=4 * 480, price=0.01)

    assert cost(a_week(rule)) == pytest.approx(4.80)
    assert cost(a_week(replace(rule, price=1.0))) == pytest.approx(PRICE)


def test_a_run_counts_what_was_worked_before() -> None:
    rule = Rule("row", Measure.DAYS_IN_A_ROW, most=3)
    week = a_week(rule, n_days=3, people=(replace(A, before=("", "day", "night")),))

    assert cost(week) == pytest.approx(PRICE)


def test_a_run_of_history_alone_is_not_this_weeks_fault() -> None:
    rule = Rule("row", Measure.DAYS_IN_A_ROW, most=1, price=PRICE)
    week = a_week(rule, n_days=1, people=(replace(A, before=("", "day", "day")),), demand=())

    assert cost(week) == 0
    # One more day is one more over, not three.
    assert cost(fixed(week, 0)) == pytest.approx(PRICE)


def test_nights_in_a_row_are_counted_by_kind() -> None:
    rule = Rule("nights", Measure.DAYS_IN_A_ROW, most=2, kinds=("night",))
    week = a_week(rule, n_days=4, demand=(*wanted([0, 1, 2], "night"), *wanted([3])))

    assert cost(week) == pytest.approx(PRICE)


def test_what_was_carried_counts_for_the_period() -> None:
    rule = Rule("shifts", Measure.SHIFTS, most=5)

    assert cost(a_week(rule, people=(replace(A, carried={"shifts": 3}),))) == pytest.approx(30)


def test_a_wish_costs_its_price_when_it_is_not_met() -> None:
    wishes = (Wish("a", on(0), 3), Wish("a", on(1), 4, "night"), Wish("a", on(2), 5, is_off=True))

    assert cost(a_week(n_days=3, demand=(), wishes=wishes)) == 0
    assert cost(a_week(n_days=3, wishes=wishes)) == pytest.approx(4 + 5)


def test_somebody_counts_for_all_their_skills_unless_one_skill_a_shift_is_asked() -> None:
    people = (replace(A, skills=(SkillHeld("loader"), SkillHeld("calving"))),)
    demand = (*wanted([0], skill="loader"), *wanted([0], skill="calving"))
    week = a_week(n_days=1, people=people, demand=demand)

    assert cost(week) == 0
    one = replace(week, is_one_skill_a_shift=True)
    assert cost(one) == pytest.approx(PRICE)
    assert solved(one).assignments[0].skill in {"loader", "calving"}


def test_a_crew_apart_costs_its_price() -> None:
    week = a_week(
        n_days=1,
        people=(A, B),
        demand=(*wanted([0]), *wanted([0], "night")),
        crews=(Crew("x", ("a", "b"), apart_price=4),),
    )

    assert cost(week) == pytest.approx(4)


def test_a_lead_may_be_missing_at_a_price() -> None:
    crew = Crew("x", ("a", "b"), leads=("b",), lead_price=3)
    people = (A, replace(B, away_on=(MONDAY,)))

    assert cost(a_week(n_days=1, people=people, crews=(crew,))) == pytest.approx(3)


def test_nights_are_shared_out_with_those_of_the_months_before() -> None:
    share = Fairness("nights", 2, kinds=("night",))
    people = (replace(A, carried={"nights": 3}), B)
    week = a_week(n_days=3, people=people, demand=wanted(range(3), "night"), fairness=(share,))

    assert cost(week) == 0
    assert {a.person for a in solved(week).assignments} == {"b"}


def test_new_people_count_for_a_fifth_more_of_a_head_each_hot_day() -> None:
    """NIOSH 2016-106: no more than 20 % on the first day, 20 % more on each one after."""
    days = tuple(on(day) for day in range(5))
    week = a_week(people=(replace(A, new_on=MONDAY),), hot_on=days)

    assert cost(week) == pytest.approx(PRICE * (0.8 + 0.6 + 0.4 + 0.2))
    assert cost(replace(week, hot_on=())) == 0


def test_a_published_day_changes_only_for_its_price() -> None:
    published = (Given("a", on(0), None),)

    assert cost(a_week(n_days=1, published=published, change_price=3)) == pytest.approx(3)
    assert cost(a_week(n_days=1, published=published, change_price=30)) == pytest.approx(PRICE)
