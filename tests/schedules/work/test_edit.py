"""A standing order that is edited makes its untouched coming work anew, and says how much."""

from typing import Any

import pytest

from equipment.site.errors import NotFoundError
from equipment.site.models import Actor, Change, Site
from schedules.errors import StandingOrderError
from schedules.work.edit import edit_standing_order
from schedules.work.models import StandingOrder, Status, Trigger, WorkOrder
from schedules.work.produce import materialise
from schedules.work.reconcile import Counts
from tests.factories import make_pen, make_site, make_standing_order

from .verbs import T0, VERBS

pytestmark = pytest.mark.django_db


@pytest.fixture
def check(site: Site) -> StandingOrder:
    """Daily at 06:00: 15 work orders, 4 to 18 March, the last by an hour of summer time."""
    make_pen(site)
    order = make_standing_order(site, "check", trigger=Trigger.CALENDAR)
    materialise(site_id=site.pk, now=T0)
    return order


def _edit(order: StandingOrder, by: Actor, **changes: Any) -> Counts:
    return edit_standing_order(
        site_id=order.site_id, standing_order_id=order.pk, changes=changes, by=by, at=T0
    )


def _rule(order: StandingOrder, **changes: Any) -> dict[str, Any]:
    return {**order.trigger_rule, **changes}


def test_another_hour_moves_what_is_coming(check: StandingOrder, ana: Actor) -> None:
    assert _edit(check, ana, trigger_rule=_rule(check, at_local="07:00")) == Counts(n_moved=15)
    assert StandingOrder.objects.get().version == 2


def test_fewer_days_take_work_back_and_more_bring_it(check: StandingOrder, ana: Actor) -> None:
    rule = _rule(check, rrule="FREQ=WEEKLY;BYDAY=MO,WE")
    assert _edit(check, ana, trigger_rule=rule) == Counts(n_cancelled=10)
    rule = _rule(check, rrule="FREQ=DAILY;BYHOUR=6,18")
    assert _edit(check, ana, trigger_rule=rule) == Counts(n_made=14, n_revived=10)


def test_what_was_touched_keeps_what_it_was_made_with(check: StandingOrder, ana: Actor) -> None:
    first = WorkOrder.objects.order_by("starts_after")[0]
    VERBS["start"](first, ana, 0)
    counts = _edit(check, ana, duration={"base_min": 50}, title={"en": "Look", "es": "Mirar"})
    assert counts == Counts(n_moved=14)
    first.refresh_from_db()
    assert (first.duration_min, first.title) == (5, {"en": "Check"})


def test_retiring_takes_all_coming_work_back(check: StandingOrder, ana: Actor) -> None:
    assert _edit(check, ana, retired_at=T0) == Counts(n_cancelled=15)


def test_an_edit_that_changes_nothing_is_none(check: StandingOrder, ana: Actor) -> None:
    n_changes = Change.objects.count()
    assert _edit(check, ana, priority=check.priority) == Counts()
    assert Change.objects.count() == n_changes
    assert StandingOrder.objects.get().version == 1


def test_an_edit_is_told_with_who_and_what(check: StandingOrder, ana: Actor) -> None:
    _edit(check, ana, priority=1)
    change = Change.objects.get(topic="standing_order.edited")
    assert change.subject_id == str(check.pk)
    assert change.detail == {"fields": ["priority"], "by": "Ana"}


@pytest.mark.parametrize(
    ("changes", "pointers"),
    [
        ({"trigger": "meter"}, ["/trigger"]),
        ({"key": "other"}, ["/key"]),
        ({"n_people": 0}, ["/__all__"]),
        ({"priority": 10}, ["/__all__"]),
        ({"priority": "soon"}, ["/priority"]),
        ({"effort": "huge"}, ["/effort"]),
        ({"late_rule": "forget"}, ["/late_rule"]),
        ({"machine_kinds": ["boat"]}, ["/machine_kinds"]),
        ({"machine_kinds": "loader"}, ["/machine_kinds"]),
        ({"title": "Look"}, ["/title"]),
        ({"target": {"kind": "pen", "keys": ["pen-9"]}}, ["/target/keys"]),
        ({"duration": {}, "target": {}}, ["/target/kind", "/duration"]),
        ({"trigger_rule": {"rrule": "FREQ=DAILY"}}, [
            "/trigger_rule/at_local", "/trigger_rule/from_on", "/trigger_rule/window_h",
        ]),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_with_every_fault(
    check: StandingOrder, ana: Actor, changes: dict[str, Any], pointers: list[str]
) -> None:
    with pytest.raises(StandingOrderError) as refusal:
        _edit(check, ana, **changes)
    assert [fault.pointer for fault in refusal.value.errors] == pointers
    check.refresh_from_db()
    assert check.version == 1
    assert WorkOrder.objects.filter(status=Status.NEEDS_ACTION).count() == 15


def test_a_circle_of_followers_is_refused(site: Site, ana: Actor) -> None:
    rule = {"relation": "FINISHTOSTART", "window_min": 30}
    orders = [
        make_standing_order(
            site, key, trigger=Trigger.AFTER, rule={**rule, "standing_order": first}
        )
        for key, first in (("a", "root"), ("b", "a"))
    ]
    make_standing_order(site, "root", trigger=Trigger.CALENDAR)
    with pytest.raises(StandingOrderError, match="follows itself"):
        _edit(orders[0], ana, trigger_rule=_rule(orders[0], standing_order="b"))


def test_another_sites_standing_order_is_not_found(check: StandingOrder, ana: Actor) -> None:
    with pytest.raises(NotFoundError):
        edit_standing_order(
            site_id=make_site("other").pk,
            standing_order_id=check.pk,
            changes={"priority": 1},
            by=ana,
            at=T0,
        )
