"""Keeps the shifts made two weeks ahead."""

from datetime import UTC, datetime, timedelta
from typing import Any

from equipment.site.models import TaskRun
from equipment.site.runs import run_kind

from .services import keep_shifts_ahead


@run_kind("roster.plan", every=timedelta(hours=1))
def plan(run: TaskRun, _prepared: Any) -> None:
    assert run.site_id is not None
    keep_shifts_ahead(site_id=run.site_id, at=datetime.now(UTC))
