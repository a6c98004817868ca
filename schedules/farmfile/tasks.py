"""Begins the years ahead that pages and API asked for."""

from datetime import UTC, datetime
from typing import Any

from equipment.site.models import Actor, Site, TaskRun
from equipment.site.runs import run_kind
from schedules.outlook.services import ASK_KIND, begin_run

from .whatif import change_overlay, compare_with


@run_kind(ASK_KIND, queue="forecast", lease_s=180)
def begin_year(run: TaskRun, _prepared: Any) -> None:
    assert run.site_id is not None
    site = Site.objects.get(pk=run.site_id)
    at = datetime.now(UTC)
    change = run.args["change"]
    name = ", ".join(f"{key} {value}" for key, value in change.items())
    what_ifs = [(name, [change_overlay(site, change)])] if change else []
    begin_run(
        site_id=site.pk,
        compared=compare_with(site, what_ifs, at),
        seed=run.args["seed"],
        n_members=run.args["n_members"],
        at=at,
        by=Actor.objects.get(pk=run.args["by"], site=site),
    )
