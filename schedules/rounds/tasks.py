"""Keeps the milkings of today and the coming two weeks planned."""

from datetime import UTC, datetime, timedelta

from equipment.site.calc import local_time
from equipment.site.models import Site, TaskRun
from equipment.site.runs import run_kind

from .services import plan_milkings

HORIZON = timedelta(days=14)


@run_kind("rounds.plan", every=timedelta(minutes=10), on_change=("farm.loaded",))
def plan(run: TaskRun, _prepared: None) -> None:
    assert run.site_id is not None
    at = datetime.now(UTC)
    zone = Site.objects.get(pk=run.site_id).zone
    until_on = local_time.local_date_of(at + HORIZON, zone) + timedelta(days=1)
    plan_milkings(
        site_id=run.site_id,
        from_on=local_time.local_date_of(at, zone),
        until_on=until_on,
        at=at,
    )
