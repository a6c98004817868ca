"""Keeps what is expected of the basins fresh: when a level or the weather moves, and daily."""

from datetime import UTC, datetime, timedelta
from typing import Any

from equipment.site.models import TaskRun
from equipment.site.runs import run_kind

from .services import store_outlooks


@run_kind(
    "basins.project",
    queue="forecast",
    lease_s=120,
    on_change=("basin.", "weather.", "farm."),
    every=timedelta(hours=12),
)
def project(run: TaskRun, _prepared: Any) -> None:
    assert run.site_id is not None
    store_outlooks(site_id=run.site_id, at=datetime.now(UTC))
