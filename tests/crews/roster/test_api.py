"""The API of the roster."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from crews.people.models import LeaveKind
from crews.people.services import add_leave
from crews.roster.models import RosterRun, SwapRequest
from tests.config.calls import day
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


# Rosters, swaps, wishes ---------------------------------------------------------------------------


def test_roster_asked_for_is_listed_and_shown_with_its_problem(
    farm: Farm, as_manager: APIClient
) -> None:
    asked = say(as_manager, "rosters/", {"from_on": day(farm, 7), "until_on": day(farm, 14)})

    assert (asked.status_code, asked.json()["state"]) == (201, "solving")
    listed = ask(as_manager, "rosters/", {"state": "solving"})["results"]
    assert [row["id"] for row in listed] == [asked.json()["id"]]
    shown = ask(as_manager, f"rosters/{asked.json()['id']}/")
    assert shown["problem"]["schema"] == "penround/week-problem/1"
    assert shown["problem"]["starts_on"] == day(farm, 7)
    assert shown["solution"] is None


def test_list_does_not_read_the_documents(farm: Farm, as_manager: APIClient) -> None:
    with CaptureQueriesContext(connection) as asked:
        assert ask(as_manager, "rosters/")["results"]
    [read] = [q["sql"] for q in asked if 'FROM "crews_rosterrun"' in q["sql"]]
    assert '"problem"' not in read
    assert '"solution"' not in read


def test_period_that_cannot_be_is_refused(farm: Farm, as_manager: APIClient) -> None:
    body = {"from_on": day(farm, -3), "until_on": day(farm, 4)}
    refused = say(as_manager, "rosters/", body)
    assert (refused.status_code, refused.json()["code"]) == (422, "roster_span")


def test_roster_is_published_once(farm: Farm, as_manager: APIClient) -> None:
    draft = RosterRun.objects.filter(site=farm.site).earliest("pk")

    assert say(as_manager, f"rosters/{draft.pk}/publish/").json()["state"] == "published"
    refused = say(as_manager, f"rosters/{draft.pk}/publish/", {"again": 1})
    assert (refused.status_code, refused.json()["code"]) == (422, "roster_state")


def test_swap_says_what_it_breaks_and_is_not_approved(farm: Farm, as_manager: APIClient) -> None:
    swap = SwapRequest.objects.filter(site=farm.site).earliest("pk")
    shown = ask(as_manager, f"swaps/{swap.pk}/")
    assert shown["breaks"] == []
    answer = {"asked_at": shown["asked_at"]}
    add_leave(
        site_id=farm.site.pk,
        worker_id=swap.to_worker_id,
        kind=LeaveKind.VACATION,
        from_on=swap.local_date,
        until_on=swap.local_date + timedelta(days=1),
        at=farm.now,
    )

    [broken] = ask(as_manager, f"swaps/{swap.pk}/")["breaks"]
    refused = say(as_manager, f"swaps/{swap.pk}/settle/", {**answer, "is_approved": True})

    assert (
        broken == f"Max is away on {swap.local_date:%a} {swap.local_date.day} {swap.local_date:%b}."
    )
    assert (refused.status_code, refused.json()["code"]) == (422, "roster_breaks")
    assert [fault["detail"] for fault in refused.json()["errors"]] == [broken]
    said = say(as_manager, f"swaps/{swap.pk}/settle/", {**answer, "is_approved": False}).json()
    assert said["state"] == "refused"


def test_workers_ask_for_themselves_alone(farm: Farm, as_worker: APIClient) -> None:
    wish = {"local_date": day(farm, 9), "pattern": None}
    own = say(as_worker, "shift-wishes/", {**wish, "worker": farm.worker.pk})
    other = say(as_worker, "shift-wishes/", {**wish, "worker": farm.manager.pk})
    swap = {"worker": farm.spare.pk, "local_date": day(farm, 2), "to_worker": farm.worker.pk}

    assert (own.status_code, own.json()) == (201, {"is_wished": True})
    assert other.status_code == 403
    assert say(as_worker, "swaps/", swap).status_code == 403


def test_wish_is_taken_back(farm: Farm, as_manager: APIClient) -> None:
    wish = {"worker": farm.spare.pk, "local_date": day(farm, 5), "pattern": None}
    assert say(as_manager, "shift-wishes/", wish).json() == {"is_wished": True}

    back = say(as_manager, "shift-wishes/", {**wish, "is_taken_back": True})

    assert back.json() == {"is_wished": False}
    on = [row["local_date"] for row in ask(as_manager, "shift-wishes/")["results"]]
    assert on == [day(farm, 9), day(farm, 10)]  # the farm's own two


def test_shift_is_put_by_hand_and_taken(farm: Farm, as_manager: APIClient) -> None:
    pattern = farm.worker.shifts.get().pattern_id
    body = {"worker": farm.worker.pk, "local_date": day(farm, 4), "pattern": pattern}

    put = say(as_manager, "shifts/", body)

    assert (put.status_code, put.json()["breaks"]) == (201, [])
    on = ask(as_manager, "shifts/", {"local_date": day(farm, 4)})["results"]
    assert [row["worker"] for row in on] == [farm.worker.pk]
    say(as_manager, "shifts/", {**body, "pattern": None})
    assert ask(as_manager, "shifts/", {"local_date": day(farm, 4)})["results"] == []
