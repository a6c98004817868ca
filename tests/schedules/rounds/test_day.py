"""A planned day: times, windows and costs of each visit."""

from dataclasses import replace
from datetime import timedelta
from itertools import pairwise

import pytest
from hypothesis import given

from equipment.parlor.calc import RotaryParlor
from schedules.rounds.calc import (
    BedGroup,
    FeedRailLock,
    GateHeld,
    InnerGate,
    Milking,
    ParlorDay,
    SparePen,
    StraightBack,
    VisitFacts,
    WindowRules,
    time_day,
)
from tests.schedules.rounds.builders import (
    FOUR_AM,
    PARLOR,
    build_day,
    build_pen,
    few,
    in_order,
    later,
    parlor_days,
)


def test_300_cows_at_450_an_hour_are_away_for_55_minutes() -> None:
    # Reference values of the trade, worked by hand: 200 m at 55 m/min (driven cows, Massey
    # University thesis 5490) is 3.64 min; 300 cows at 450 an hour (dairyherd.com, rotary
    # parlors) 40 min; one turn 8 min: 3.64 + 40 + 8 + 3.64 = 55.3 min.
    visit = time_day(build_day(build_pen())).visits[0]
    assert visit.away.length_min == pytest.approx(55.3, abs=0.05)


def test_the_same_pen_is_empty_for_only_eleven_minutes() -> None:
    # 3.64 + 8 + 3.64 less 4 min to clear the pen = 11.3 min: cows come back one by one.
    visit = time_day(build_day(build_pen())).visits[0]
    assert visit.empty.length_min == pytest.approx(11.3, abs=0.05)


@pytest.mark.parametrize(("wait_min", "empty_min"), [(0, 11.3), (5, 16.3)])
def test_a_wait_in_the_holding_area_lengthens_the_empty_window(
    wait_min: float, empty_min: float
) -> None:
    visit = time_day(build_day(build_pen(holding_wait_min=wait_min))).visits[0]
    assert visit.empty.length_min == pytest.approx(empty_min, abs=0.05)


def test_every_time_of_a_visit_is_counted_from_the_first_cow_on() -> None:
    times = time_day(build_day(build_pen(n_cows=30))).visits[0].times
    walk = timedelta(minutes=200 / 55)
    second = timedelta(seconds=1)
    assert times.first_on_at == FOUR_AM
    assert abs(times.first_out_at - (FOUR_AM - walk)) < second
    assert times.called_at == times.first_out_at - timedelta(minutes=5)
    assert times.last_out_at == times.first_out_at + timedelta(minutes=4)
    assert times.last_on_at == FOUR_AM + timedelta(minutes=4)  # 30 x 8 s
    assert abs(times.first_back_at - (FOUR_AM + timedelta(minutes=8) + walk)) < second
    assert abs(times.last_back_at - (FOUR_AM + timedelta(minutes=12) + walk)) < second


def test_pens_follow_each_other_without_a_gap() -> None:
    first, second, third = time_day(build_day(*(build_pen(key) for key in "abc"))).visits
    assert second.times.first_on_at == first.times.last_on_at == later(FOUR_AM, 40)
    assert third.times.first_on_at == later(FOUR_AM, 80)
    assert second.times.called_at < first.times.last_on_at


def test_a_deck_takes_cows_no_faster_than_they_leave_their_pen() -> None:
    # 15 cows step on in 2 min, but the last one leaves the pen 10 min after the first.
    times = time_day(build_day(build_pen(n_cows=15, clear_min=10))).visits[0].times
    assert times.last_on_at == later(FOUR_AM, 10)


def test_the_wash_begins_when_the_last_cow_is_off_the_deck() -> None:
    milking = time_day(build_day(build_pen())).milkings[0]
    assert milking.ends_at == later(FOUR_AM, 40 + 8)
    assert milking.wash_until == later(FOUR_AM, 40 + 8 + 45)


def test_the_system_is_washed_between_withheld_milk_and_milk_for_the_tank() -> None:
    # By hand: 300 cows step on in 40 min, the last rides 8 min, the wash takes 45. Treated cows'
    # milk last or a wash before the next: AHDB milking groups.
    sick = replace(build_pen("sick"), is_withheld=True)
    pens = (build_pen("a"), sick, build_pen("b"), build_pen("c"))
    visits = time_day(build_day(*pens)).visits
    on_min = [(visit.times.first_on_at - FOUR_AM) / timedelta(minutes=1) for visit in visits]
    assert on_min == [0, 40, 80 + 8 + 45, 173]
    assert visits[2].times.first_out_at > visits[1].times.last_on_at


def test_withheld_milk_last_or_followed_by_more_needs_no_wash_of_its_own() -> None:
    sick = replace(build_pen("sick"), is_withheld=True)
    more = replace(build_pen("more"), is_withheld=True)
    usual = time_day(build_day(build_pen("a"), build_pen("b"), build_pen("c")))
    washed = time_day(build_day(build_pen("a"), sick, more))
    assert washed.milkings[0].wash_until == usual.milkings[0].wash_until


def test_a_milking_waits_for_the_wash_before_it() -> None:
    clock = time_day(build_day(build_pen(), starts=(FOUR_AM, later(FOUR_AM, 60))))
    assert clock.milkings[1].starts_at == clock.milkings[0].wash_until == later(FOUR_AM, 93)


def test_the_first_milking_waits_for_the_wash_of_the_day_before() -> None:
    day = ParlorDay(
        PARLOR, (Milking(1, FOUR_AM, (build_pen(),)),), wash_min=45, free_from=later(FOUR_AM, 7)
    )
    assert time_day(day).milkings[0].starts_at == later(FOUR_AM, 7)


def test_the_demo_day_closes_in_about_22_hours() -> None:
    # 80 stalls x 6.0 s: 600 stalls an hour x 0.98 (2 % empty) / 1.03 (3 % second turns) =
    # 570.87 cows an hour. 3,720 cows: 6.516 h a milking. 3 x 6.516 h + 3 x 45 min = 21.80 h.
    # The last cow's turn of the deck, 8 min a milking, makes it 22.20 h.
    parlor = RotaryParlor(80, 6.0, empty_frac=0.02, second_turn_frac=0.03)
    # 14 pens of 120 to 340 cows, 3,720 in all.
    n_cows = (150, 270, 270, 310, 310, 310, 310, 310, 310, 300, 300, 230, 220, 120)
    assert sum(n_cows) == 3720
    pens = tuple(build_pen(f"pen{i}", n_cows=n) for i, n in enumerate(n_cows))
    starts = (FOUR_AM, later(FOUR_AM, 8 * 60), later(FOUR_AM, 16 * 60))
    milkings = tuple(Milking(slot, start, pens) for slot, start in enumerate(starts, start=1))
    clock = time_day(ParlorDay(parlor, milkings, wash_min=45))
    lengths_h = [(m.wash_until - m.starts_at) / timedelta(hours=1) for m in clock.milkings]
    assert 3 * 3720 / parlor.cows_per_h + 3 * 0.75 == pytest.approx(21.80, abs=0.005)
    assert sum(lengths_h) == pytest.approx(22.20, abs=0.005)
    assert [m.starts_at for m in clock.milkings] == list(starts)


def test_a_gate_held_keeps_the_pen_empty_and_the_cows_away() -> None:
    bare, held = (
        time_day(build_day(build_pen(returns=returns))).visits[0]
        for returns in (None, GateHeld(20))
    )
    assert held.empty.length_min == pytest.approx(bare.empty.length_min + 20)
    assert held.away == bare.away  # the last cow comes after the gate is open
    assert all(bed.closes_at == held.empty.end_at for bed in held.beds)


def test_a_gate_held_beyond_the_last_cow_makes_the_pen_longer_away() -> None:
    bare, held = (
        time_day(build_day(build_pen(returns=returns))).visits[0]
        for returns in (None, GateHeld(50))
    )
    assert held.away.length_min == pytest.approx(bare.away.length_min + 10)


def test_a_spare_pen_keeps_the_pen_empty_but_not_its_cows_from_rest() -> None:
    bare, spare = (
        time_day(build_day(build_pen(returns=returns))).visits[0]
        for returns in (None, SparePen(home_after_min=60, move_min=5))
    )
    assert spare.away == bare.away
    assert spare.empty.length_min == pytest.approx(bare.empty.length_min + 60)
    assert spare.cost.worst_min == 5


def test_a_feed_rail_lock_keeps_the_far_row_open() -> None:
    visit = time_day(build_day(build_pen(returns=FeedRailLock(25)))).visits[0]
    near, far = visit.beds
    assert near.closes_at == visit.times.first_back_at
    assert far.closes_at == later(visit.times.first_back_at, 25)


def test_an_inner_gate_closes_row_after_row() -> None:
    rows = tuple(BedGroup(f"row{i}", 75) for i in range(4))
    pen = build_pen(returns=InnerGate(12), bed_groups=rows)
    visit = time_day(build_day(pen)).visits[0]
    assert [bed.closes_at for bed in visit.beds] == [
        later(visit.times.first_back_at, 12 * i) for i in range(4)
    ]


def test_the_price_of_a_held_gate_is_shown_with_the_visit() -> None:
    # 20 min held of a spread of 40: 5 min a cow, 25 cow-hours (see test_returns).
    cost = time_day(build_day(build_pen(returns=GateHeld(20)))).visits[0].cost
    assert cost.cow_h == pytest.approx(25, rel=0.01)


def test_facts_of_a_visit_that_is_not_there_are_refused() -> None:
    with pytest.raises(ValueError, match=r"facts of visits that it does not have: \[\(1, 'z'\)\]"):
        time_day(build_day(build_pen()), {(1, "z"): VisitFacts()})


@few
@given(parlor_days())
def test_times_of_each_planned_visit_are_in_order(day: ParlorDay) -> None:
    for visit in time_day(day).visits:
        assert in_order(visit.times)


@few
@given(parlor_days())
def test_no_two_pens_are_on_the_deck_at_once(day: ParlorDay) -> None:
    visits = time_day(day).visits
    for before, after in pairwise(visits):
        assert before.times.last_on_at <= after.times.first_on_at


@few
@given(parlor_days())
def test_outputs_are_whole_seconds(day: ParlorDay) -> None:
    for visit in time_day(day).visits:
        ends = [visit.empty.start_at, visit.empty.end_at, visit.away.start_at, visit.away.end_at]
        for bed in visit.beds:
            ends += [bed.usable.start_at, bed.usable.end_at, bed.groom.start_at, bed.closes_at]
        assert all(at.microsecond == 0 for at in ends)


def straight_back(milking: Milking) -> Milking:
    pens = tuple(replace(pen, returns=StraightBack()) for pen in milking.pens)
    return replace(milking, pens=pens)


@few
@given(parlor_days())
def test_every_row_opens_and_closes_no_sooner_than_the_bare_window(day: ParlorDay) -> None:
    bare = replace(day, milkings=tuple(straight_back(milking) for milking in day.milkings))
    for visit, bare_visit in zip(time_day(day).visits, time_day(bare).visits, strict=True):
        assert visit.empty.start_at == bare_visit.empty.start_at
        assert visit.empty.end_at >= bare_visit.empty.end_at
        for bed, bare_bed in zip(visit.beds, bare_visit.beds, strict=True):
            assert bed.opens_at == bare_bed.opens_at
            assert bed.closes_at >= bare_bed.closes_at


@few
@given(parlor_days())
def test_the_bare_window_lies_inside_the_time_away(day: ParlorDay) -> None:
    for visit in time_day(day).visits:
        assert visit.away.start_at <= visit.empty.start_at
        bare_end = max(visit.times.first_back_at, visit.times.last_out_at)
        assert bare_end <= visit.away.end_at


def test_rules_of_the_pen_shape_its_windows() -> None:
    rules = WindowRules(flush_min=5, open_min=1, close_min=1)
    pen = build_pen(returns=GateHeld(30), rules=rules)
    bed = time_day(build_day(pen)).visits[0].beds[0]
    # 11.3 bare + 30 held - 1 - 1 - 2 - 5 - 3
    assert bed.groom_min == pytest.approx(29.3, abs=0.05)
