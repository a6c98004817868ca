"""Work tied to a gap: done while cows are in, part done and carried over; and what follows it."""

from datetime import datetime
from typing import Any

import pytest

from equipment.site.models import Actor, Site
from schedules.errors import CannotUndoError
from schedules.work.models import Outcome, Status, Trigger, WorkOrder
from schedules.work.produce import materialise
from schedules.work.progress import finish_work, start_work, undo_report
from schedules.work.queries import board_counts
from tests.factories import (
    make_bed_group,
    make_milking,
    make_parlor,
    make_pen,
    make_standing_order,
    make_visit,
    utc,
)

from .verbs import T0

pytestmark = pytest.mark.django_db


@pytest.fixture
def grooming(site: Site) -> WorkOrder:
    """Beds of 100 stalls, empty 14:04 to 14:20, usable 14:05 to 14:19; 12 min to groom."""
    pen = make_pen(site)
    make_bed_group(pen, n_stalls=100)
    at = utc("2026-03-04 14:00")
    make_visit(make_milking(make_parlor(site), at), pen, first_out_at=at)
    make_standing_order(site, duration={"base_min": 2, "per_stall_min": 0.1})
    materialise(site_id=site.pk, now=T0)
    return WorkOrder.objects.get()


def _at(clock: str) -> datetime:
    return utc(f"2026-03-04 {clock}")


def _finish(order: WorkOrder, by: Actor, clock: str, **said: Any) -> WorkOrder:
    return finish_work(site_id=order.site_id, work_order_id=order.pk, by=by, at=_at(clock), **said)


@pytest.mark.parametrize(
    ("clock", "flagged"), [("14:03", True), ("14:04", False), ("14:20", False), ("14:21", True)]
)
def test_grooming_while_cows_are_in_is_taken_down_and_asked_about(
    grooming: WorkOrder, ana: Actor, clock: str, flagged: bool
) -> None:
    done = _finish(grooming, ana, clock, outcome="done")
    assert done.outcome == Outcome.DONE
    assert done.needs_decision == ("outside_window" if flagged else "")


def test_what_is_left_is_carried_to_the_rest_of_the_gap(grooming: WorkOrder, ana: Actor) -> None:
    part = _finish(grooming, ana, "14:12", outcome="part", n_left=30)
    assert (part.status, part.outcome, part.n_left) == (Status.COMPLETED, Outcome.PART, 30)
    rest = WorkOrder.objects.get(status=Status.NEEDS_ACTION)
    assert rest.natural_key == f"{grooming.natural_key}/rest-1"
    assert (rest.starts_after, rest.due_at) == (_at("14:12"), _at("14:19"))
    assert (rest.duration_min, rest.amount, rest.n_left) == (5, "stalls:30", 30)
    assert (rest.visit, rest.place, rest.skill) == (part.visit, part.place, part.skill)


def test_a_rest_of_a_rest_is_carried_too(grooming: WorkOrder, ana: Actor) -> None:
    _finish(grooming, ana, "14:10", outcome="part", n_left=60)
    rest = WorkOrder.objects.get(status=Status.NEEDS_ACTION)
    _finish(rest, ana, "14:14", outcome="part", n_left=20)
    last = WorkOrder.objects.get(status=Status.NEEDS_ACTION)
    assert (last.natural_key, last.n_left) == (f"{grooming.natural_key}/rest-2", 20)


def _n_stalls_missed(site: Site) -> int:
    day = utc("2026-03-04 00:00"), utc("2026-03-05 00:00")
    return board_counts(site.pk, *day, now=day[1]).n_stalls_missed


def test_without_time_left_the_stalls_are_missed(
    site: Site, grooming: WorkOrder, ana: Actor
) -> None:
    _finish(grooming, ana, "14:17", outcome="part", n_left=30)
    assert WorkOrder.objects.count() == 1
    assert _n_stalls_missed(site) == 30


def test_a_rest_nobody_came_to_expires_with_its_stalls(
    site: Site, grooming: WorkOrder, ana: Actor
) -> None:
    _finish(grooming, ana, "14:12", outcome="part", n_left=30)
    assert _n_stalls_missed(site) == 0
    materialise(site_id=site.pk, now=_at("14:50"))
    rest = WorkOrder.objects.get(natural_key__endswith="/rest-1")
    assert (rest.outcome, rest.n_left) == (Outcome.MISSED, 30)
    assert _n_stalls_missed(site) == 30


def test_a_rest_moves_with_its_gap(site: Site, grooming: WorkOrder, ana: Actor) -> None:
    _finish(grooming, ana, "14:12", outcome="part", n_left=30)
    assert grooming.visit is not None
    grooming.visit.windows.update(usable_until=_at("14:40"))
    materialise(site_id=site.pk, now=_at("14:13"))
    rest = WorkOrder.objects.get(status=Status.NEEDS_ACTION)
    assert (rest.starts_after, rest.due_at) == (_at("14:12"), _at("14:40"))


def test_taking_back_a_part_takes_back_its_rest(grooming: WorkOrder, ana: Actor) -> None:
    said: dict[str, Any] = {"outcome": "part", "n_left": 30}
    _finish(grooming, ana, "14:10", **said)
    undo: dict[str, Any] = {"site_id": grooming.site_id, "work_order_id": grooming.pk, "by": ana}
    undo_report(at=_at("14:11"), **undo)
    rest = WorkOrder.objects.get(natural_key__endswith="/rest-1")
    assert (rest.outcome, rest.reason) == (Outcome.NOT_NEEDED, "report_undone")
    materialise(site_id=grooming.site_id, now=_at("14:11"))
    rest.refresh_from_db()
    assert rest.status == Status.CANCELLED
    _finish(grooming, ana, "14:12", **said)
    rest.refresh_from_db()
    assert rest.status == Status.NEEDS_ACTION


def test_a_part_whose_rest_was_begun_is_not_taken_back(grooming: WorkOrder, ana: Actor) -> None:
    _finish(grooming, ana, "14:10", outcome="part", n_left=30)
    rest = WorkOrder.objects.get(status=Status.NEEDS_ACTION)
    told: dict[str, Any] = {"site_id": rest.site_id, "by": ana, "at": _at("14:11")}
    start_work(work_order_id=rest.pk, **told)
    with pytest.raises(CannotUndoError):
        undo_report(work_order_id=grooming.pk, **told)


# --- followers


@pytest.fixture
def pair(site: Site) -> tuple[WorkOrder, WorkOrder]:
    """A check of half an hour from 13:00, and a wash that starts 15 minutes after it ends."""
    make_pen(site)
    make_standing_order(site, "check", trigger=Trigger.CALENDAR, duration={"base_min": 30})
    rule = {
        "standing_order": "check",
        "relation": "FINISHTOSTART",
        "gap_min": 15,
        "window_min": 30,
    }
    make_standing_order(site, "wash", trigger=Trigger.AFTER, rule=rule)
    materialise(site_id=site.pk, now=T0, days=1)
    check, wash = WorkOrder.objects.order_by("natural_key")
    return check, wash


def test_work_that_follows_is_timed_at_once(pair: tuple[WorkOrder, WorkOrder], ana: Actor) -> None:
    check, wash = pair
    _finish(check, ana, "13:40", outcome="done")
    wash.refresh_from_db()
    assert (wash.starts_after, wash.due_at) == (_at("13:55"), _at("14:25"))


def test_work_that_follows_what_could_not_be_done_goes(
    pair: tuple[WorkOrder, WorkOrder], ana: Actor
) -> None:
    check, wash = pair
    _finish(check, ana, "13:40", outcome="could_not", reason="ice")
    wash.refresh_from_db()
    assert (wash.outcome, wash.reason) == (Outcome.NOT_NEEDED, "leader_gone")


def test_work_that_went_comes_back_when_the_word_is_taken_back(
    pair: tuple[WorkOrder, WorkOrder], ana: Actor
) -> None:
    check, wash = pair
    _finish(check, ana, "13:40", outcome="could_not", reason="ice")
    undo_report(site_id=check.site_id, work_order_id=check.pk, by=ana, at=_at("13:41"))
    materialise(site_id=check.site_id, now=_at("13:42"), days=0)
    wash.refresh_from_db()
    assert wash.status == Status.NEEDS_ACTION
