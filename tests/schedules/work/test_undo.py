"""Words taken back, and late reports that a lead lets count or dismisses."""

from datetime import timedelta

import pytest

from equipment.site.models import Actor
from schedules.errors import NoDecisionError, NothingToUndoError, UndoTooLateError
from schedules.work.decisions import settle_decision
from schedules.work.models import Outcome, Status, WorkOrder
from schedules.work.progress import undo_report

from .verbs import T0, VERBS, close_by_service, who

pytestmark = pytest.mark.django_db


def _said(order: WorkOrder) -> list[str]:
    return list(order.reports.order_by("id").values_list("kind", flat=True))


@pytest.mark.parametrize(
    ("verbs", "status"),
    [
        (["start"], Status.NEEDS_ACTION),
        (["done"], Status.NEEDS_ACTION),
        (["start", "done"], Status.IN_PROCESS),
        (["start", "could_not"], Status.IN_PROCESS),
        (["start", "load"], Status.IN_PROCESS),
    ],
)
def test_ones_last_word_can_be_taken_back(
    order: WorkOrder, ana: Actor, verbs: list[str], status: Status
) -> None:
    for minute, verb in enumerate(verbs):
        VERBS[verb](order, ana, minute)
    undone = undo_report(**who(order, ana, 5))
    order.refresh_from_db()
    assert (undone.status, order.outcome, order.loads) == (status, "", 0)
    assert order.ended_at is None
    assert _said(order)[-1] == "undone"


def test_taking_back_leaves_the_other_witness(order: WorkOrder, ana: Actor, ben: Actor) -> None:
    VERBS["done"](order, ana, 1)
    VERBS["done"](order, ben, 2)
    undone = undo_report(**who(order, ana, 3))
    assert (undone.status, undone.ended_by) == (Status.COMPLETED, ben)


def test_nobody_takes_back_anothers_word(order: WorkOrder, ana: Actor, ben: Actor) -> None:
    VERBS["done"](order, ana, 1)
    with pytest.raises(NothingToUndoError):
        undo_report(**who(order, ben, 2))


def test_nothing_is_taken_back_twice(order: WorkOrder, ana: Actor) -> None:
    VERBS["done"](order, ana, 1)
    undo_report(**who(order, ana, 2))
    with pytest.raises(NothingToUndoError):
        undo_report(**who(order, ana, 3))


def test_after_ten_minutes_it_is_too_late(order: WorkOrder, ana: Actor) -> None:
    VERBS["done"](order, ana, 0)
    with pytest.raises(UndoTooLateError):
        undo_report(**who(order, ana, 10.1))
    assert undo_report(**who(order, ana, 10)).status == Status.NEEDS_ACTION


def test_a_late_report_taken_back_asks_nothing_any_more(order: WorkOrder, ana: Actor) -> None:
    close_by_service(order, Outcome.MISSED)
    VERBS["done"](order, ana, 1)
    undone = undo_report(**who(order, ana, 2))
    assert (undone.status, undone.outcome, undone.needs_decision) == (
        Status.CANCELLED,
        Outcome.MISSED,
        "",
    )


# --- decisions


def test_a_late_report_counts_when_a_lead_says_so(order: WorkOrder, ana: Actor, ben: Actor) -> None:
    close_by_service(order, Outcome.MISSED)
    VERBS["done"](order, ana, 1)
    settled = settle_decision(accept=True, **who(order, ben, 60))
    assert (settled.status, settled.outcome, settled.needs_decision) == ("COMPLETED", "done", "")
    assert (settled.ended_by, settled.ended_at) == (ana, T0 + timedelta(minutes=1))


def test_a_late_report_that_is_dismissed_never_counts_again(
    order: WorkOrder, ana: Actor, ben: Actor
) -> None:
    close_by_service(order, Outcome.MISSED)
    VERBS["done"](order, ana, 1)
    assert settle_decision(accept=False, **who(order, ben, 60)).outcome == Outcome.MISSED
    VERBS["start"](order, ana, 61)
    accepted = settle_decision(accept=True, **who(order, ben, 62))
    assert accepted.status == Status.IN_PROCESS
    assert _said(order) == ["done", "dismissed", "started", "accepted"]


def test_where_nothing_was_asked_there_is_no_decision(order: WorkOrder, ana: Actor) -> None:
    with pytest.raises(NoDecisionError):
        settle_decision(accept=True, **who(order, ana))
