"""Keeps the shifts made two weeks ahead, and searches for rosters that were asked for."""

from datetime import UTC, datetime, timedelta
from typing import Any

from equipment.site.models import TaskRun
from equipment.site.runs import run_kind

from .models import RosterRun, RosterState
from .rosters import RUN_KIND, end_given_up, finish_roster, keep_part, search_on, why_none
from .services import keep_shifts_ahead


@run_kind("roster.plan", every=timedelta(hours=1), on_change=("farm.loaded",))
def plan(run: TaskRun, _prepared: Any) -> None:
    assert run.site_id is not None
    keep_shifts_ahead(site_id=run.site_id, at=datetime.now(UTC))


@run_kind("roster.tidy", every=timedelta(minutes=10))
def tidy(run: TaskRun, _prepared: Any) -> None:
    assert run.site_id is not None
    end_given_up(site_id=run.site_id, at=datetime.now(UTC))


def _search(run: TaskRun) -> list[dict[str, Any]]:
    """Search part by part outside the task's transaction, each kept by itself."""
    roster = RosterRun.objects.get(pk=run.args["roster"])
    while (found := search_on(roster)) is not None:
        if not keep_part(run=roster, found=found, at=datetime.now(UTC)):
            break
    roster.refresh_from_db()
    is_impossible = roster.state == RosterState.SOLVING and roster.solution is None
    return why_none(roster) if is_impossible else []


@run_kind(RUN_KIND, queue="solve", lease_s=240, prepare=_search)
def solve(run: TaskRun, prepared: list[dict[str, Any]]) -> None:
    roster = RosterRun.objects.get(pk=run.args["roster"])
    finish_roster(run=roster, why=prepared, at=datetime.now(UTC))
