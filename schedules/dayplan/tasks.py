"""The plan's background runs: drop what broke at once, mend the plan, then better it."""

from datetime import UTC, datetime, timedelta
from typing import Any

from equipment.site.models import ChangeCursor, TaskRun
from equipment.site.queries import unread_changes
from equipment.site.runs import enqueue, run_kind

from .searches import GOING_ON, end_search, is_overtaken, take_search, watch
from .services import SEED, SolvedDay, drop_broken, put_plan, solve_site

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
MEND_S = 0.3  # what is told now stands in the plan within two seconds, all in all
IMPROVE_S = 6.0
SLICE_S = 15.0  # the plan is put in place so often: a killed worker loses no more


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


def _search(run: TaskRun, seconds: float) -> SolvedDay | None:
    assert run.site_id is not None
    left_s = None if is_overtaken(run) else take_search(run, left_s=_left_s(run))
    if left_s is None:
        return None
    run.args["seconds"] = left_s
    run.save(update_fields=["args"])
    return solve_site(
        run.site_id,
        datetime.now(UTC),
        seconds,
        seed=SEED + run.pk % 1009,  # a later search looks elsewhere
        on_progress=watch(run),
    )


def _mend(run: TaskRun) -> SolvedDay | None:
    return _search(run, MEND_S)


def _improve(run: TaskRun) -> SolvedDay | None:
    return _search(run, min(SLICE_S, _left_s(run)))


def _left_s(run: TaskRun) -> float:
    return float(run.args.get("seconds", IMPROVE_S))


def _put_and_go_on(run: TaskRun, solved: SolvedDay | None, left_s: float) -> None:
    """Put the plan in place; what is left of the time goes to a run of its own."""
    if solved is None:
        return
    assert run.site_id is not None
    now = datetime.now(UTC)
    put_plan(site_id=run.site_id, solved=solved, at=now, run_id=run.pk)
    if not end_search(run, is_over=left_s < 1 or solved.is_optimal):
        return
    key, args = f"{run.site_id}:{run.pk}", {"seconds": left_s}
    enqueue(GOING_ON, key=key, site_id=run.site_id, at=now, args=args)


@run_kind("dayplan.solve", queue="solve", lease_s=120, prepare=_mend, every=timedelta(minutes=30))
def solve(run: TaskRun, prepared: Any) -> None:
    _put_and_go_on(run, prepared, _left_s(run))


@run_kind(GOING_ON, queue="solve", lease_s=45, prepare=_improve)
def improve(run: TaskRun, prepared: Any) -> None:
    _put_and_go_on(run, prepared, _left_s(run) - SLICE_S)
