"""News from the rooms below: what rests on it is made anew, in the order it was told."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime

from equipment.site.models import Change, HoldSubject
from equipment.site.queries import unread_changes
from equipment.site.writes import SiteWrite, site_write

from .calc.reports import Said, still_said
from .models import Question, Status, Trigger, WorkOrder
from .produce import CONSUMER, DAYS_AHEAD, materialise
from .reconcile import Counts
from .telling import flag, save_state, words_of

# Beginnings of topics, and the triggers whose work rests on them. Work's own topics are not here:
# what it writes itself must not call it again.
RESTS_ON: dict[str, tuple[Trigger, ...]] = {
    "visit.retimed": (Trigger.PEN_VISIT,),
    "milking.planned": (Trigger.PEN_VISIT,),
    "batch.": (Trigger.BATCH_STAGE, Trigger.PEN_VISIT),  # which beds a pen with the batch
    "hold.batch": (Trigger.BATCH_STAGE, Trigger.PEN_VISIT),
    "hold.machine": (),
    "hold.pen": (),
    "service.recorded": (Trigger.METER,),
    "reading.added": (Trigger.METER,),
    "weather.imported": (Trigger.WEATHER, Trigger.BATCH_STAGE),
    "standing_order.edited": tuple(Trigger),
    "farm.loaded": tuple(Trigger),
}
TOPICS = tuple(RESTS_ON)


def consume_changes(*, site_id: int, now: datetime) -> Counts:
    """Read what is new and make anew what rests on it; the cursor moves in the same transaction."""
    with site_write(site_id, now) as write:
        changes, cursor = unread_changes(site_id, CONSUMER)
        if not changes:
            return Counts()
        counts = _heed(write, changes)
        cursor.version = changes[-1].version
        cursor.save(update_fields=["version"])
    return counts


def consume_untold(*, site_id: int, now: datetime, days: int) -> Counts:
    """As `consume_changes`, with what the open write has not told yet: for one that is undone.

    Work is made anew for so many days alone.
    """
    with site_write(site_id, now) as write:
        changes, _cursor = unread_changes(site_id, CONSUMER)
        return _heed(write, [*changes, *write.changes], days)


def _heed(write: SiteWrite, changes: Sequence[Change], days: int = DAYS_AHEAD) -> Counts:
    for machine_id in _newly_held(changes):
        _flag_running(write, machine_id)
    triggers = {t for change in changes for t in _triggers_of(change.topic)}
    if not triggers:
        return Counts()
    return materialise(site_id=write.site_id, now=write.at, days=days, triggers=triggers)


def _triggers_of(topic: str) -> Iterable[Trigger]:
    return (t for start, found in RESTS_ON.items() if topic.startswith(start) for t in found)


def _newly_held(changes: Iterable[Change]) -> set[int]:
    held = (c for c in changes if c.topic == f"hold.{HoldSubject.MACHINE}" and c.detail.get("put"))
    return {int(change.subject_id) for change in held}


def _flag_running(write: SiteWrite, machine_id: int) -> None:
    """Ask what becomes of the work that a machine just taken out of use was on."""
    running = WorkOrder.objects.filter(
        site_id=write.site_id, status=Status.IN_PROCESS, reports__machine_id=machine_id
    )
    ids = set(running.values_list("pk", flat=True))
    rows = WorkOrder.objects.filter(pk__in=ids, status=Status.IN_PROCESS).order_by("pk")
    for order in rows.select_for_update(no_key=True):
        if _runs_on(order) == machine_id:
            flag(order, Question.MACHINE_ON_HOLD)
            save_state(write, order, "flagged")


def _runs_on(order: WorkOrder) -> int | None:
    """The machine that was said last."""
    said = (Said.STARTED, Said.LOAD)
    with_one = [w.machine_id for w in still_said(words_of(order)) if w.said in said]
    return next((pk for pk in reversed(with_one) if pk is not None), None)
