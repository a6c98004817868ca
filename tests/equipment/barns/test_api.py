"""The API of the barns."""

import pytest
from rest_framework.test import APIClient

from tests.farm import Farm, ask, say

pytestmark = pytest.mark.django_db


def test_pen_shows_its_beds_and_alleys(farm: Farm, as_worker: APIClient) -> None:
    pen = ask(as_worker, f"pens/{farm.pens[0].pk}/")

    assert (pen["n_cows"], pen["return_mode"]) == (300, "none")
    [beds] = pen["bed_groups"]
    assert (beds["place"]["kind"], beds["n_stalls"]) == ("bed_group", 100)
    assert pen["alleys"] == [beds["alley"]]


def test_alleys_of_one_pen(farm: Farm, as_worker: APIClient) -> None:
    found = ask(as_worker, "alleys/", {"pen": farm.pens[1].pk})["results"]

    assert [alley["pen"] for alley in found] == [farm.pens[1].pk]


def test_held_pen_keeps_its_work_waiting(farm: Farm, as_manager: APIClient) -> None:
    order = farm.orders[5]
    assert ask(as_manager, f"work-orders/{order.pk}/waiting-on/") == {"waiting_on": []}

    held = say(as_manager, f"pens/{farm.pens[0].pk}/hold/", {"reason": "ice"})

    assert (held.status_code, held.json()["put_by"]) == (201, "Max")
    [wait] = ask(as_manager, f"work-orders/{order.pk}/waiting-on/")["waiting_on"]
    assert (wait["code"], wait["subject"], wait["subject_id"]) == ("hold", "pen", farm.pens[0].pk)
