"""The phone's three addresses: pair, carry the work, tell what happened."""

import uuid
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from crews.devices.services import MAX_WRONG, make_pairing_code
from equipment.flushing.models import Lock
from equipment.flushing.services import put_lock
from equipment.site.models import Event, Role
from schedules.phone.intake import MAX_EVENTS
from tests.factories import make_standing_order, make_user, make_worker
from tests.farm import Farm

pytestmark = pytest.mark.django_db

EVENTS = "/api/v1/sites/ours/events/"
MY_WORK = "/api/v1/sites/ours/my-work/"


def event(number: int, **facts: Any) -> dict[str, Any]:
    usual = {"id": str(uuid.uuid4()), "kind": "problem", "payload": {"text": "bent"}, "seq": number}
    return {**usual, "client_at": "2026-03-04T05:10:00-07:00", **facts}


# Pairing ----------------------------------------------------------------------------------------


def test_code_is_traded_for_a_token_that_opens_the_persons_own_work(farm: Farm) -> None:
    code = make_pairing_code(
        site_id=farm.site.pk, worker_id=farm.worker.pk, by=farm.manager.actor, at=farm.now
    )

    paired = APIClient().post("/api/v1/pair/", {"code": code})

    assert paired.status_code == 201
    body = paired.json()
    assert (body["site"], body["worker"], body["language"]) == ("ours", "Ana", "es")
    token = {"Authorization": f"Bearer {body['token']}"}
    assert APIClient().get(MY_WORK, headers=token).json()["worker"]["name"] == "Ana"


def test_wrong_codes_are_refused_and_then_not_even_looked_at(farm: Farm) -> None:
    client = APIClient(REMOTE_ADDR="192.0.2.7")  # RFC 5737: documentation
    statuses = [
        client.post("/api/v1/pair/", {"code": "WRONGONE"}).status_code
        for _try in range(MAX_WRONG + 1)
    ]
    assert statuses == [422] * MAX_WRONG + [429]


# The parcel -------------------------------------------------------------------------------------


def test_parcel_carries_the_persons_jobs_and_what_they_need(
    farm: Farm, as_worker: APIClient
) -> None:
    body = as_worker.get(MY_WORK).json()

    assert [job["id"] for job in body["jobs"]] == [order.pk for order in farm.orders[3:5]]
    job = body["jobs"][0]
    assert (job["status"], job["machine"]["name"]) == ("NEEDS-ACTION", "Loader-1")
    assert job["planned_start"] < job["planned_end"] <= job["due_at"]
    held = {machine["name"]: machine["is_held"] for machine in body["machines"]}
    assert held == {"Loader-1": False, "Loader-2": True, "Loader-3": True}
    assert [lock["is_mine"] for lock in body["locks"]] == [False, True]
    assert {place["kind"] for place in body["places"]} == {"alley", "basin", "lane", "pen", "tank"}
    assert body["visits"]


def test_parcel_says_what_a_job_waits_on(farm: Farm, as_worker: APIClient) -> None:
    farm.orders[3].needs.create(site=farm.site, on=farm.orders[8])

    body = as_worker.get(MY_WORK).json()

    assert [w["code"] for w in body["jobs"][0]["waiting_on"]] == ["dependency"]


def test_parcel_says_which_work_the_persons_own_locks_keep_water_from(
    farm: Farm, as_worker: APIClient
) -> None:
    Lock.objects.all().delete()
    order = farm.orders[3]
    order.standing_order = make_standing_order(farm.site, "rake", needs_lock=True)
    order.save()

    def told() -> tuple[bool, bool]:
        job = as_worker.get(MY_WORK).json()["jobs"][0]
        assert (job["id"], job["place_id"]) == (order.pk, order.place_id)
        return job["needs_lock"], job["is_locked"]

    assert told() == (True, False)
    lock: dict[str, Any] = {"what": "", "at": farm.now}
    lock |= {"site_id": farm.site.pk, "place_id": order.place_id}
    put_lock(by=make_worker(farm.site, "another").actor, **lock)
    assert told() == (True, False)  # everyone exposed puts on a lock of their own
    put_lock(by=farm.worker.actor, **lock)
    assert told() == (True, True)


def test_parcel_takes_as_many_queries_for_many_jobs_as_for_few(
    farm: Farm, as_worker: APIClient
) -> None:
    def n_queries() -> int:
        with CaptureQueriesContext(connection) as queries:
            as_worker.get(MY_WORK)
        return len(queries)

    few = n_queries()
    for hours, order in enumerate(farm.orders[10:20], start=5):
        farm._give(order, farm.now + hours * (farm.orders[0].due_at - farm.now) / 4)
    assert n_queries() == few
    assert few == 24


def test_account_that_is_no_worker_has_no_parcel(farm: Farm) -> None:
    client = APIClient()
    client.force_login(make_user(Role.MANAGER, farm.site))

    response = client.get(MY_WORK)

    assert (response.status_code, response.json()["code"]) == (404, "not_found")


# Events -----------------------------------------------------------------------------------------


def test_events_are_answered_one_by_one_in_their_order(as_worker: APIClient) -> None:
    sent = [event(1), event(2, kind="unheard_of"), event(4)]

    answers = as_worker.post(EVENTS, {"events": sent}).json()["answers"]

    assert [a["id"] for a in answers] == [e["id"] for e in sent]
    assert [a["state"] for a in answers] == ["applied", "refused", "gap"]
    assert answers[2]["expected_seq"] == 3


@pytest.mark.parametrize(
    ("facts", "pointer"),
    [
        ({"client_at": "2026-03-04T05:10:00"}, "/events/0/client_at"),
        ({"client_at": "2026-02-30T05:10:00Z"}, "/events/0/client_at"),
        ({"id": "7"}, "/events/0/id"),
        ({"seq": 0}, "/events/0/seq"),
        ({"kind": "x" * 41}, "/events/0/kind"),
        ({"payload": [1]}, "/events/0/payload"),
        ({"payload": None}, "/events/0/payload"),
    ],
)
def test_event_of_another_shape_is_refused_before_any_is_taken(
    as_worker: APIClient, facts: dict[str, Any], pointer: str
) -> None:
    response = as_worker.post(EVENTS, {"events": [event(1, **facts), event(2)]})

    assert response.status_code == 400
    assert pointer in {fault["pointer"] for fault in response.json()["errors"]}
    assert not Event.objects.exists()


@pytest.mark.parametrize("n_events", [0, MAX_EVENTS + 1])
def test_batch_has_one_to_fifty_events(as_worker: APIClient, n_events: int) -> None:
    events = [event(n) for n in range(1, n_events + 1)]

    assert as_worker.post(EVENTS, {"events": events}).status_code == 400


def test_fifty_events_are_taken(as_worker: APIClient) -> None:
    events = [event(n) for n in range(1, MAX_EVENTS + 1)]

    answers = as_worker.post(EVENTS, {"events": events}).json()["answers"]

    assert {answer["state"] for answer in answers} == {"applied"}
