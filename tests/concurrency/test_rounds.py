"""Two plannings, or a planning and a report, at the same moment; and what the guards are for."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import date, timedelta
from threading import Barrier, Event
from typing import Any

import pytest
from django.db import IntegrityError, connection

from equipment.barns.models import Pen
from equipment.flushing.models import FlushRun
from equipment.flushing.services import FlushCounts
from equipment.site.models import Site
from schedules.rounds.models import BedWindow, Milking, MilkingState, PenVisit
from schedules.rounds.services import planning, reports
from schedules.rounds.services.timetable import write_timetable
from tests.factories import (
    make_actor,
    make_alley,
    make_bed_group,
    make_flush_timer,
    make_parlor,
    make_pen,
    make_site,
    make_tank,
    utc,
)

from .threads import somebody_waits_for_a_lock

pytestmark = pytest.mark.django_db(transaction=True)

MONDAY = date(2026, 6, 1)
BEFORE = utc("2026-05-31 12:00")
FIVE = utc("2026-06-01 11:00")  # 05:00 in Denver
PATIENCE_S = 20


@pytest.fixture
def site() -> Site:
    site = make_site()
    make_parlor(site, starts_local=("05:00", "13:00"))
    tank = make_tank(site)
    for key in ("1", "2"):
        pen = make_pen(site, key)
        alley = make_alley(site, f"alley-{key}", pen=pen)
        make_bed_group(pen, alley=alley)
        make_flush_timer(alley, tank)
    return site


def plan(site: Site) -> planning.PlanCounts:
    return planning.plan_milkings(
        site_id=site.pk, from_on=MONDAY, until_on=MONDAY + timedelta(days=2), at=BEFORE
    )


def at_once(*works: Callable[[], Any]) -> list[Any]:
    """Run each in a thread of its own; give results, or the error where one was raised."""

    def run(work: Callable[[], Any]) -> Any:
        try:
            return work()
        except IntegrityError as error:
            return error
        finally:
            connection.close()

    with ThreadPoolExecutor(len(works)) as pool:
        return list(pool.map(run, works))


def meet_before_writing(monkeypatch: pytest.MonkeyPatch, barrier: Barrier) -> None:
    """Let both plannings read before either writes."""

    def wait_then_write(*args: Any) -> Any:
        barrier.wait(PATIENCE_S)
        return write_timetable(*args)

    monkeypatch.setattr(planning, "write_timetable", wait_then_write)


def counts() -> list[int]:
    return [m._default_manager.count() for m in (Milking, PenVisit, BedWindow, FlushRun)]


def test_two_plannings_of_the_same_days_make_each_row_once(site: Site) -> None:
    barrier = Barrier(2)

    def meet_then_plan() -> planning.PlanCounts:
        barrier.wait(PATIENCE_S)
        return plan(site)

    results = at_once(meet_then_plan, meet_then_plan)
    assert sorted(r.timetable.n_milkings_made for r in results) == [0, 4]
    assert counts() == [4, 8, 8, 8]


def test_without_the_lock_both_would_make_them_and_the_database_refuses(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(planning, "lock_parlors", lambda _site_id: None)
    meet_before_writing(monkeypatch, Barrier(2))
    results = at_once(lambda: plan(site), lambda: plan(site))
    assert [type(r) for r in results].count(IntegrityError) == 1
    assert counts() == [4, 8, 8, 8]


def test_without_lock_and_unique_guard_milkings_are_doubled(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    with connection.cursor() as cursor:
        cursor.execute("ALTER TABLE schedules_milking DROP CONSTRAINT milking_once")
    try:
        monkeypatch.setattr(planning, "lock_parlors", lambda _site_id: None)
        monkeypatch.setattr(planning, "plan_flushes", lambda *_args: FlushCounts())
        meet_before_writing(monkeypatch, Barrier(2))
        at_once(lambda: plan(site), lambda: plan(site))
        assert Milking.objects.count() == 8
    finally:
        Milking.objects.all().delete()
        with connection.cursor() as cursor:
            cursor.execute(
                "ALTER TABLE schedules_milking "
                "ADD CONSTRAINT milking_once UNIQUE (parlor_id, local_date, slot)"
            )


def plan_while_a_report_comes(site: Site, monkeypatch: pytest.MonkeyPatch) -> PenVisit:
    """Let a planning that moves all visits read, then a report come, then the planning write.

    With the lock the report waits until the planning is done; without it, it slips in between.
    """
    plan(site)
    Pen.objects.filter(place__key="pen-1").update(n_cows=200)
    visit = PenVisit.objects.get(
        pen__place__key="pen-2", milking__slot=1, milking__local_date=MONDAY
    )
    by = make_actor(site)
    has_read, reported = Event(), Event()

    def write_late(*args: Any) -> Any:
        has_read.set()
        while not (reported.wait(0.01) or somebody_waits_for_a_lock()):
            continue
        return write_timetable(*args)

    monkeypatch.setattr(planning, "write_timetable", write_late)

    def report() -> None:
        assert has_read.wait(PATIENCE_S)
        at = FIVE + timedelta(minutes=90)
        reports.record_visit_time(
            site_id=site.pk, visit_id=visit.pk, moment="first_on", at=at, by=by, received_at=at
        )
        reported.set()

    at_once(lambda: plan(site), report)
    visit.refresh_from_db()
    return visit


def test_report_during_a_planning_is_not_overwritten(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    visit = plan_while_a_report_comes(site, monkeypatch)
    assert visit.milking.state == MilkingState.STARTED
    assert visit.first_on_at == FIVE + timedelta(minutes=90)


def test_without_the_lock_the_report_would_be_overwritten(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(planning, "lock_parlors", lambda _site_id: None)
    visit = plan_while_a_report_comes(site, monkeypatch)
    assert visit.first_on_at != FIVE + timedelta(minutes=90)
