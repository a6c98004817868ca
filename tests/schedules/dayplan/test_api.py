"""The API of the day's plan: who has what, what nobody has and why, by-hand changes."""

from datetime import datetime
from typing import Any

import pytest
from rest_framework.test import APIClient

from crews.roster.models import Presence, Shift
from equipment.site.models import TaskRun
from schedules.dayplan.models import Assignment, DaySearch, PlanRun
from schedules.work.models import WorkOrder
from tests.config.calls import iso
from tests.farm import Farm, ask, say

pytestmark = pytest.mark.django_db


def path_of(order: WorkOrder) -> str:
    return f"/api/v1/sites/ours/work-orders/{order.pk}/assignment/"


def give(client: APIClient, farm: Farm, order: WorkOrder, *, etag: str = "", **body: Any) -> Any:
    """Give an order to the manager, without a machine, on the version that stands."""
    tag = etag or client.get(path_of(order))["ETag"]
    whom = {"workers": [farm.manager.pk], "starts_at": iso(farm, 30), **body}
    return client.put(path_of(order), whom, headers={"If-Match": tag})


def test_assignment_says_who_with_what_and_when(farm: Farm, as_worker: APIClient) -> None:
    found = ask(as_worker, f"work-orders/{farm.assigned.pk}/assignment/")

    assert found["workers"] == [{"id": farm.worker.pk, "name": "Ana"}]
    assert found["machine"] == {"id": farm.machines[0].pk, "name": "Loader-1"}
    assert (found["is_by_hand"], found["reasons"]) == (False, [])


def test_what_nobody_has_is_listed_with_its_reasons(farm: Farm, as_worker: APIClient) -> None:
    found = ask(as_worker, "unassigned/")["results"]

    assert [row["work_order"] for row in found] == [order.pk for order in farm.orders[6:8]]
    reason = {"code": "no_skilled_person", "facts": {"skills": ["groomer"]}}
    assert [row["reasons"] for row in found] == [[reason]] * 2


@pytest.mark.parametrize(
    ("query", "n_found"),
    [
        ({"worker": "ana"}, 2),
        ({"worker": "max"}, 0),
        ({"machine": 0}, 2),
        ({"machine": 1}, 0),
        ({"worker": "ana", "machine": 0}, 2),
        ({"worker": "ana", "machine": 1}, 0),
        ({"from_at": 150}, 1),
        ({"until_at": 150}, 1),
        ({"from_at": 125, "until_at": 126}, 1),
    ],
)
def test_assignments_of_a_person_a_machine_and_a_span(
    farm: Farm, as_worker: APIClient, query: dict[str, Any], n_found: int
) -> None:
    keys = {"ana": farm.worker.pk, "max": farm.manager.pk}
    asked = {
        name: keys.get(value)
        or (farm.machines[value].pk if name == "machine" else iso(farm, value))
        for name, value in query.items()
    }
    assert len(ask(as_worker, "assignments/", asked)["results"]) == n_found


def test_newest_plan_and_its_documents(farm: Farm, as_worker: APIClient) -> None:
    plan = ask(as_worker, "plan/")

    assert (plan["id"], plan["number"], plan["n_unassigned"]) == (farm.plan.pk, 2, 2)
    assert ask(as_worker, f"plans/{plan['id']}/problem/") == farm.plan.problem
    assert ask(as_worker, f"plans/{plan['id']}/solution/") == farm.plan.solution


def test_farm_without_a_plan_says_so(farm: Farm, as_worker: APIClient) -> None:
    PlanRun.objects.all().delete()

    response = as_worker.get("/api/v1/sites/ours/plan/")

    assert (response.status_code, response.json()["code"]) == (404, "not_found")


# By hand ----------------------------------------------------------------------------------------


def test_lead_gives_work_away_on_what_was_read(farm: Farm, as_manager: APIClient) -> None:
    given = give(as_manager, farm, farm.assigned)

    assert given.status_code == 200
    body = given.json()
    assert (body["workers"][0]["name"], body["machine"], body["is_by_hand"]) == ("Max", None, True)
    assert datetime.fromisoformat(body["starts_at"]) == datetime.fromisoformat(iso(farm, 30))
    assert given["ETag"] == as_manager.get(path_of(farm.assigned))["ETag"]
    assert Assignment.objects.get(work_order=farm.assigned).by == farm.manager.actor


def test_work_given_away_meanwhile_is_not_given_blindly(farm: Farm, as_manager: APIClient) -> None:
    old = as_manager.get(path_of(farm.assigned))["ETag"]
    given = give(as_manager, farm, farm.assigned, etag=old)

    refused = give(as_manager, farm, farm.assigned, etag=old, workers=[farm.worker.pk])

    assert (refused.status_code, refused.json()["code"]) == (412, "stale")
    assert refused["ETag"] == given["ETag"]
    assert refused.json()["detail"].startswith("Max changed it")


def test_plan_made_anew_meanwhile_is_seen_too(farm: Farm, as_manager: APIClient) -> None:
    """The plan bumps no work order, but it is not what the lead read any more."""
    old = as_manager.get(path_of(farm.assigned))["ETag"]
    Assignment.objects.filter(work_order=farm.assigned).delete()

    assert give(as_manager, farm, farm.assigned, etag=old).status_code == 412


@pytest.mark.parametrize("method", ["put", "delete"])
def test_assignment_is_not_written_without_saying_what_was_read(
    farm: Farm, as_manager: APIClient, method: str
) -> None:
    body = {"workers": [farm.manager.pk], "starts_at": iso(farm, 30)}

    refused = getattr(as_manager, method)(path_of(farm.assigned), body)

    assert (refused.status_code, refused.json()["code"]) == (428, "if_match_missing")
    assert not Assignment.objects.get(work_order=farm.assigned).is_by_hand


def test_person_already_on_other_work_is_refused_by_name(farm: Farm, as_manager: APIClient) -> None:
    give(as_manager, farm, farm.orders[10])

    refused = give(as_manager, farm, farm.orders[12])

    assert (refused.status_code, refused.json()["code"]) == (422, "already_booked")
    assert "Max" in refused.json()["detail"]


def test_machine_out_of_use_is_not_given(farm: Farm, as_manager: APIClient) -> None:
    say(as_manager, f"machines/{farm.machines[0].pk}/hold/", {"reason": "brakes"})

    refused = give(as_manager, farm, farm.orders[10], machine=farm.machines[0].pk)

    assert (refused.status_code, refused.json()["code"]) == (422, "cannot_assign")


def test_taken_off_again_anybody_may_have_it(farm: Farm, as_manager: APIClient) -> None:
    tag = give(as_manager, farm, farm.assigned)["ETag"]

    freed = as_manager.delete(path_of(farm.assigned), headers={"If-Match": tag})

    assert (freed.status_code, freed.content) == (204, b"")
    assert not Assignment.objects.filter(work_order=farm.assigned).exists()
    assert ask(as_manager, f"work-orders/{farm.assigned.pk}/assignment/")["workers"] == []


def test_a_search_is_asked_for_followed_and_stopped(farm: Farm, as_manager: APIClient) -> None:
    asked = say(as_manager, "plan/search/", {"seconds": 45})
    assert asked.status_code == 202
    run = TaskRun.objects.filter(kind="dayplan.solve").latest("pk")
    assert run.args == {"seconds": 45}

    found = ask(as_manager, "plan/search/")
    assert (found["is_running"], found["left_s"]) == (True, 30)

    assert say(as_manager, "plan/search/stop/").json()["is_to_stop"] is True
    DaySearch.objects.update(is_running=False)
    refused = say(as_manager, "plan/search/stop/")
    assert (refused.status_code, refused.json()["code"]) == (422, "no_search_running")


@pytest.mark.parametrize("seconds", [-1, 601, "long", float("nan"), "nan", "inf"])
def test_a_search_of_no_sensible_length_is_refused(as_manager: APIClient, seconds: object) -> None:
    answer = say(as_manager, "plan/search/", {"seconds": seconds})
    assert answer.status_code == 400
    assert not TaskRun.objects.filter(kind="dayplan.solve", args__has_key="seconds").exists()


def test_changes_since_a_moment_say_before_and_after(farm: Farm, as_worker: APIClient) -> None:
    span = {"starts_at": iso(farm, 30), "ends_at": iso(farm, 50)}
    before = {"work_order": farm.assigned.pk, "workers": [1], "machine": None, **span}
    after = {**before, "workers": [2], "machine": 3}
    change = {"work_order": farm.assigned.pk, "kind": "reassigned", "workers": [1, 2]}
    PlanRun.objects.filter(pk=farm.plan.pk).update(
        changes=[{**change, "before": before, "after": after}]
    )

    [told] = ask(as_worker, "plan/changes/", {"since": iso(farm, -5)})["changes"]

    assert (told["before"]["workers"], told["after"]["workers"]) == ([1], [2])
    assert (told["kind"], told["workers"]) == ("reassigned", [1, 2])
    assert ask(as_worker, "plan/changes/", {"since": iso(farm, 5)})["changes"] == []


def test_what_would_help_is_said_for_work_that_nobody_has(farm: Farm, as_worker: APIClient) -> None:
    Shift.objects.update(presence=Presence.SICK)

    found = ask(as_worker, f"work-orders/{farm.orders[6].pk}/help/")

    assert found["clash"] == ["people"]  # nobody is on shift
    [more] = found["remedies"]
    assert (more["kind"], more["workers"], more["machine"]) == ("one_more_person", [None], None)


def test_work_that_is_over_has_no_help(farm: Farm, as_worker: APIClient) -> None:
    WorkOrder.objects.filter(pk=farm.orders[6].pk).update(due_at=farm.now)

    answer = as_worker.get(f"/api/v1/sites/ours/work-orders/{farm.orders[6].pk}/help/")

    assert (answer.status_code, answer.json()["code"]) == (404, "not_found")
