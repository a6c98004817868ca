"""The plan's background runs: drop what broke at once, then solve again."""

from datetime import UTC, datetime, timedelta
from typing import Any

from equipment.site.models import ChangeCursor, TaskRun
from equipment.site.queries import unread_changes
from equipment.site.runs import enqueue, run_kind

from .services import SolvedDay, drop_broken, put_plan, solve_site

CONSUMER = "dayplan"
TOPICS = (
    "visit.",
    "hold.machine",
    "hold.pen",
    "hold.batch",
    "roster.",
    "crew_pens.",
    "lock.",
    "work.made",
    "standing_order.",
    "farm.",
    "plan.by_hand",
)


@run_kind("dayplan.consume", on_change=TOPICS)
def consume(run: TaskRun, _prepared: Any) -> None:
    assert run.site_id is not None
    now = datetime.now(UTC)
    changes, cursor = unread_changes(run.site_id, CONSUMER)
    if not changes:
        return
    ChangeCursor.objects.filter(id=cursor.pk).update(version=changes[-1].version)
    if any(change.topic.startswith(TOPICS) for change in changes):
        drop_broken(site_id=run.site_id, at=now)
        key = f"{run.site_id}:{changes[-1].version}"
        enqueue("dayplan.solve", key=key, site_id=run.site_id, at=now)


def _solve(run: TaskRun) -> SolvedDay | None:
    """Solve, unless a later run for the same site waits: it will see all this one would."""
    assert run.site_id is not None
    later = TaskRun.objects.filter(
        kind="dayplan.solve", site_id=run.site_id, state="waiting", id__gt=run.pk
    )
    if later.exists():
        return None
    return solve_site(run.site_id, datetime.now(UTC))


@run_kind(
    "dayplan.solve",
    queue="solve",
    lease_s=180,
    prepare=_solve,
    every=timedelta(minutes=30),
)
def solve(run: TaskRun, prepared: Any) -> None:
    if prepared is not None:
        assert run.site_id is not None
        put_plan(site_id=run.site_id, solved=prepared, at=datetime.now(UTC))
