"""The phone's addresses: pair, and tell what happened. What it pulls is in test_pull."""

import uuid
from typing import Any

import pytest
from rest_framework.test import APIClient

from crews.devices.services import MAX_WRONG, make_pairing_code
from equipment.site.models import Event
from schedules.phone.intake import MAX_EVENTS
from tests.farm import Farm

pytestmark = pytest.mark.django_db

EVENTS = "/api/v1/sites/ours/events/"
PULL = "/api/v1/sites/ours/pull/"


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
    assert APIClient().get(PULL, headers=token).json()["worker"] == farm.worker.pk


def test_wrong_codes_are_refused_and_then_not_even_looked_at(farm: Farm) -> None:
    client = APIClient(REMOTE_ADDR="192.0.2.7")  # RFC 5737: documentation
    statuses = [
        client.post("/api/v1/pair/", {"code": "WRONGONE"}).status_code
        for _try in range(MAX_WRONG + 1)
    ]
    assert statuses == [422] * MAX_WRONG + [429]


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
