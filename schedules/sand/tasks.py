"""Keeps the forecasts of the pads fresh: when a batch, a test or the weather moves, and daily."""

from datetime import UTC, datetime, timedelta
from typing import Any

from equipment.site.models import TaskRun
from equipment.site.runs import run_kind

from .forecasts import forecast_all


@run_kind(
    "sand.forecast",
    queue="forecast",
    lease_s=120,
    on_change=("batch.stage", "batch.tested", "weather.", "farm."),
    every=timedelta(hours=6),
)
def forecast(run: TaskRun, _prepared: Any) -> None:
    assert run.site_id is not None
    forecast_all(site_id=run.site_id, at=datetime.now(UTC))
