"""News from the rooms below makes anew what rests on it, once, and never rings for itself."""

from datetime import timedelta

import pytest
import time_machine

from equipment.machines.models import Machine
from equipment.parlor.models import Parlor
from equipment.site import runs
from equipment.site.models import Actor, Change, ChangeCursor, HoldSubject, RunState, Site, TaskRun
from equipment.site.services import put_hold
from equipment.site.writes import site_write
from schedules.work.consume import TOPICS, consume_changes
from schedules.work.models import Status, Trigger, WorkOrder
from schedules.work.produce import materialise
from schedules.work.progress import start_work
from schedules.work.reconcile import Counts
from tests.factories import (
    make_bed_group,
    make_machine,
    make_milking,
    make_parlor,
    make_pen,
    make_standing_order,
    make_visit,
    utc,
)

from .verbs import T0, VERBS, who

pytestmark = pytest.mark.django_db


@pytest.fixture
def parlor(site: Site) -> Parlor:
    """One visit at 14:00 with its grooming made."""
    parlor = make_parlor(site)
    pen = make_pen(site)
    make_bed_group(pen)
    at = utc("2026-03-04 14:00")
    make_visit(make_milking(parlor, at), pen, first_out_at=at)
    make_standing_order(site)
    materialise(site_id=site.pk, now=T0)
    return parlor


def _tell(site: Site, topic: str, subject_id: int = 1, **detail: object) -> None:
    with site_write(site.pk, T0) as write:
        write.change(topic, subject_id, **detail)


def _consume(site: Site) -> Counts:
    return consume_changes(site_id=site.pk, now=T0)


def _move_visit(site: Site) -> None:
    window = WorkOrder.objects.get().visit.windows.get()  # type: ignore[union-attr]
    window.usable_until = window.usable_until + timedelta(minutes=9)
    window.save()
    _tell(site, "visit.retimed")


def test_a_retimed_visit_moves_its_work(site: Site, parlor: Parlor) -> None:
    _move_visit(site)
    assert _consume(site) == Counts(n_moved=1)


def test_what_was_read_is_not_read_again(site: Site, parlor: Parlor) -> None:
    _move_visit(site)
    _consume(site)
    assert _consume(site) == Counts()
    last_read = ChangeCursor.objects.get(consumer="work").version
    assert last_read == Change.objects.latest("version").version


def test_news_makes_only_what_rests_on_it(site: Site, parlor: Parlor) -> None:
    make_standing_order(site, "check", trigger=Trigger.CALENDAR)
    _tell(site, "visit.retimed")
    assert _consume(site) == Counts()
    _tell(site, "standing_order.edited")
    assert _consume(site).n_made == 15


def test_a_failed_reading_leaves_the_cursor_where_it_was(
    site: Site, parlor: Parlor, monkeypatch: pytest.MonkeyPatch
) -> None:
    _move_visit(site)

    def fail(**_how: object) -> Counts:
        raise RuntimeError("killed")

    monkeypatch.setattr("schedules.work.consume.materialise", fail)
    with pytest.raises(RuntimeError):
        _consume(site)
    monkeypatch.undo()
    assert _consume(site) == Counts(n_moved=1)


# --- holds of machines


def _hold(machine: Machine, by: Actor) -> None:
    put_hold(
        site_id=machine.site_id,
        subject_kind=HoldSubject.MACHINE,
        subject_id=machine.pk,
        reason="brakes",
        by=by,
        at=T0,
    )


def test_work_a_held_machine_was_on_asks_for_a_decision(
    site: Site, order: WorkOrder, ana: Actor
) -> None:
    loader = make_machine(site)
    start_work(machine=loader, **who(order, ana))
    _hold(loader, ana)
    _consume(site)
    order.refresh_from_db()
    assert (order.status, order.needs_decision) == (Status.IN_PROCESS, "machine_on_hold")


def test_work_that_went_on_with_another_machine_asks_nothing(
    site: Site, order: WorkOrder, ana: Actor, ben: Actor
) -> None:
    WorkOrder.objects.update(n_people=2)
    loader, other = make_machine(site), make_machine(site, "loader-2")
    start_work(machine=loader, **who(order, ana))
    start_work(machine=other, **who(order, ben, 1))
    _hold(loader, ana)
    _consume(site)
    order.refresh_from_db()
    assert order.needs_decision == ""


def test_work_that_is_over_asks_nothing(site: Site, order: WorkOrder, ana: Actor) -> None:
    loader = make_machine(site)
    start_work(machine=loader, **who(order, ana))
    VERBS["done"](order, ana, 1)
    _hold(loader, ana)
    _consume(site)
    order.refresh_from_db()
    assert order.needs_decision == ""


# --- as a task run


def _runs(kind: str) -> list[TaskRun]:
    return list(TaskRun.objects.filter(kind=kind).order_by("id"))


def test_news_rings_once_and_what_work_writes_rings_for_nobody(site: Site, parlor: Parlor) -> None:
    TaskRun.objects.all().delete()
    _move_visit(site)
    [run] = _runs("work.consume")
    with time_machine.travel(T0, tick=False):
        assert runs.perform(run.pk)
    run.refresh_from_db()
    assert run.state == RunState.DONE
    assert Change.objects.filter(topic="work.made", version__gt=2).exists()
    assert len(_runs("work.consume")) == 1


def test_work_does_not_subscribe_to_its_own_topics() -> None:
    assert runs.SUBSCRIBERS["work.consume"] == TOPICS
    assert not any(own.startswith(TOPICS) for own in ("work.made", "work.reported"))


def test_the_tick_makes_work_every_ten_minutes(site: Site) -> None:
    make_pen(site)
    make_standing_order(site, "check", trigger=Trigger.CALENDAR)
    assert runs.PERIODIC["work.materialise"] == timedelta(minutes=10)
    with time_machine.travel(T0, tick=False):
        runs.plan_periodic(now=T0)
        [run] = _runs("work.materialise")
        assert runs.perform(run.pk)
    assert WorkOrder.objects.count() == 15
