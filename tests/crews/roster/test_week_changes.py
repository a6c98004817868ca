"""Swaps judged by the roster's own rules, and absences refilled with few changes."""

from dataclasses import replace

from crews.roster.calc.change import changed_roster, check_swap, refill, refill_problem
from crews.roster.calc.check import check_week
from crews.roster.calc.problem import Given, Measure, Person, Rule, SkillHeld
from crews.roster.calc.score import score_roster
from crews.roster.calc.solution import Assignment, Solution, Status

from .weeks import NIGHT, PRICE, a_week, on, solved, wanted

A, B, C = (Person(name, "all", skills=(SkillHeld("loader"),)) for name in "abc")
REST = Rule("rest", Measure.REST_MIN, least=660)
WEEK = a_week(
    REST,
    n_days=3,
    people=(A, B),
    demand=(*wanted([0, 1, 2], skill="loader"), *wanted([0], "night", least=1)),
)
ROSTER = (
    Assignment("a", on(0), "day"),
    Assignment("b", on(0), "night"),
    Assignment("a", on(1), "day"),
    Assignment("a", on(2), "day"),
)
PUBLISHED = Solution(Status.FEASIBLE, ROSTER, score_roster(WEEK, ROSTER))


def test_the_published_roster_keeps_its_rules() -> None:
    assert check_week(WEEK, PUBLISHED).is_feasible


def test_a_swap_that_leaves_too_short_a_rest_names_it() -> None:
    swap = [Given("a", on(0), "night"), Given("b", on(0), "day")]

    verdict = check_swap(WEEK, PUBLISHED, swap)

    assert [(b.code, b.person, b.facts["measure"]) for b in verdict.broken] == [
        ("rule_broken", "a", "rest_min")
    ]
    assert verdict.broken[0].facts["counted"] == 0
    assert verdict.cost_change == 0


def test_a_swap_that_keeps_the_rules_breaks_nothing() -> None:
    swap = [Given("a", on(2), None), Given("b", on(2), "day")]

    assert check_swap(WEEK, PUBLISHED, swap).broken == ()
    assert Assignment("b", on(2), "day") in changed_roster(ROSTER, swap)


def test_giving_a_shift_away_costs_what_it_leaves_open() -> None:
    verdict = check_swap(WEEK, PUBLISHED, [Given("a", on(2), None)])

    assert verdict.broken == ()
    assert verdict.cost_change == PRICE


def test_a_swap_with_a_stranger_is_refused() -> None:
    verdict = check_swap(WEEK, PUBLISHED, [Given("z", on(2), "day")])

    assert [b.code for b in verdict.broken] == ["unknown_person"]


def test_an_absence_is_refilled_with_the_fewest_changes() -> None:
    week = replace(WEEK, people=(A, B, C))
    absences = [("a", on(2))]

    mended = refill(week, PUBLISHED, absences, change_price=1.0)

    assert check_week(refill_problem(week, PUBLISHED, absences, 1.0), mended).is_feasible
    changed = set(mended.assignments) ^ set(ROSTER)
    assert {a.on for a in changed} == {on(2)}
    assert len(changed) == 2  # one goes, one comes
    assert all(a.person != "a" or a.on != on(2) for a in mended.assignments)


def test_a_shift_stays_open_where_refilling_costs_more() -> None:
    mended = refill(WEEK, PUBLISHED, [("a", on(2))], change_price=PRICE + 1)

    assert set(ROSTER) - set(mended.assignments) == {Assignment("a", on(2), "day")}


def test_the_best_roster_of_nights_alone_has_nobody_resting_too_little() -> None:
    assert solved(replace(WEEK, kinds=(*WEEK.kinds[:1], NIGHT))).status is Status.OPTIMAL
