"""The plan's page: what it costs, what it changed and who must be told, what nobody has."""

from datetime import timedelta
from typing import Any

import pytest

from crews.roster.models import Presence, Shift
from equipment.site.models import HoldSubject, Role
from equipment.site.services import put_hold
from schedules.dayplan.models import PlanRun
from tests.factories import make_work_order
from tests.farm import Farm

from .conftest import NOW, ClientOf
from .reading import rows, url, words

pytestmark = pytest.mark.django_db
SCORE = {
    "left_out_cost": 1200,
    "late_min": 12,
    "overtime_min": 3,
    "travel_min": 150,
    "n_off_crew": 4,
    "n_changes": 1,
    "total_cost": 2000,
}


def _has(farm: Farm, worker_id: int, minutes: int) -> dict[str, Any]:
    start = NOW + timedelta(minutes=minutes)
    end = start + timedelta(minutes=20)
    span = {"starts_at": start.isoformat(), "ends_at": end.isoformat()}
    machine = farm.machines[0].pk
    return {"work_order": farm.assigned.pk, "workers": [worker_id], "machine": machine, **span}


def _change(farm: Farm) -> None:
    """Ana's job is Max's now, half an hour ago."""
    before, after = _has(farm, farm.worker.pk, 60), _has(farm, farm.manager.pk, 90)
    workers = [farm.worker.pk, farm.manager.pk]
    change = {"work_order": farm.assigned.pk, "kind": "reassigned", "workers": workers}
    PlanRun.objects.exclude(pk=farm.plan.pk).update(made_at=NOW - timedelta(days=1))
    PlanRun.objects.filter(pk=farm.plan.pk).update(
        made_at=NOW - timedelta(minutes=30),
        changes=[{**change, "before": before, "after": after}],
        score=SCORE,
        bound_cost=1500,
    )


def test_a_change_is_told_with_before_and_now_and_whom_to_tell(
    farm: Farm, client_of: ClientOf
) -> None:
    _change(farm)

    page = client_of(Role.MANAGER).get(url("plan"))

    assert "Tell: Ana (1), Max (1)" in words(page)
    [row] = [row for row in rows(page.content.decode()) if row[1:2] == ["given to others"]]
    assert row[2:] == [
        "Ana, Loader-1 · 10:00 – 10:20 am",
        "Max, Loader-1 · 10:30 – 10:50 am",
        "Ana, Max",
    ]


def test_changes_of_long_ago_are_looked_up_by_how_far_back(farm: Farm, client_of: ClientOf) -> None:
    _change(farm)
    client = client_of(Role.MANAGER)

    assert "Nothing changed." in words(client.get(url("plan"), {"back": "15"}))
    assert "given to others" in words(client.get(url("plan"), {"back": "240"}))
    assert "given to others" in words(client.get(url("plan"), {"back": "soon"}))


def test_what_the_plan_costs_and_how_far_from_the_best_it_may_be(
    farm: Farm, client_of: ClientOf
) -> None:
    """(2,000 - 1,500) / 2,000 is a quarter."""
    _change(farm)

    said = words(client_of(Role.WORKER).get(url("plan")))

    assert "2.5 Walking and driving, hours" in said
    assert "12 Slack that is missing, minutes" in said
    assert "25.0 At most so much dearer than the best plan, %" in said
    assert "They have 12 minutes less slack than the farm wants." in said


def test_what_nobody_has_stands_with_its_reason(farm: Farm, client_of: ClientOf) -> None:
    page = client_of(Role.WORKER).get(url("plan"))

    why = [row[-1] for row in rows(page.content.decode()) if row]
    assert sum("nobody is qualified for it: " in text for text in why) == 2


def test_work_kept_out_by_a_hold_says_that_it_cannot_be_planned(
    farm: Farm, client_of: ClientOf
) -> None:
    order = farm.orders[6]
    put_hold(
        site_id=farm.site.pk,
        subject_kind=HoldSubject.PEN,
        subject_id=order.place.parent_id or order.place_id,
        reason="ice",
        by=farm.manager.actor,
        at=NOW,
    )

    page = client_of(Role.MANAGER).get(url("work-order", order.pk), {"help": "1"})

    assert page.status_code == 200
    assert "This work cannot be planned within the next hours." in words(page)


def test_work_that_nobody_has_says_what_would_help_when_asked(
    farm: Farm, client_of: ClientOf
) -> None:
    Shift.objects.update(presence=Presence.SICK)
    client = client_of(Role.MANAGER)
    address = url("work-order", farm.orders[6].pk)

    assert "What would help?" in words(client.get(address))
    said = words(client.get(address, {"help": "1"}))
    assert "These clash: the people there are." in said
    assert "One more person who may do it: one more · " in said
    assert "What would help?" not in words(client.get(url("work-order", farm.assigned.pk)))


def test_of_many_changes_the_soonest_are_shown_and_the_rest_when_asked_for(
    farm: Farm, client_of: ClientOf
) -> None:
    orders = [make_work_order(farm.site, f"more-{n}", place=farm.lane.place) for n in range(45)]
    given = [
        {**_has(farm, farm.worker.pk, 10 * n), "work_order": order.pk}
        for n, order in enumerate(orders)
    ]
    PlanRun.objects.exclude(pk=farm.plan.pk).update(made_at=NOW - timedelta(days=1))
    PlanRun.objects.filter(pk=farm.plan.pk).update(
        changes=[
            {"work_order": g["work_order"], "kind": "added", "workers": g["workers"], "after": g}
            for g in given
        ]
    )
    client = client_of(Role.MANAGER)

    few, every = (client.get(url("plan"), {"all": flag}) for flag in ("0", "1"))

    assert "and 5 more" in words(few)
    assert "and 5 more" not in words(every)
    assert [_n_added(page) for page in (few, every)] == [40, 45]


def _n_added(page: Any) -> int:
    return sum("new in the plan" in row for row in rows(page.content.decode()))


def test_jobs_least_sure_to_end_in_time_are_shown_with_their_chance(
    farm: Farm, client_of: ClientOf
) -> None:
    first, second = farm.orders[3:5]
    chances = {str(first.pk): 0.81, str(second.pk): 0.34, str(farm.orders[6].pk): 0.1}
    PlanRun.objects.filter(site=farm.site).update(chances=chances)

    page = client_of(Role.WORKER).get(url("plan"))

    shown = [row for row in rows(page.content.decode()) if row[-1:] in (["81%"], ["34%"], ["10%"])]
    assert [row[-1] for row in shown] == ["34%", "81%"]
    assert shown[0][1] == "Ana, Loader-1"
