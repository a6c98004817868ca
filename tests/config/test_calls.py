"""Every call of the API as it should be, sent twice, sent wrongly."""

import json
from typing import Any

import pytest
from django.test import Client
from rest_framework.test import APIClient

from equipment.site.models import IdempotencyKey
from schedules.work.progress import start_work
from tests.config.calls import ANYWHERE, BODIES, Operation, iso, operations, path_of
from tests.farm import Farm

pytestmark = pytest.mark.django_db

# Events are known by their own ids; a token is a secret that no answer is kept of.
KEYLESS = (*ANYWHERE, "events/", "phone/token/")
POSTS = [op for op in operations() if op[0] == "POST" and op[1] not in KEYLESS]
ADDS = ("/hold/", "/level/", "/gate/", "/clean-out/")  # a row of its own beside the one named
LATER = ("year-ahead/", "plan/search/")  # done in the background
CREATES = {route for _post, route in POSTS if "<key:pk>" not in route or route.endswith(ADDS)} - {
    "plan/search/stop/"
}


def post(client: Client, farm: Farm, route: str, body: Any, key: str = "k-1") -> Any:
    return client.post(
        path_of(route, farm, farm.slug), body, headers={"Idempotency-Key": key}, format="json"
    )


def prepare(farm: Farm, operation: Operation) -> None:
    """Do what must have come before."""
    if operation[1] == "work-orders/<key:pk>/undo/":
        start_work(work_order_id=farm.orders[5].pk, **farm.who(farm.manager) | {"at": farm.now})


@pytest.mark.parametrize("operation", POSTS, ids=" ".join)
def test_call_has_its_effect_once_however_often_it_is_sent(
    farm: Farm, as_manager: APIClient, operation: Operation
) -> None:
    prepare(farm, operation)
    body = BODIES[operation](farm)
    path = path_of(operation[1], farm, farm.slug)

    def send(said: dict[str, Any]) -> Any:
        return as_manager.post(path, said, headers={"Idempotency-Key": "k-1"}, format="json")

    first = send(body)
    expected = 202 if operation[1] in LATER else 201 if operation[1] in CREATES else 200
    assert first.status_code == expected, first.json()
    after = farm.fingerprint()

    again = send(body)
    assert (again.status_code, again.json()) == (first.status_code, first.json())
    assert farm.fingerprint() == after

    other = send({**body, "at": iso(farm, -1)})
    assert (other.status_code, other.json()["code"]) == (422, "idempotency_key_reused")
    assert farm.fingerprint() == after


@pytest.mark.parametrize("key", ["", "x" * 81])
def test_call_without_a_key_of_its_own_does_nothing(
    farm: Farm, as_manager: APIClient, key: str
) -> None:
    before = farm.fingerprint()
    for operation in POSTS:
        response = post(as_manager, farm, operation[1], BODIES[operation](farm), key)
        assert response.status_code == 400, operation
        assert response.json()["code"] == "idempotency_key_missing"
    assert farm.fingerprint() == before


def test_refused_call_keeps_no_key_so_that_it_can_be_put_right(
    farm: Farm, as_manager: APIClient
) -> None:
    route = "machines/<key:machine_id>/readings/"

    questioned = post(as_manager, farm, route, {"meter_h": 3})
    assert (questioned.status_code, questioned.json()["code"]) == (422, "reading_questioned")
    assert not IdempotencyKey.objects.exists()

    answered = post(as_manager, farm, route, {"meter_h": 3, "reason": "I read it twice"})
    assert answered.status_code == 201


def test_same_key_of_another_person_is_another_key(
    farm: Farm, as_manager: APIClient, as_worker: APIClient
) -> None:
    answers = [post(who, farm, "problems/", {"text": "bent"}) for who in (as_manager, as_worker)]

    assert [answer.json()["reported_by"] for answer in answers] == ["Max", "Ana"]


TIMES = ("at", "read_at", "done_at", "starts_at")
NAIVE = "2026-03-04T05:10:00"


@pytest.mark.parametrize("text", [NAIVE, "0001-01-01T00:00:00Z", "9999-12-31T23:59:59Z", "soon"])
def test_time_that_could_be_meant_in_two_ways_or_none_is_refused(
    farm: Farm, as_manager: APIClient, text: str
) -> None:
    """RFC 3339, section 5.6: date-time ends with Z or an offset."""
    timeless = (
        "calendars/",
        "crew-pens/",
        "sick/",
        "here/",
        "year-ahead/",
        "resume/",
        "stop/",
        "take-over/",
        "rosters/",
        "give-up/",
        "publish/",
        "shifts/",
        "shift-wishes/",
        "swaps/",
        "settle/",
        "plan/search/",
    )
    asked = [op for op in POSTS if not op[1].endswith(timeless)]
    for operation in asked:
        body = {**BODIES[operation](farm), **dict.fromkeys(TIMES, text)}
        response = post(as_manager, farm, operation[1], body)
        assert response.status_code == 400, operation
        pointers = {fault["pointer"].strip("/") for fault in response.json()["errors"]}
        assert pointers & set(TIMES), operation


def test_time_in_the_future_is_refused(farm: Farm, as_manager: APIClient) -> None:
    body = {"text": "bent", "at": iso(farm, 60)}

    assert post(as_manager, farm, "problems/", body).status_code == 400


def test_clock_a_little_ahead_of_ours_means_now(farm: Farm, as_manager: APIClient) -> None:
    body = post(as_manager, farm, "problems/", {"text": "bent", "at": iso(farm, 2)}).json()

    assert body["reported_at"] < iso(farm, 2)


# What cannot be kept ----------------------------------------------------------------------------

UNKEEPABLE = {
    "nul": r'"a\u0000b"',
    "half_a_pair": r'"\ud800"',
    "other_half": r'"\udc00"',
    "beyond_64_bits": "9223372036854775808",
    "far_below": "-9223372036854775809",
    "endless": "1e999",
    "not_a_number": "NaN",
}


def send_raw(client: APIClient, path: str, body: str) -> int:
    headers = {"Idempotency-Key": "k-1", "If-Match": "x"}
    return client.post(path, body, content_type="application/json", headers=headers).status_code


@pytest.mark.parametrize("text", UNKEEPABLE.values(), ids=UNKEEPABLE)
def test_what_the_database_cannot_keep_is_refused_anywhere_in_a_body(
    farm: Farm, as_manager: APIClient, text: str
) -> None:
    for route in ("problems/", "events/", "pair/"):
        path = path_of(route, farm, farm.slug)
        for body in (text, f"[{text}]", f'{{"x": {{"y": [{text}]}}}}', f'{{"text": {text}}}'):
            assert send_raw(as_manager, path, body) == 400, (route, body)


def test_every_call_reads_its_body_by_the_same_rule(farm: Farm, as_manager: APIClient) -> None:
    body = f'{{"x": {UNKEEPABLE["nul"]}}}'
    for _post, route in POSTS:
        assert send_raw(as_manager, path_of(route, farm, farm.slug), body) == 400, route


def test_fault_in_a_body_is_named_by_its_place(farm: Farm, as_manager: APIClient) -> None:
    response = post(as_manager, farm, "problems/", {"text": "bent", "a/b": [{"~": "\0"}]})

    [fault] = response.json()["errors"]
    assert fault["pointer"] == "/a~1b/0/~0"  # RFC 6901, section 3
    assert fault["code"] == "unkeepable_text"


@pytest.mark.parametrize(
    "body",
    [b"", b"{", b"\xff\xfe{\x00}\x00", b"[" * 100_000, b'{"a": 1' + b"0" * 5000 + b"}", b"null"],
)
def test_body_that_is_no_json_is_refused(farm: Farm, as_manager: APIClient, body: bytes) -> None:
    response = as_manager.generic(
        "POST",
        path_of("problems/", farm, farm.slug),
        body,  # type: ignore[arg-type]  # bytes that are no text, on purpose
        content_type="application/json",
        headers={"Idempotency-Key": "k-1"},
    )
    assert response.status_code == 400
    assert response["Content-Type"] == "application/problem+json"


def test_more_than_a_mebibyte_is_too_much(farm: Farm, as_manager: APIClient) -> None:
    response = post(as_manager, farm, "problems/", {"text": "x" * 1_048_577})

    assert (response.status_code, response.json()["code"]) == (413, "too_large")


@pytest.mark.parametrize("charset", ["utf-16", "latin-1", "nonsense"])
def test_charset_that_a_caller_names_changes_nothing(
    farm: Farm, as_manager: APIClient, charset: str
) -> None:
    """RFC 8259, section 8.1: JSON between systems is UTF-8."""
    response = as_manager.generic(
        "POST",
        path_of("problems/", farm, farm.slug) + "?a=%41",
        json.dumps({"text": "bent"}),
        content_type=f"application/json; charset={charset}",
        headers={"Idempotency-Key": "k-1"},
    )
    assert response.status_code == 201


@pytest.mark.parametrize("key", ["0", "9" * 18, "9" * 19, "9" * 400, "-1", "x", "%00", "１"])
def test_key_in_an_address_that_is_nobodys_is_not_found(
    farm: Farm, as_manager: APIClient, key: str
) -> None:
    for things in ("pens", "machines", "work-orders", "batches", "places"):
        response = as_manager.get(f"/api/v1/sites/ours/{things}/{key}/")
        assert response.status_code == 404
        assert response["Content-Type"] == "application/problem+json"


@pytest.mark.parametrize("number", [2**31, 2**63 - 1])
def test_number_as_big_as_the_database_counts_is_nobodys_key(
    farm: Farm, as_manager: APIClient, number: int
) -> None:
    for route, body in (
        ("locks/", {"place": number}),
        ("machines/<key:machine_id>/repairs/", {"cause": "x", "substitute": number}),
        ("batches/<key:pk>/spread/", {"bay": number}),
        ("work-orders/<key:pk>/start/", {"machine": number}),
    ):
        assert post(as_manager, farm, route, body).status_code == 404


@pytest.mark.parametrize("number", ["nan", "NaN", "inf", "-inf", "1e400"])
def test_text_that_is_no_finite_number_is_refused(
    farm: Farm, as_manager: APIClient, number: str
) -> None:
    for route, body in (
        ("machines/<key:machine_id>/readings/", {"meter_h": number}),
        ("batches/<key:pk>/bed/", {"pen": farm.pens[0].pk, "dry_kg": number}),
        ("batches/<key:batch_id>/moisture-tests/", {"moisture_frac": number, "basis": "wb"}),
    ):
        assert post(as_manager, farm, route, body).status_code == 400
