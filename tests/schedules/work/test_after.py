"""Work that follows other work."""

from datetime import timedelta

import pytest

from equipment.site.models import PlaceKind, Site
from schedules.work.models import (
    Dependency,
    Outcome,
    StandingOrder,
    Trigger,
    WorkOrder,
)
from schedules.work.reconcile import Counts
from tests.factories import (
    make_pen,
    make_place,
    make_standing_order,
    utc,
)

from .passes import NOW, close_order, keys, run_at

pytestmark = pytest.mark.django_db


@pytest.fixture
def chain(site: Site) -> StandingOrder:
    """A check at 06:00 to 10:00, and a wash 15 minutes after it, within half an hour."""
    make_pen(site)
    make_standing_order(site, "check", trigger=Trigger.CALENDAR, duration={"base_min": 30})
    return make_standing_order(
        site,
        "wash",
        trigger=Trigger.AFTER,
        rule={
            "standing_order": "check",
            "relation": "FINISHTOSTART",
            "gap_min": 15,
            "window_min": 30,
        },
    )


def _pair() -> tuple[WorkOrder, WorkOrder]:
    check = WorkOrder.objects.get(natural_key="check/pen-1/2026-03-04/0")
    return check, WorkOrder.objects.get(natural_key="wash/pen-1/2026-03-04/0")


def test_work_follows_other_work_at_the_same_place(site: Site, chain: StandingOrder) -> None:
    assert run_at(site, days=1) == Counts(n_made=2)
    check, wash = _pair()
    assert wash.starts_after == check.starts_after + timedelta(minutes=45)
    assert wash.due_at == check.due_at + timedelta(minutes=45)
    need = Dependency.objects.get()
    assert (need.work_order, need.on, need.gap_min) == (wash, check, 15)
    assert run_at(site, days=1) == Counts()


def test_it_is_timed_by_what_happened_once_that_is_known(site: Site, chain: StandingOrder) -> None:
    run_at(site, days=1)
    check, wash = _pair()
    close_order(check, utc("2026-03-04 13:40"))
    assert run_at(site, utc("2026-03-04 13:41"), days=0) == Counts(n_moved=1)
    wash.refresh_from_db()
    assert wash.starts_after == utc("2026-03-04 13:55")
    assert wash.due_at == utc("2026-03-04 14:25")


@pytest.mark.parametrize("outcome", [Outcome.MISSED, Outcome.COULD_NOT, Outcome.NOT_NEEDED])
def test_it_goes_when_what_it_follows_is_not_done(
    site: Site, chain: StandingOrder, outcome: Outcome
) -> None:
    run_at(site, days=1)
    check, wash = _pair()
    close_order(check, NOW, outcome)
    assert run_at(site, days=1) == Counts(n_cancelled=1)
    wash.refresh_from_db()
    assert wash.reason == "leader_gone"


def test_a_chain_of_three_is_made_in_one_pass(site: Site, chain: StandingOrder) -> None:
    make_standing_order(
        site,
        "dry",
        trigger=Trigger.AFTER,
        rule={"standing_order": "wash", "relation": "STARTTOSTART", "window_min": 20},
    )
    assert run_at(site, days=1) == Counts(n_made=3)
    assert Dependency.objects.count() == 2


def test_a_changed_gap_changes_the_dependency(site: Site, chain: StandingOrder) -> None:
    run_at(site, days=1)
    chain.trigger_rule = {**chain.trigger_rule, "gap_min": 20, "gap_max_min": 60}
    chain.save()
    run_at(site, days=1)
    need = Dependency.objects.get()
    assert (need.gap_min, need.gap_max_min) == (20, 60)


def test_a_narrow_pass_makes_what_follows_too(site: Site, chain: StandingOrder) -> None:
    assert run_at(site, days=1, triggers=[Trigger.CALENDAR]) == Counts(n_made=2)
    assert run_at(site, days=1, triggers=[Trigger.METER]) == Counts()
    assert run_at(site, days=1, standing_order_ids=[chain.pk]) == Counts()


def test_follower_keys_of_very_long_names_stay_apart(site: Site) -> None:
    long = "x" * 58
    make_place(site, f"{long}-p", PlaceKind.PEN)
    make_place(site, f"{long}-q", PlaceKind.PEN)
    make_standing_order(site, f"{long}-a", trigger=Trigger.CALENDAR)
    rule = {"standing_order": f"{long}-a", "relation": "FINISHTOSTART", "window_min": 20}
    make_standing_order(site, f"{long}-b", trigger=Trigger.AFTER, rule=rule)
    assert run_at(site, days=1) == Counts(n_made=4)
    assert max(len(key) for key in keys()) <= 160
