"""What records say of the parlor; an order of pens that is offered and taken over."""

from datetime import date, timedelta

import pytest

from equipment.barns.models import Pen
from equipment.parlor.models import Parlor
from equipment.site.errors import InvalidInputError
from equipment.site.models import Site
from schedules.rounds.models import Milking, MilkingState, PenVisit
from schedules.rounds.parlor_reads import (
    holding_day,
    not_ended,
    order_proposal,
    recorded_pace,
    times_away,
)
from schedules.rounds.queries import ParlorDayView, view_day
from schedules.rounds.services import plan_milkings, set_milking_order
from tests.factories import make_parlor, make_pen, make_site, utc

pytestmark = pytest.mark.django_db

MONDAY = date(2026, 6, 1)
SUNDAY_NOON = utc("2026-05-31 18:00")
COWS = (200, 260, 300, 220, 340, 280, 240, 310)


@pytest.fixture
def site() -> Site:
    site = make_site()
    make_parlor(site, starts_local=("05:00", "13:00"))
    for n, n_cows in enumerate(COWS, start=1):
        make_pen(site, str(n), n_cows=n_cows)
    plan_milkings(
        site_id=site.pk, from_on=MONDAY, until_on=MONDAY + timedelta(days=1), at=SUNDAY_NOON
    )
    return site


def the_day(site: Site) -> ParlorDayView:
    view = view_day(site.pk, MONDAY)
    assert view is not None
    return view


def visits(slot: int = 1) -> list[PenVisit]:
    found = PenVisit.objects.filter(milking__local_date=MONDAY, milking__slot=slot)
    return list(found.order_by("position"))


def test_recorded_pace_is_that_of_the_records(site: Site) -> None:
    # Each pen steps on at 6.6 s a cow, by hand; of the last pen nothing follows.
    at = utc("2026-06-01 11:00")
    for visit in visits():
        visit.actual = {"first_on": at.isoformat()}
        visit.save()
        at += timedelta(seconds=6.6 * visit.n_cows)
    fit = recorded_pace(site.pk, utc("2026-06-02 00:00"))
    assert fit is not None
    assert fit.n == len(COWS) - 1
    assert fit.s_per_cow == pytest.approx(6.6, abs=0.01)


def test_a_wash_between_two_pens_is_no_time_of_the_first(site: Site) -> None:
    Pen.objects.filter(place__key="pen-4").update(is_milk_withheld=True)
    at = utc("2026-06-01 11:00")
    for n, visit in enumerate(visits(), start=1):
        visit.actual = {"first_on": at.isoformat()}
        visit.save()
        at += timedelta(seconds=6.6 * visit.n_cows, minutes=53 if n == 4 else 0)
    fit = recorded_pace(site.pk, utc("2026-06-02 00:00"))
    assert fit is not None
    assert fit.n == len(COWS) - 2
    assert fit.spread_s == pytest.approx(0, abs=0.1)


def test_without_records_no_pace_is_told(site: Site) -> None:
    assert recorded_pace(site.pk, utc("2026-06-02 00:00")) is None


def test_a_pen_with_withheld_milk_is_proposed_last(site: Site) -> None:
    Pen.objects.filter(place__key="pen-1").update(contagion_class=3, is_milk_withheld=True)
    proposal = order_proposal(the_day(site))
    assert proposal is not None
    assert not proposal.is_own_allowed
    sick = Pen.objects.get(place__key="pen-1")
    assert proposal.best.keys[-1] == str(sick.pk)


def test_an_order_needs_the_time_that_the_clock_gives_it(site: Site) -> None:
    # The clock and the price of an order agree on the wash behind a pen of withheld milk.
    Pen.objects.filter(place__key="pen-4").update(is_milk_withheld=True)
    plan_milkings(
        site_id=site.pk, from_on=MONDAY, until_on=MONDAY + timedelta(days=1), at=SUNDAY_NOON
    )
    proposal = order_proposal(the_day(site))
    assert proposal is not None
    assert proposal.own.n_washes == 1
    milking = visits()[0].milking
    ridden = timedelta(seconds=80 * 6)
    on_deck = milking.ends_at - ridden - milking.starts_at
    assert proposal.own.needed_s == on_deck.total_seconds()
    assert proposal.own.needed_s == sum(COWS) * 6 + 80 * 6 + 45 * 60


def test_a_taken_order_is_the_next_milkings_order(site: Site) -> None:
    order = [visit.pen_id for visit in reversed(visits())]
    set_milking_order(site_id=site.pk, pen_ids=order, at=SUNDAY_NOON)
    assert [visit.pen_id for visit in visits()] == order


def test_an_order_of_other_pens_is_refused(site: Site) -> None:
    order = [visit.pen_id for visit in visits()]
    for wrong in (order[1:], [*order, order[0]]):
        with pytest.raises(InvalidInputError):
            set_milking_order(site_id=site.pk, pen_ids=wrong, at=SUNDAY_NOON)


def test_a_milking_that_nobody_ended_is_asked_about(site: Site) -> None:
    milking = Milking.objects.get(local_date=MONDAY, slot=1)
    later = milking.wash_until + timedelta(minutes=1)
    assert not_ended(site.pk, later) == []
    milking.state = MilkingState.STARTED
    milking.save()
    assert not_ended(site.pk, milking.wash_until) == []
    assert not_ended(site.pk, later) == [milking]


def test_the_holding_area_holds_what_came_less_what_was_taken(site: Site) -> None:
    # By hand, with 10 cows a minute on the deck and 4 min in which a pen leaves: of 340 cows 40
    # are on when the last comes in, the most of the day; in 560 m2 each has 1.87 m2. Handbooks
    # want 15 to 20 square feet, 1.4 to 1.9 m2 (Dairyland Initiative).
    Parlor.objects.update(holding_area_m2=560, holding_m2_cow=1.6)
    day = holding_day(the_day(site))
    peaks = [pen.peak_cows for pen in day.pens if pen.slot == 1]
    assert peaks == pytest.approx([n - 40 for n in COWS], abs=1)
    worst = max(day.pens, key=lambda pen: pen.peak_cows)
    assert worst.m2_cow == pytest.approx(560 / 300, abs=0.01)
    assert not any(pen.is_over for pen in day.pens)
    assert day.load[0][1] == day.load[-1][1] == 0
    assert day.room_for == 350


def test_pens_that_overfill_the_holding_area_are_named(site: Site) -> None:
    Parlor.objects.update(holding_area_m2=420, holding_m2_cow=1.6)  # room for 262
    over = {pen.pen_id for pen in holding_day(the_day(site)).pens if pen.is_over}
    large = [visit.pen_id for visit in visits() if visit.n_cows - 40 > 262]
    assert over == set(large)
    assert len(large) == 2


def test_a_pen_that_was_called_early_waits_beside_the_one_before(site: Site) -> None:
    first, second = visits()[:2]
    second.actual = {"first_out": (first.first_out_at + timedelta(minutes=6)).isoformat()}
    second.save()
    # By hand: when its last cow comes, 10 min after the first pen's first, half of the 200 are on.
    assert holding_day(the_day(site)).pens[1].peak_cows == pytest.approx(100 + 260, abs=1)


def test_without_its_area_nothing_is_too_full(site: Site) -> None:
    day = holding_day(the_day(site))
    assert (day.area_m2, day.room_for) == (None, None)
    assert {(pen.m2_cow, pen.is_over) for pen in day.pens} == {(None, False)}


def test_time_away_is_summed_over_the_day(site: Site) -> None:
    # By hand: 200 m at 55 m/min twice, 8 min on the deck, 6 s a cow; twice a day.
    parlor = Parlor.objects.get()
    [small, *_rest] = times_away([*visits(1), *visits(2)], parlor)
    each_min = 2 * 200 / 55 + 8 + 200 * 6 / 60
    assert (small.n_visits, small.is_over, small.is_day_over) == (2, False, False)
    assert small.day_min == pytest.approx(2 * each_min, abs=0.1)
    assert small.longest_min == pytest.approx(each_min, abs=0.1)
    parlor.away_day_limit_min = 60
    assert times_away([*visits(1), *visits(2)], parlor)[0].is_day_over
