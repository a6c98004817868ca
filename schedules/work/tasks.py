"""Background runs of work: the tick that looks ahead, and the reader of news."""

from datetime import UTC, datetime, timedelta

from equipment.site.models import TaskRun
from equipment.site.runs import run_kind

from .consume import TOPICS, consume_changes
from .demand import keep_demand
from .produce import materialise


@run_kind("work.materialise", every=timedelta(minutes=10), lease_s=120)
def materialise_work(run: TaskRun, _prepared: None) -> None:
    assert run.site_id is not None  # periodic runs are one per site
    materialise(site_id=run.site_id, now=datetime.now(UTC))


@run_kind("work.consume", on_change=TOPICS, lease_s=120)
def consume_news(run: TaskRun, _prepared: None) -> None:
    assert run.site_id is not None  # a change is a site's
    consume_changes(site_id=run.site_id, now=datetime.now(UTC))


@run_kind("work.demand", every=timedelta(hours=1), lease_s=120)
def tell_demand(run: TaskRun, _prepared: None) -> None:
    assert run.site_id is not None  # periodic runs are one per site
    keep_demand(site_id=run.site_id, at=datetime.now(UTC))
