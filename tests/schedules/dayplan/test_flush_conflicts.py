"""Runs that would meet work or cows, as both are planned."""

import pytest

from equipment.flushing.calc import Who
from equipment.flushing.models import FlushRun, FlushTimer
from schedules.dayplan.flush_conflicts import flush_conflicts
from schedules.dayplan.models import Assignment
from tests.farm import DAY, HOUR, MINUTE, Farm

pytestmark = pytest.mark.django_db


@pytest.fixture
def farm() -> Farm:
    return Farm("ours")


def run_at(farm: Farm, n: int, start: float) -> FlushRun:
    """A run in the alley of a pen, so many minutes from now."""
    timer = FlushTimer.objects.filter(alley__pen=farm.pens[n]).get()
    starts_at = farm.now + start * MINUTE
    return FlushRun.objects.create(
        site=farm.site,
        timer=timer,
        alley=timer.alley,
        natural_key=f"{timer.key}/{start}",
        starts_at=starts_at,
        ends_at=starts_at + 5 * MINUTE,
        volume_m3=10,
    )


def test_cows_that_go_to_the_parlor_are_met(farm: Farm) -> None:
    Assignment.objects.all().delete()
    visit = farm.visits[0]
    start = (visit.called_at - farm.now) / MINUTE
    run = run_at(farm, 0, start)
    (found,) = flush_conflicts(farm.site.pk, farm.now, farm.now + DAY)
    assert (found.run.pk, found.who, found.visit) == (run.pk, Who.COWS, visit)


def test_a_machine_at_work_in_the_rows_along_an_alley_is_met(farm: Farm) -> None:
    work = Assignment.objects.select_related("work_order__place").earliest("starts_at")
    pen = next(p for p in farm.pens if p.bed_groups.get().place_id == work.work_order.place_id)
    run_at(farm, farm.pens.index(pen), (work.starts_at - farm.now) / MINUTE - 1)
    found = [c for c in flush_conflicts(farm.site.pk, farm.now, farm.now + DAY) if c.assignment]
    assert [(c.who, c.assignment) for c in found] == [(Who.MACHINE, work)]


def test_a_run_that_a_lock_stops_meets_nobody(farm: Farm) -> None:
    run = run_at(farm, 0, (farm.visits[0].called_at - farm.now) / MINUTE)
    FlushRun.objects.filter(pk=run.pk).update(status="blocked")
    assert flush_conflicts(farm.site.pk, farm.now, farm.now + 2 * HOUR) == []
