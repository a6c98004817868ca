"""The API of work: what people say of it, and rules that are changed on what was read."""

from typing import Any

import pytest
from rest_framework.test import APIClient

from equipment.site.models import Change
from tests.farm import Farm, ask, say

pytestmark = pytest.mark.django_db


def test_work_is_started_and_done_in_the_tellers_name(farm: Farm, as_worker: APIClient) -> None:
    order = f"work-orders/{farm.orders[5].pk}/"

    started = say(as_worker, f"{order}start/", {"machine": farm.machines[0].pk})
    done = say(as_worker, f"{order}done/")

    assert (started.json()["status"], started.json()["started_by"]) == ("IN-PROCESS", "Ana")
    assert (done.json()["status"], done.json()["outcome"]) == ("COMPLETED", "done")
    assert [r["kind"] for r in ask(as_worker, f"{order}reports/")["results"]] == [
        "started",
        "done",
    ]
    assert as_worker.get(f"/api/v1/sites/ours/{order}")["ETag"] == done["ETag"]
    assert started["ETag"] != done["ETag"]


def test_part_done_says_how_many_stalls_are_left(farm: Farm, as_worker: APIClient) -> None:
    order = f"work-orders/{farm.orders[5].pk}/part/"

    done = say(as_worker, order, {"n_left": 7, "reason": "cows came back"}).json()

    assert (done["outcome"], done["n_left"]) == ("part", 7)


def test_could_not_needs_its_reason(farm: Farm, as_worker: APIClient) -> None:
    path = f"work-orders/{farm.orders[5].pk}/could-not/"

    assert say(as_worker, path).status_code == 400
    assert say(as_worker, path, {"reason": "ice"}).json()["outcome"] == "could_not"


def test_last_word_is_taken_back(farm: Farm, as_worker: APIClient) -> None:
    order = f"work-orders/{farm.orders[5].pk}/"
    say(as_worker, f"{order}start/")

    assert say(as_worker, f"{order}undo/").json()["status"] == "NEEDS-ACTION"


def test_work_that_waits_on_other_work_is_not_started(farm: Farm, as_worker: APIClient) -> None:
    order = f"work-orders/{farm.orders[0].pk}/"

    refused = say(as_worker, f"{order}start/")

    assert (refused.status_code, refused.json()["code"]) == (422, "waiting_on")
    needs = ask(as_worker, f"{order}needs/")["results"]
    assert [(need["on"], need["relation"], need["gap_min"]) for need in needs] == [
        (first.pk, "FINISHTOSTART", 10) for first in farm.orders[1:3]
    ]


def test_called_off_work_is_not_called_back(farm: Farm, as_manager: APIClient) -> None:
    order = f"work-orders/{farm.orders[5].pk}/"

    cancelled = say(as_manager, f"{order}cancel/", {"reason": "pen is empty"}).json()

    assert (cancelled["status"], cancelled["outcome"]) == ("CANCELLED", "not_needed")
    say(as_manager, f"{order}done/")
    decided = say(as_manager, f"{order}decision/", {"accept": False}).json()
    assert decided["needs_decision"] == ""


def test_problem_stays_open_until_it_is_answered(
    farm: Farm, as_worker: APIClient, as_manager: APIClient
) -> None:
    problem = say(as_worker, "problems/", {"text": "gate bent", "place": farm.lane.pk}).json()
    path = f"problems/{problem['id']}/answer/"

    first = say(as_manager, path, {"answer": "welded"}).json()
    second = say(as_manager, path, {"answer": "painted"}).json()

    assert (first["answer"], first["answered_by"]) == ("welded", "Max")
    assert second == first
    still_open = ask(as_manager, "problems/", {"is_open": "true"})["results"]
    assert problem["id"] not in [row["id"] for row in still_open]


# Standing orders --------------------------------------------------------------------------------


def patch(client: APIClient, farm: Farm, body: dict[str, Any], etag: str | None) -> Any:
    headers = {"If-Match": etag} if etag else {}
    path = f"/api/v1/sites/ours/standing-orders/{farm.rule.pk}/"
    return client.patch(path, body, headers=headers)


def etag_of(client: APIClient, farm: Farm) -> str:
    return str(client.get(f"/api/v1/sites/ours/standing-orders/{farm.rule.pk}/")["ETag"])


def test_rule_is_changed_on_the_version_that_was_read(farm: Farm, as_manager: APIClient) -> None:
    edited = patch(as_manager, farm, {"n_people": 2}, etag_of(as_manager, farm))

    assert edited.status_code == 200
    assert edited.json()["standing_order"]["n_people"] == 2
    assert edited.json()["standing_order"]["version"] == 2
    assert set(edited.json()["counts"]) == {
        "n_made",
        "n_moved",
        "n_cancelled",
        "n_missed",
        "n_revived",
    }
    assert edited["ETag"] == etag_of(as_manager, farm)


def test_change_without_a_version_is_asked_for_one(farm: Farm, as_manager: APIClient) -> None:
    """RFC 6585, section 3: 428 Precondition Required."""
    refused = patch(as_manager, farm, {"n_people": 2}, None)

    assert (refused.status_code, refused.json()["code"]) == (428, "if_match_missing")


def test_change_on_an_old_version_hears_the_new_one_and_who_made_it(
    farm: Farm, as_manager: APIClient
) -> None:
    """RFC 9110, section 13.1.1: 412 Precondition Failed."""
    old = etag_of(as_manager, farm)
    patch(as_manager, farm, {"n_people": 2}, old)

    refused = patch(as_manager, farm, {"n_people": 3}, old)

    assert (refused.status_code, refused.json()["code"]) == (412, "stale")
    assert refused["ETag"] == etag_of(as_manager, farm)
    assert refused["ETag"] in refused.json()["detail"]
    assert refused.json()["detail"].startswith("Max changed it")


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"trigger": "calendar"}, "/trigger"),
        ({"n_peopel": 2}, "/n_peopel"),
        ({"priority": 10}, "/priority"),
        ({"trigger_rule": {"within": "noon"}}, "/trigger_rule/within"),
        ({"target": {"kind": "pen", "keys": ["nowhere"]}}, "/target"),
        ({"title": {"en": 7, "es": None}}, "/title/es"),
        ({"machine_kinds": ["plane"]}, "/machine_kinds/0"),
    ],
)
def test_rule_that_cannot_be_is_refused_with_its_fault_and_changes_nothing(
    farm: Farm, as_manager: APIClient, body: dict[str, Any], pointer: str
) -> None:
    before = etag_of(as_manager, farm)

    refused = patch(as_manager, farm, body, before)

    assert refused.status_code == 400
    pointers = [fault["pointer"] for fault in refused.json()["errors"]]
    assert any(found.startswith(pointer) for found in pointers), pointers
    assert etag_of(as_manager, farm) == before
    assert not Change.objects.filter(topic="standing_order.edited").exists()


def test_what_done_work_takes_is_told_with_how_sure_it_is(farm: Farm, as_worker: APIClient) -> None:
    """Five jobs of 20 minutes beside 5: precisions 5 / 0.05 and 1 / 0.38², weight 0.935."""
    found = ask(as_worker, "work-content/")

    [scrape] = [each for each in found["orders"] if each["standing_order"] == farm.scrape.pk]
    assert (scrape["key"], scrape["n_jobs"], scrape["why_not"]) == ("base_min", 5, None)
    learned = scrape["learned"]
    assert learned["weight_frac"] == pytest.approx(100 / 106.925, abs=1e-5)
    assert learned["value"] == pytest.approx(5 * 4 ** (100 / 106.925), rel=1e-5)
    assert learned["low"] < learned["value"] < learned["high"]
    [groom] = [each for each in found["orders"] if each["standing_order"] == farm.rule.pk]
    assert (groom["learned"], groom["why_not"]) == (None, "few_jobs")
    assert found["loads"] == []


def test_taking_over_writes_it_into_the_rule(farm: Farm, as_manager: APIClient) -> None:
    path = f"standing-orders/{farm.scrape.pk}/"

    taken = say(as_manager, f"{path}take-over/")

    assert taken.json()["standing_order"]["duration"] == {"base_min": 18.3}
    assert as_manager.get(f"/api/v1/sites/ours/{path}")["ETag"] == taken["ETag"]


def test_nothing_learned_is_not_taken_over(farm: Farm, as_manager: APIClient) -> None:
    refused = say(as_manager, f"standing-orders/{farm.rule.pk}/take-over/")

    assert (refused.status_code, refused.json()["code"]) == (422, "nothing_learned")
