"""The API of the roster."""

import pytest
from rest_framework.test import APIClient

from tests.factories import LONG_AGO, make_worker
from tests.farm import Farm, ask, say

pytestmark = pytest.mark.django_db


def test_called_in_sick_marks_the_running_shift(farm: Farm, as_manager: APIClient) -> None:
    shift = say(as_manager, f"workers/{farm.worker.pk}/sick/").json()

    assert (shift["presence"], shift["worker_name"]) == ("sick", "Ana")
    sick = ask(as_manager, "shifts/", {"presence": "sick"})["results"]
    assert [row["worker"] for row in sick] == [farm.worker.pk]


def test_marked_here_by_mistake_is_taken_back(farm: Farm, as_manager: APIClient) -> None:
    here = f"workers/{farm.worker.pk}/here/"

    assert say(as_manager, here).json()["presence"] == "here"
    assert say(as_manager, here, {"is_here": False}).json()["presence"] == "expected"


def test_worker_without_a_shift_is_not_marked(farm: Farm, as_manager: APIClient) -> None:
    farm.worker.shifts.all().delete()

    refused = say(as_manager, f"workers/{farm.worker.pk}/here/")

    assert (refused.status_code, refused.json()["code"]) == (422, "no_shift")


def test_crew_is_put_on_pens_of_a_shift(farm: Farm, as_manager: APIClient) -> None:
    pattern = farm.worker.shifts.get().pattern_id
    pens = [pen.pk for pen in farm.pens]
    body = {"crew": farm.crew.pk, "pattern": pattern, "pens": pens, "local_date": "2026-03-04"}

    given = say(as_manager, "crew-pens/", body)

    assert (given.status_code, given.json()) == (201, {"n_pens": 3})
    on = ask(as_manager, "crew-pens/")["results"]
    assert [row["pen"] for row in on if row["local_date"] == "2026-03-04"] == pens


def test_workers_show_their_skills_with_dates(farm: Farm, as_manager: APIClient) -> None:
    worker = make_worker(farm.site, "eva", skills=("loader",))

    shown = ask(as_manager, f"workers/{worker.pk}/")

    assert shown["skills"] == [
        {"skill": "loader", "from_on": LONG_AGO.isoformat(), "until_on": None}
    ]


def test_pattern_says_the_farms_own_clock(farm: Farm, as_manager: APIClient) -> None:
    patterns = ask(as_manager, "shift-patterns/")["results"]

    assert [pattern["starts_local"] for pattern in patterns] == ["05:00", "21:00"]
