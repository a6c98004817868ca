"""Keeps the forecast of the coming week, and scores those whose days are over."""

from datetime import UTC, datetime, timedelta
from typing import Any

from equipment.site.models import TaskRun
from equipment.site.runs import run_kind

from .forecasts import keep_week


@run_kind(
    "weather.keep_week",
    queue="forecast",
    lease_s=60,
    on_change=("weather.", "farm."),
    every=timedelta(hours=6),
)
def keep(run: TaskRun, _prepared: Any) -> None:
    assert run.site_id is not None
    keep_week(site_id=run.site_id, at=datetime.now(UTC))
