"""The API of the day's clock."""

from datetime import datetime, timedelta

import pytest
from rest_framework.test import APIClient

from schedules.rounds.models import MilkingState
from tests.farm import Farm, ask, say

pytestmark = pytest.mark.django_db


def test_visits_of_a_milking_come_with_the_windows_of_their_beds(
    farm: Farm, as_worker: APIClient
) -> None:
    visits = ask(as_worker, "pen-visits/", {"milking": farm.milkings[0].pk})["results"]

    assert [visit["pen"] for visit in visits] == [pen.pk for pen in farm.pens]
    [window] = visits[0]["windows"]
    opens, closes = (datetime.fromisoformat(window[f"usable_{x}"]) for x in ("from", "until"))
    assert closes - opens == timedelta(minutes=14)


def test_moment_told_times_the_rest_of_the_milking_anew(farm: Farm, as_worker: APIClient) -> None:
    last = f"pen-visits/{farm.visits[2].pk}/"
    before = ask(as_worker, last)["called_at"]

    told = say(as_worker, f"pen-visits/{farm.visits[0].pk}/moments/", {"moment": "first_on"})

    assert list(told.json()["actual"]) == ["first_on"]
    assert ask(as_worker, last)["called_at"] < before
    assert ask(as_worker, f"milkings/{farm.milkings[0].pk}/")["state"] == MilkingState.STARTED


def test_milking_is_started_and_ended_once_in_that_order(farm: Farm, as_manager: APIClient) -> None:
    milking = f"milkings/{farm.milkings[0].pk}/"

    refused = say(as_manager, f"{milking}end/")
    started = say(as_manager, f"{milking}start/")
    again = say(as_manager, f"{milking}start/")

    assert (refused.status_code, refused.json()["code"]) == (422, "milking_state")
    assert started.json()["state"] == "started"
    assert again.json() == started.json()


def test_unknown_moment_is_refused_before_anything(farm: Farm, as_worker: APIClient) -> None:
    refused = say(as_worker, f"pen-visits/{farm.visits[0].pk}/moments/", {"moment": "noon"})

    assert refused.status_code == 400
