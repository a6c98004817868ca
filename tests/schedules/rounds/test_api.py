"""The API of the day's clock."""

from datetime import datetime, timedelta

import pytest
from rest_framework.test import APIClient

from equipment.barns.models import Pen
from schedules.rounds.models import MilkingState, PenVisit
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


@pytest.mark.parametrize(
    ("said", "missing"),
    [
        ({"moment": "called"}, "/expected_at"),
        ({"expected_at": "2026-03-04T16:00:00Z"}, "/moment"),
    ],
)
def test_half_of_what_is_foretold_is_refused_and_wipes_nothing(
    said: dict[str, str], missing: str, farm: Farm, as_manager: APIClient
) -> None:
    visit = farm.visits[0]
    foretold = {"called": "2026-03-04T16:00:00+00:00"}
    PenVisit.objects.filter(pk=visit.pk).update(foretold=foretold)

    refused = say(as_manager, f"pen-visits/{visit.pk}/foretell/", said)

    assert refused.status_code == 400
    assert [fault["pointer"] for fault in refused.json()["errors"]] == [missing]
    assert PenVisit.objects.get(pk=visit.pk).foretold == foretold


def test_the_parlors_day_says_plan_record_time_away_and_holding_area(
    farm: Farm, as_worker: APIClient
) -> None:
    farm.parlor.holding_area_m2 = 300
    farm.parlor.save()
    told = ask(as_worker, "parlor-day/")

    # By hand: 80 stalls at 6 s are 600 cows an hour and 8 min a turn.
    assert told["plan"] == {"cows_per_h": 600, "rotation_min": 8}
    assert told["record"] is None
    assert [away["pen"] for away in told["away"]] == [pen.pk for pen in farm.pens]
    assert all(a["day_min"] == a["n_visits"] * a["longest_min"] for a in told["away"])
    # 300 cows leave their pen within 4 min, while 40 are taken.
    peak = max(pen["peak_cows"] for pen in told["holding"]["pens"])
    assert peak == max(row["n_cows"] for row in told["holding"]["load"])
    for pen in told["holding"]["pens"]:
        assert pen["m2_cow"] == 300 / pen["peak_cows"]
        assert pen["is_over"] == (pen["m2_cow"] < 1.6)


def test_an_order_asked_for_is_the_next_milkings(farm: Farm, as_manager: APIClient) -> None:
    order = [pen.pk for pen in farm.pens][::-1]

    taken = say(as_manager, "milking-order/", {"pens": order})
    wrong = say(as_manager, "milking-order/", {"pens": order[:-1]})

    assert taken.json() == {"pens": order}
    assert [pen.pk for pen in Pen.objects.order_by("milking_rank") if pen.n_cows] == order
    assert wrong.status_code == 400


def test_a_date_without_milkings_still_says_the_plan(farm: Farm, as_worker: APIClient) -> None:
    told = ask(as_worker, "parlor-day/", {"local_date": "2031-01-01"})

    assert told["plan"]["cows_per_h"] == 600
    assert (told["holding"], told["order"], told["away"]) == (None, None, [])


def test_a_farm_without_a_parlor_in_use_has_no_parlors_day(
    farm: Farm, as_worker: APIClient
) -> None:
    farm.parlor.place.retired_at = farm.now
    farm.parlor.place.save()

    assert as_worker.get(f"/api/v1/sites/{farm.slug}/parlor-day/").status_code == 404
