"""What done work teaches of a standing order: which jobs count, of what machine, never of whom."""

from __future__ import annotations

from datetime import timedelta
from math import log
from statistics import fmean
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from equipment.machines.figures import output_of, practice_of
from equipment.machines.models import Machine, MachineKind
from equipment.site.errors import NotFoundError, StaleError
from equipment.site.models import Actor, Change, Place, Site
from schedules.errors import NothingLearnedError
from schedules.sand.ledger import Amount, account, move
from schedules.sand.models import AccountKind, Stage
from schedules.work.calc.content import MACHINE_PRIOR, learn
from schedules.work.edit import take_over_content
from schedules.work.models import Outcome, Report, StandingOrder, Status, Trigger, WorkOrder
from schedules.work.produce import materialise
from schedules.work.work_content import (
    LEAST_JOBS,
    RECORD,
    OrderContent,
    WhyNot,
    content_of,
    rounded,
    work_content,
)
from tests.factories import (
    make_alley,
    make_batch,
    make_bay,
    make_bed_group,
    make_machine,
    make_milking,
    make_parlor,
    make_pen,
    make_site,
    make_standing_order,
    make_visit,
    make_work_order,
)

from .verbs import T0

pytestmark = pytest.mark.django_db

MINUTE = timedelta(minutes=1)
NOW = T0 + timedelta(days=7)


@pytest.fixture
def beds(site: Site) -> Place:
    return make_bed_group(make_pen(site)).place


@pytest.fixture
def groom(site: Site) -> StandingOrder:
    return make_standing_order(site, duration={"base_min": 2, "per_stall_min": 0.3}, n_people=2)


def _job(order: StandingOrder, place: Place, minutes: float, **facts: Any) -> WorkOrder:
    """One done job of 96 stalls and two people that took so long."""
    n = WorkOrder.objects.filter(standing_order=order).count()
    machine = facts.pop("machine", None)
    usual = {
        "standing_order": order,
        "place": place,
        "amount": "stalls:96",
        "n_people": 2,
        "status": Status.COMPLETED,
        "outcome": Outcome.DONE,
        "started_at": T0,
        "ended_at": T0 + minutes * MINUTE,
    }
    made = make_work_order(order.site, f"{order.key}/{n}", **{**usual, **facts})
    if machine is not None:
        by = Actor.objects.filter(site=order.site).earliest("pk")
        Report.objects.create(
            site=order.site, work_order=made, kind="started", at=T0, by=by, machine=machine
        )
    return made


def _content(order: StandingOrder) -> OrderContent:
    found = content_of(order.site_id, order.pk, NOW)
    assert found is not None
    return found


def test_minutes_a_stall_come_from_start_end_people_and_stalls(
    groom: StandingOrder, beds: Place
) -> None:
    """26 minutes, 2 of them to set up, two people, 96 stalls: 24 x 2 / 96 = 0.5 a stall."""
    for _n in range(5):
        _job(groom, beds, 26)

    found = _content(groom)

    assert (found.key, found.n_jobs) == ("per_stall_min", 5)
    assert found.learned == learn([0.5] * 5, 0.3)
    # variance (5 · 0.09 + 0) / 9 = 0.05; precisions 5 / 0.05 = 100 and 1 / 0.38² = 6.93
    assert found.learned.weight_frac == pytest.approx(100 / 106.925, abs=1e-5)
    assert found.learned.value == pytest.approx(0.4837, abs=5e-5)


def test_part_done_work_counts_the_stalls_it_did(groom: StandingOrder, beds: Place) -> None:
    for _n in range(5):
        _job(groom, beds, 14, outcome=Outcome.PART, n_left=48)

    assert _content(groom).learned == learn([0.5] * 5, 0.3)


@pytest.mark.parametrize(
    "facts",
    [
        {"started_at": None},
        {"ended_at": T0 + timedelta(seconds=20)},
        {"needs_decision": "reports_differ"},
        {"status": Status.CANCELLED, "outcome": Outcome.COULD_NOT},
        {"started_at": NOW - RECORD - 60 * MINUTE, "ended_at": NOW - RECORD - 20 * MINUTE},
        {"amount": ""},
        {"outcome": Outcome.PART, "n_left": 96},
    ],
)
def test_a_job_that_does_not_tell_its_time_does_not_count(
    groom: StandingOrder, beds: Place, facts: dict[str, Any]
) -> None:
    for _n in range(5):
        _job(groom, beds, 26)
    _job(groom, beds, 40, **facts)

    assert _content(groom).n_jobs == 5


def test_of_many_jobs_some_from_all_of_the_record_count(groom: StandingOrder, beds: Place) -> None:
    """400 jobs, each a minute longer than the one before: a hundred by lot have their middle.

    By chance alone the mean of a hundred strays by a tenth of their standard deviation, here 0.05
    on the logarithm: three times that is allowed.
    """
    WorkOrder.objects.bulk_create(
        WorkOrder(
            site=groom.site,
            natural_key=f"many/{n}",
            standing_order=groom,
            title={},
            amount="stalls:96",
            place=beds,
            local_date=T0.date(),
            starts_after=T0,
            due_at=NOW,
            duration_min=20,
            n_people=1,
            status=Status.COMPLETED,
            outcome=Outcome.DONE,
            started_at=T0,
            ended_at=T0 + (98 + n) * MINUTE,
            updated_at=T0,
        )
        for n in range(400)
    )

    found = _content(groom)

    assert found.n_jobs == 100
    assert found.learned is not None
    logs = [log((96 + n) / 96) for n in range(400)]
    assert log(found.learned.value) == pytest.approx(fmean(logs), abs=0.15)


def test_few_jobs_show_nothing(groom: StandingOrder, beds: Place) -> None:
    for _n in range(LEAST_JOBS - 1):
        _job(groom, beds, 26)

    found = _content(groom)

    assert (found.learned, found.why_not, found.n_jobs) == (None, WhyNot.FEW_JOBS, 4)


def test_jobs_over_before_the_base_are_left_out_and_counted(
    groom: StandingOrder, beds: Place
) -> None:
    for minutes in (26, 26, 26, 26, 26, 26, 1.5, 2):
        _job(groom, beds, minutes)

    found = _content(groom)
    assert (found.n_jobs, found.n_left_out) == (6, 2)

    for _n in range(4):
        _job(groom, beds, 1.5)
    assert _content(groom).why_not == WhyNot.BASE_TOO_LONG


def test_minutes_each_time_where_the_order_has_no_rate(site: Site, beds: Place) -> None:
    """The base is not shared: two people for 12 minutes are 12 minutes."""
    hose = make_standing_order(site, "hose", duration={"base_min": 8}, n_people=2)
    for _n in range(5):
        _job(hose, beds, 12)

    found = _content(hose)

    assert found.key == "base_min"
    assert found.learned == learn([12.0] * 5, 8)


def test_metres_of_an_alley_and_square_metres_of_a_bay(site: Site) -> None:
    alley, bay = make_alley(site, length_m=120), make_bay(site, area_m2=400)
    scrape = make_standing_order(site, "scrape", duration={"base_min": 3, "per_m_min": 0.02})
    turn = make_standing_order(site, "turn", duration={"base_min": 5, "per_m2_min": 0.1})
    for _n in range(5):
        _job(scrape, alley.place, 9, amount="", n_people=1)
        _job(turn, bay.place, 65, amount="", n_people=1)

    assert _content(scrape).learned == learn([6 / 120] * 5, 0.02)
    assert _content(turn).learned == learn([60 / 400] * 5, 0.1)


def test_cows_are_those_of_the_visit(site: Site) -> None:
    pen = make_pen(site)
    visit = make_visit(make_milking(make_parlor(site), T0), pen, first_out_at=T0)
    watch = make_standing_order(site, "watch", duration={"per_cow_min": 0.05})
    for _n in range(5):
        _job(watch, pen.place, 18, visit=visit, amount="", n_people=1)
    pen.n_cows = 7
    pen.save()

    assert _content(watch).learned == learn([18 / 300] * 5, 0.05)


def test_tons_are_what_the_lanes_gave_to_the_batch(site: Site, ana: Actor, beds: Place) -> None:
    """A batch of a lane moves whole: 40 t in 48 minutes, 20 to set up, are 0.7 a ton."""
    batch = make_batch(site, Stage.DRAINING, at=T0)
    move(
        batch=batch,
        source=account(site.pk, AccountKind.LANE),
        target=account(site.pk, AccountKind.PLACE, batch.place),
        amount=Amount.exactly(40_000),
        by=ana,
        at=T0,
    )
    spread = make_standing_order(site, "spread", duration={"base_min": 20, "per_t_min": 0.5})
    for _n in range(5):
        _job(spread, beds, 48, batch=batch, amount="", n_people=1)
        _job(spread, beds, 48, amount="", n_people=1)  # of no batch

    found = _content(spread)

    assert found.n_jobs == 5
    assert found.learned == learn([0.7] * 5, 0.5)


@pytest.mark.parametrize(
    ("facts", "why"),
    [
        (
            {"trigger": Trigger.METER, "duration": {"from_service_item": True}},
            WhyNot.FROM_SERVICE,
        ),
        ({"rule": {"within": "gate", "length_min": 20}}, WhyNot.GIVEN_TIME),
        ({"trigger": Trigger.CALENDAR, "rule": {"during": "flush"}}, WhyNot.GIVEN_TIME),
        ({"duration": {"per_stall_min": 0.2, "per_cow_min": 0.1}}, WhyNot.SEVERAL_RATES),
        ({"duration": {"base_min": 0}}, WhyNot.NO_DEFAULT),
    ],
)
def test_what_a_record_cannot_teach_says_why(
    site: Site, facts: dict[str, Any], why: WhyNot
) -> None:
    order = make_standing_order(site, "other", **facts)

    found = _content(order)

    assert (found.key, found.learned, found.why_not) == ("", None, why)


def test_each_machine_is_drawn_to_what_all_take(
    site: Site, ana: Actor, groom: StandingOrder, beds: Place
) -> None:
    quick, slow = (make_machine(site, key, kind=MachineKind.GROOMER) for key in ("m-1", "m-2"))
    for _n in range(6):
        _job(groom, beds, 14, machine=quick)
        _job(groom, beds, 26, machine=slow)
    _job(groom, beds, 26, machine=make_machine(site, "m-3", kind=MachineKind.GROOMER))

    found = _content(groom)

    assert found.learned is not None
    by_machine = {each.machine: each.learned for each in found.machines}
    assert by_machine == {
        quick: learn([0.25] * 6, found.learned.value, MACHINE_PRIOR),
        slow: learn([0.5] * 6, found.learned.value, MACHINE_PRIOR),
    }


# Loads an hour ------------------------------------------------------------------------------------


@pytest.fixture
def haul(site: Site) -> StandingOrder:
    return make_standing_order(site, "haul", duration={"base_min": 15})


def _hauled(haul: StandingOrder, place: Place, machine: Machine, every_min: float) -> WorkOrder:
    """One job of five loads, each so many minutes after the one before."""
    job = _job(haul, place, 60, amount="", loads=5)
    by = Actor.objects.filter(site=haul.site).earliest("pk")
    for n in range(5):
        Report.objects.create(
            site=haul.site,
            work_order=job,
            kind="load",
            at=T0 + (5 + n * every_min) * MINUTE,
            by=by,
            machine=machine,
        )
    return job


def test_loads_an_hour_are_drawn_to_what_the_loader_should_do(
    site: Site, ana: Actor, haul: StandingOrder, beds: Place
) -> None:
    loader = make_machine(site, "loader-9", kind=MachineKind.LOADER, bucket_m3=3)
    reckoned = output_of(loader, practice_of(site.pk))
    for _n in range(5):
        _hauled(haul, beds, loader, 3)

    [found] = work_content(site.pk, NOW).loads

    assert reckoned is not None
    assert found.is_reckoned
    assert (found.order, found.machine) == (haul, loader)
    assert found.learned == learn([20.0] * 5, reckoned.loads_h)


def test_loads_an_hour_of_a_truck_are_drawn_to_its_kind(
    site: Site, ana: Actor, haul: StandingOrder, beds: Place
) -> None:
    """A quick and a slow truck, 20 and 5 loads an hour: the kind's mean is 10 = √(20 · 5)."""
    quick, slow = (make_machine(site, key, kind=MachineKind.TRUCK) for key in ("t-1", "t-2"))
    for _n in range(5):
        _hauled(haul, beds, quick, 3)
        _hauled(haul, beds, slow, 12)

    found = {each.machine: each for each in work_content(site.pk, NOW).loads}

    assert found[quick].learned.default == pytest.approx(10)
    assert found[quick].learned == learn([20.0] * 5, found[quick].learned.default)
    assert found[slow].learned == learn([5.0] * 5, found[slow].learned.default)
    assert not found[quick].is_reckoned


def test_loads_told_at_once_or_taken_back_say_nothing(
    site: Site, ana: Actor, haul: StandingOrder, beds: Place
) -> None:
    loader = make_machine(site, "loader-9", kind=MachineKind.LOADER, bucket_m3=3)
    for _n in range(4):
        _hauled(haul, beds, loader, 3)
    _hauled(haul, beds, loader, 0.01)
    job = _hauled(haul, beds, loader, 3)
    WorkOrder.objects.filter(pk=job.pk).update(loads=4)

    assert work_content(site.pk, NOW).loads == ()


# Who ----------------------------------------------------------------------------------------------


def test_no_query_reads_who_did_it(
    site: Site, ana: Actor, groom: StandingOrder, haul: StandingOrder, beds: Place
) -> None:
    """Neither a worker nor an actor nor an account is in any column that is read."""
    loader = make_machine(site, "loader-9", kind=MachineKind.LOADER, bucket_m3=3)
    for _n in range(5):
        _job(groom, beds, 26, machine=loader, started_by=ana, ended_by=ana)
        _hauled(haul, beds, loader, 3)

    with CaptureQueriesContext(connection) as queries:
        found = work_content(site.pk, NOW)

    assert found.orders[0].learned is not None
    assert found.loads
    assert len(queries) == 8
    for query in queries:
        for word in ("by_id", "worker", "actor", "user", "crew", "device", "event"):
            assert word not in query["sql"].lower(), query["sql"]


def test_two_people_who_swap_change_nothing(
    site: Site, ana: Actor, ben: Actor, groom: StandingOrder, beds: Place
) -> None:
    for _n in range(6):
        _job(groom, beds, 26, started_by=ana, ended_by=ben)
    before = _content(groom).learned

    WorkOrder.objects.update(started_by=ben, ended_by=ana)

    assert _content(groom).learned == before


def test_queries_are_as_many_for_much_as_for_nothing(
    site: Site, django_assert_num_queries: Any
) -> None:
    with django_assert_num_queries(8):
        assert work_content(site.pk, NOW).orders == ()
    beds = make_bed_group(make_pen(site)).place
    for name in ("a", "b", "c"):
        order = make_standing_order(site, name, duration={"per_stall_min": 0.3})
        for _n in range(6):
            _job(order, beds, 26)
    with django_assert_num_queries(8):
        assert len(work_content(site.pk, NOW).orders) == 3


def test_another_sites_work_teaches_nothing(groom: StandingOrder, beds: Place) -> None:
    for _n in range(6):
        _job(groom, beds, 26)
    other = make_standing_order(make_site("other"), duration=groom.duration)

    assert _content(other).n_jobs == 0


# Taking it over -----------------------------------------------------------------------------------


def _take_over(order: StandingOrder, by: Actor, **facts: Any) -> StandingOrder:
    who = {"site_id": order.site_id, "standing_order_id": order.pk, "by": by, "at": NOW}
    return take_over_content(**{**who, **facts})[0]


def test_taking_over_writes_the_number_and_nothing_else(
    groom: StandingOrder, beds: Place, ana: Actor
) -> None:
    for _n in range(5):
        _job(groom, beds, 26)

    order = _take_over(groom, ana, version=1)

    assert order.duration == {"base_min": 2, "per_stall_min": 0.484}
    assert (order.version, order.n_people) == (2, 2)
    change = Change.objects.get(topic="standing_order.edited")
    assert change.detail == {"fields": ["duration"], "by": "Ana"}


def test_coming_work_is_made_anew_by_it(site: Site, beds: Place, ana: Actor) -> None:
    daily = make_standing_order(site, "daily", trigger=Trigger.CALENDAR)
    for _n in range(10):
        _job(daily, beds, 20)
    materialise(site_id=site.pk, now=NOW)
    coming = WorkOrder.objects.filter(standing_order=daily, status=Status.NEEDS_ACTION)
    assert {work.duration_min for work in coming} == {5.0}

    _take_over(daily, ana)

    assert {work.duration_min for work in coming.all()} == {rounded(learn([20.0] * 10, 5).value)}


def test_too_little_work_is_refused(groom: StandingOrder, ana: Actor) -> None:
    with pytest.raises(NothingLearnedError, match="Too little work"):
        _take_over(groom, ana)
    groom.refresh_from_db()
    assert groom.version == 1


def test_one_that_changed_meanwhile_is_refused(
    groom: StandingOrder, beds: Place, ana: Actor
) -> None:
    for _n in range(5):
        _job(groom, beds, 26)
    with pytest.raises(StaleError):
        _take_over(groom, ana, version=7)


def test_another_sites_order_is_not_found(groom: StandingOrder, ana: Actor) -> None:
    with pytest.raises(NotFoundError):
        _take_over(groom, ana, site_id=make_site("other").pk)
