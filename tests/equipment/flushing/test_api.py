"""The API of locks: only the owner takes one off, or a lead who writes down how."""

import pytest
from rest_framework.test import APIClient

from equipment.flushing.models import Lock
from tests.farm import Farm, ask, say

pytestmark = pytest.mark.django_db


def test_lock_is_the_callers_own_and_shown_as_such(
    farm: Farm, as_worker: APIClient, as_manager: APIClient
) -> None:
    made = say(as_worker, "locks/", {"place": farm.pens[0].pk, "what": "pump"})

    assert made.status_code == 201
    assert (made.json()["owner"], made.json()["is_mine"]) == ("Ana", True)
    assert ask(as_manager, f"locks/{made.json()['id']}/")["is_mine"] is False


def test_another_persons_lock_stays_on(farm: Farm, as_worker: APIClient) -> None:
    lock = Lock.objects.get(owner=farm.manager.actor)

    refused = say(as_worker, f"locks/{lock.pk}/off/", {"note": "he is gone"})

    assert (refused.status_code, refused.json()["code"]) == (403, "not_lock_owner")
    assert Lock.objects.get(pk=lock.pk).off_at is None


def test_lead_takes_an_absent_owners_lock_off_by_the_procedure_only(
    farm: Farm, as_manager: APIClient
) -> None:
    path = f"locks/{Lock.objects.get(owner=farm.worker.actor).pk}/off/"

    assert say(as_manager, path).json()["code"] == "note_missing"
    done = say(as_manager, path, {"note": "not on the farm, told by phone, all clear"})

    assert (done.json()["off_by"], done.json()["off_at"] is None) == ("Max", False)
    on = ask(as_manager, "locks/", {"is_on": "true"})["results"]
    assert [lock["owner"] for lock in on] == ["Max"]
