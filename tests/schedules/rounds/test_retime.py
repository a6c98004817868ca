"""A day re-timed by what really happened."""

from dataclasses import fields, replace
from datetime import datetime, timedelta
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from schedules.rounds.calc import (
    ClockDay,
    FeedRailLock,
    GateHeld,
    ParlorDay,
    VisitFacts,
    VisitKey,
    VisitTimes,
    retime,
    time_day,
)
from tests.schedules.rounds.builders import (
    FOUR_AM,
    NAMES,
    any_facts,
    build_day,
    build_pen,
    facts_of_a_true_day,
    few,
    in_order,
    later,
    parlor_days,
)

Facts = dict[VisitKey, VisitFacts]

days_with_any_facts = parlor_days().flatmap(lambda day: st.tuples(st.just(day), any_facts(day)))
days_with_true_facts = parlor_days().flatmap(
    lambda day: st.tuples(st.just(day), facts_of_a_true_day(day))
)


def three_pens() -> ClockDay:
    return time_day(build_day(*(build_pen(key) for key in "abc")))


def times_of(clock: ClockDay, key: str) -> VisitTimes:
    return next(visit.times for visit in clock.visits if visit.pen.key == key)


def test_a_milking_started_late_moves_all_that_follows() -> None:
    plan = three_pens()
    clock = retime(plan, {(1, "a"): VisitFacts(first_on_at=later(FOUR_AM, 20))})
    for key in "abc":
        for name in NAMES:
            moved = getattr(times_of(clock, key), name) - getattr(times_of(plan, key), name)
            assert moved == timedelta(minutes=20)
    assert clock.milkings[0].wash_until == later(plan.milkings[0].wash_until, 20)


def test_a_milking_started_early_brings_all_that_follows_forward() -> None:
    clock = retime(three_pens(), {(1, "a"): VisitFacts(first_on_at=later(FOUR_AM, -10))})
    assert times_of(clock, "c").first_on_at == later(FOUR_AM, 70)


def test_a_pen_called_but_held_up_by_the_deck_waits_in_the_holding_area() -> None:
    # Pen b walked over on time; pen a took 15 min longer than planned.
    plan = three_pens()
    called_at = times_of(plan, "b").called_at
    facts = {
        (1, "a"): VisitFacts(last_on_at=later(FOUR_AM, 55)),
        (1, "b"): VisitFacts(called_at=called_at),
    }
    clock = retime(plan, facts)
    assert times_of(clock, "b").called_at == called_at
    assert times_of(clock, "b").first_out_at == times_of(plan, "b").first_out_at
    assert times_of(clock, "b").first_on_at == later(FOUR_AM, 55)
    # Pen c was not called yet, so its call is counted back from the deck.
    assert times_of(clock, "c").called_at == later(times_of(plan, "c").called_at, 15)


def test_a_planned_wait_makes_up_for_a_late_call() -> None:
    plan = time_day(build_day(build_pen("a"), build_pen("b", holding_wait_min=6)))
    late_out_at = later(times_of(plan, "b").first_out_at, 4)
    clock = retime(plan, {(1, "b"): VisitFacts(first_out_at=late_out_at)})
    assert times_of(clock, "b").first_on_at == times_of(plan, "b").first_on_at
    assert times_of(clock, "b").last_out_at == later(late_out_at, 4)


def test_cows_that_leave_late_keep_the_deck_waiting() -> None:
    plan = three_pens()
    late_out_at = later(times_of(plan, "b").first_out_at, 12)
    clock = retime(plan, {(1, "b"): VisitFacts(first_out_at=late_out_at)})
    assert times_of(clock, "b").first_on_at == later(times_of(plan, "b").first_on_at, 12)
    assert times_of(clock, "c").first_on_at == later(times_of(plan, "c").first_on_at, 12)


def test_cows_that_came_back_early_close_the_beds_at_once() -> None:
    plan = time_day(build_day(build_pen(returns=FeedRailLock(25))))
    early_at = later(plan.visits[0].times.first_back_at, -3)
    near, far = retime(plan, {(1, "a"): VisitFacts(first_back_at=early_at)}).visits[0].beds
    assert near.closes_at == early_at
    assert far.closes_at == later(early_at, 25)


def test_a_gate_opened_sooner_than_planned_closes_the_beds() -> None:
    plan = time_day(build_day(build_pen(returns=GateHeld(30))))
    opened_at = later(plan.visits[0].times.first_back_at, -18)
    visit = retime(plan, {(1, "a"): VisitFacts(first_back_at=opened_at)}).visits[0]
    assert all(bed.closes_at == opened_at for bed in visit.beds)
    assert visit.empty.end_at == opened_at


def test_first_back_alone_tells_when_the_pen_stepped_on() -> None:
    plan = three_pens()
    late_back_at = later(times_of(plan, "a").first_back_at, 9)
    clock = retime(plan, {(1, "a"): VisitFacts(first_back_at=late_back_at)})
    assert times_of(clock, "b").first_on_at == later(FOUR_AM, 49)


def test_last_back_alone_tells_when_the_pen_stepped_on() -> None:
    plan = three_pens()
    late_back_at = later(times_of(plan, "a").last_back_at, 9)
    clock = retime(plan, {(1, "a"): VisitFacts(last_back_at=late_back_at)})
    assert times_of(clock, "b").first_on_at == later(FOUR_AM, 49)


def test_a_pen_seen_early_on_the_deck_brings_the_silent_ones_before_it_forward() -> None:
    # Nobody reported a or b, but c stepped on 10 min before its time: b's cows were on by then,
    # and will be back 10 min sooner than planned.
    plan = three_pens()
    clock = retime(plan, {(1, "c"): VisitFacts(first_on_at=later(FOUR_AM, 70))})
    assert times_of(clock, "b").last_on_at == later(FOUR_AM, 70)
    assert times_of(clock, "b").first_back_at == later(times_of(plan, "b").first_back_at, -10)


def test_a_late_milking_pushes_the_next_one_behind_its_wash() -> None:
    plan = time_day(build_day(build_pen(), starts=(FOUR_AM, later(FOUR_AM, 100))))
    clock = retime(plan, {(1, "a"): VisitFacts(first_on_at=later(FOUR_AM, 30))})
    assert clock.milkings[1].starts_at == later(FOUR_AM, 30 + 93)
    assert clock.milkings[1].starts_at == clock.milkings[0].wash_until


def test_newer_facts_replace_and_complete_older_ones() -> None:
    plan = three_pens()
    out_at, on_at = times_of(plan, "a").first_out_at, later(FOUR_AM, 2)
    clock = retime(plan, {(1, "a"): VisitFacts(first_out_at=out_at, first_on_at=FOUR_AM)})
    clock = retime(clock, {(1, "a"): VisitFacts(first_on_at=on_at)})
    assert clock.facts == {(1, "a"): VisitFacts(first_out_at=out_at, first_on_at=on_at)}


@pytest.mark.parametrize(
    ("earlier", "after"),
    [
        ("called_at", "first_out_at"),
        ("first_out_at", "last_out_at"),
        ("first_out_at", "first_on_at"),
        ("last_out_at", "last_on_at"),
        ("first_on_at", "last_on_at"),
        ("first_on_at", "first_back_at"),
        ("called_at", "last_back_at"),
    ],
)
def test_facts_in_an_order_that_cannot_happen_are_refused(earlier: str, after: str) -> None:
    with pytest.raises(ValueError, match=f"{after} is given before {earlier}"):
        VisitFacts(**{earlier: later(FOUR_AM, 1), after: FOUR_AM})


def test_a_first_cow_on_the_deck_before_the_last_is_out_is_no_contradiction() -> None:
    facts = VisitFacts(first_on_at=FOUR_AM, last_out_at=later(FOUR_AM, 1))
    assert facts.last_out_at == later(FOUR_AM, 1)


def test_a_naive_fact_is_refused() -> None:
    with pytest.raises(ValueError, match="visit: called_at must be an aware instant in UTC"):
        VisitFacts(called_at=datetime(2026, 3, 3, 4))  # noqa: DTZ001 - what must be refused


@few
@given(days_with_any_facts)
def test_without_new_facts_nothing_changes(day_and_facts: tuple[ParlorDay, Facts]) -> None:
    day, facts = day_and_facts
    plan, clock = time_day(day), time_day(day, facts)
    assert retime(plan, {}) == plan
    assert retime(clock, {}) == clock


@few
@given(days_with_any_facts)
def test_facts_given_twice_or_one_by_one_lead_to_the_same_day(
    day_and_facts: tuple[ParlorDay, Facts],
) -> None:
    day, facts = day_and_facts
    at_once = retime(time_day(day), facts)
    step_by_step = time_day(day)
    for key, fact in reversed(facts.items()):
        step_by_step = retime(step_by_step, {key: fact})
    assert retime(at_once, facts) == at_once
    assert step_by_step == at_once


@few
@given(days_with_any_facts)
def test_what_is_known_is_kept_and_the_rest_put_in_order(
    day_and_facts: tuple[ParlorDay, Facts],
) -> None:
    day, facts = day_and_facts
    for visit in time_day(day, facts).visits:
        assert in_order(visit.times)
        for name in NAMES:
            known = getattr(facts[visit.key], name)
            assert known is None or getattr(visit.times, name) == known


@few
@given(parlor_days())
def test_the_plan_reported_as_fact_changes_no_time(day: ParlorDay) -> None:
    plan = time_day(day)
    facts = {
        visit.key: VisitFacts(**{name: getattr(visit.times, name) for name in NAMES})
        for visit in plan.visits
    }
    assert [visit.times for visit in retime(plan, facts).visits] == [v.times for v in plan.visits]


@few
@given(days_with_true_facts)
def test_any_times_of_a_day_that_happened_leave_all_times_in_order(
    day_and_facts: tuple[ParlorDay, Facts],
) -> None:
    day, facts = day_and_facts
    visits = time_day(day, facts).visits
    assert all(in_order(visit.times) for visit in visits)
    for before, after in pairwise(visits):
        assert before.times.last_on_at <= after.times.first_on_at


@few
@given(days_with_any_facts, st.integers(1, 120))
def test_a_later_start_never_gives_an_earlier_time(
    day_and_facts: tuple[ParlorDay, Facts], late_min: int
) -> None:
    day, facts = day_and_facts
    first, *others = day.milkings
    # The first milking only, and not behind the second, so that the day stays in order.
    starts_at = min(later(first.starts_at, late_min), later(others[0].starts_at, -1))
    late = replace(day, milkings=(replace(first, starts_at=starts_at), *others))
    assert_none_earlier(time_day(day, facts), time_day(late, facts))


@few
@given(days_with_any_facts, st.data())
def test_a_later_fact_never_gives_an_earlier_time(
    day_and_facts: tuple[ParlorDay, Facts], data: st.DataObject
) -> None:
    day, facts = day_and_facts
    key = data.draw(st.sampled_from(sorted(facts)))
    late = timedelta(minutes=data.draw(st.integers(1, 120)))
    later_facts = {**facts, key: moved(facts[key], late)}
    assert_none_earlier(time_day(day, facts), time_day(day, later_facts))


@few
@given(days_with_any_facts, st.integers(-100, 100))
def test_a_day_moved_as_a_whole_moves_as_a_whole(
    day_and_facts: tuple[ParlorDay, Facts], minutes: int
) -> None:
    day, facts = day_and_facts
    by = timedelta(minutes=minutes)
    milkings = tuple(replace(m, starts_at=m.starts_at + by) for m in day.milkings)
    moved_facts = {key: moved(fact, by) for key, fact in facts.items()}
    clock = time_day(replace(day, milkings=milkings), moved_facts)
    for visit, moved_visit in zip(time_day(day, facts).visits, clock.visits, strict=True):
        for name in NAMES:
            assert getattr(moved_visit.times, name) == getattr(visit.times, name) + by


def moved(facts: VisitFacts, by: timedelta) -> VisitFacts:
    at = {field.name: getattr(facts, field.name) for field in fields(facts)}
    return VisitFacts(**{name: time + by for name, time in at.items() if time is not None})


def assert_none_earlier(before: ClockDay, after: ClockDay) -> None:
    for visit, later_visit in zip(before.visits, after.visits, strict=True):
        for name in NAMES:
            assert getattr(later_visit.times, name) >= getattr(visit.times, name)
        for bed, later_bed in zip(visit.beds, later_visit.beds, strict=True):
            assert later_bed.closes_at >= bed.closes_at
