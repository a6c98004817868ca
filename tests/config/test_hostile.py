"""Hostile calls through the WSGI application itself (PEP 3333): every refusal is a problem.

What a refusal must look like is RFC 9457, its pointers RFC 6901, Allow RFC 9110 section 15.5.6.
"""

import json
import re
from collections.abc import Callable
from dataclasses import dataclass
from http import HTTPStatus
from io import BytesIO
from typing import Any

import pytest
from django.test import RequestFactory

from config.wsgi import application
from equipment.site.api import PlaceViewSet
from tests.config.calls import ANYWHERE, BODIES, operations, path_of
from tests.farm import Farm

pytestmark = pytest.mark.django_db

PLACES = "/api/v1/sites/ours/places/"
PROBLEMS = "/api/v1/sites/ours/problems/"
METHODS = ("GET", "POST", "PUT", "PATCH", "DELETE", "OPTIONS", "TRACE", "PROPFIND", "ÿ")


@dataclass(frozen=True)
class Answer:
    status: int
    headers: dict[str, str]
    body: bytes


Call = Callable[..., Answer]


@pytest.fixture
def call(farm: Farm) -> Call:
    """Call as a server does: a raw environ, of which everything may be replaced."""

    def send(method: str = "GET", path: str = PLACES, body: bytes = b"", **more: str) -> Answer:
        environ = {
            **RequestFactory().generic("GET", "/").environ,
            "REQUEST_METHOD": method,
            "PATH_INFO": path,
            "HTTP_HOST": "localhost",
            "HTTP_AUTHORIZATION": f"Bearer {farm.manager_token}",
            "HTTP_IDEMPOTENCY_KEY": "k-1",
            "HTTP_IF_MATCH": '"1-1"',
            "CONTENT_TYPE": "application/json",
            "CONTENT_LENGTH": str(len(body)),
            "wsgi.input": BytesIO(body),
            **more,
        }
        said: list[Any] = []
        chunks = application(environ, lambda status, headers, *_: said.extend((status, headers)))
        return Answer(int(said[0][:3]), dict(said[1]), b"".join(chunks))

    return send


def assert_problem(answer: Answer, *statuses: int) -> dict[str, Any]:
    assert answer.status in statuses, (answer.status, answer.body[:300])
    assert answer.headers["Content-Type"] == "application/problem+json"
    body: dict[str, Any] = json.loads(answer.body)
    assert body.keys() == {"type", "title", "status", "detail", "code", "errors"}
    assert body["status"] == answer.status
    assert body["type"] == f"urn:penround:problem:{body['code']}"
    assert body["title"]
    assert body["detail"]
    for fault in body["errors"]:
        assert re.fullmatch("(/([^~/]|~[01])*)*", fault["pointer"])  # RFC 6901, section 3
        assert fault["code"]
        assert fault["detail"]
    return body


# Where ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "path",
    [
        *("/api/", "/api/v1/", "/api/v0/sites/", "/api/v1/nothing", "/api/v1/sites/ours/nothing/"),
        *(
            "/api/v1//sites/",
            "/api/v1/../v1/sites/",
            "/api/v1/sites/nobodys/places/",
            "/api/v1/\0/",
        ),
        *(
            "/api/v1/sites/ours/places/-1/",
            "/api/v1/sites/ours/places/1e3/",
            "/api/v1/sites/%/",
            "/api/v1/\0/",
        ),
        *("/api/v1/sites/\xff\xfe/places/", "/api/v1/sites/ours/places/\xf0\x9f\x90\x84/"),
        *("/api/v1/" + "x" * 60_000, "/api/v1/sites/<script>/", "/api/v1/sites/ours/places/' or/"),
    ],
)
def test_path_that_is_none_is_not_found(call: Call, path: str) -> None:
    for method in ("GET", "POST", "DELETE"):
        assert_problem(call(method, path, b"{}"), 404)


def test_method_that_an_address_does_not_take_is_told_which_it_does(
    farm: Farm, call: Call, record_property: Callable[[str, object], None]
) -> None:
    taken: dict[str, set[str]] = {}
    for method, route in operations():
        taken.setdefault(route, set()).add(method)
    n_calls = 0
    for route, allowed in taken.items():
        for method in sorted({*METHODS, *METHODS[:5]} - allowed):
            answer = call(method, path_of(route, farm, farm.slug), b"{}")
            assert_problem(answer, 405)
            assert allowed <= set(answer.headers["Allow"].split(", ")), route
            n_calls += 1
    record_property("count", f"methods that no address takes: {n_calls} calls, 405 each")


# How --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "accept",
    ["text/html", "application/xml", "image/*", "text/plain;q=1", "x", ";;;", "a/b/c", "ÿ"],
)
def test_form_that_nothing_has_is_refused(call: Call, accept: str) -> None:
    assert_problem(call(HTTP_ACCEPT=accept), 406)


@pytest.mark.parametrize("form", ["xml", "html", "api", "\0", "../", "%"])
def test_form_asked_for_by_a_name_that_nothing_has_is_refused(call: Call, form: str) -> None:
    assert_problem(call(QUERY_STRING=f"format={form}"), 404)


@pytest.mark.parametrize(
    "content_type",
    [
        *("text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x"),
        *("multipart/form-data", "text/xml", "application/octet-stream", "x", ";", "ÿ/ÿ"),
        *("application/json+x", "application/problem+json", "json"),
    ],
)
def test_body_of_another_type_is_refused(call: Call, content_type: str) -> None:
    answer = call("POST", PROBLEMS, b'{"text": "bent"}', CONTENT_TYPE=content_type)

    assert_problem(answer, 415)


def test_body_over_a_mebibyte_is_too_much_for_every_call(farm: Farm, call: Call) -> None:
    body = b'{"text": "' + b"x" * 1_048_576 + b'"}'
    for method, route in sorted(BODIES):
        if method == "POST":  # others ask for a version first
            assert_problem(call(method, path_of(route, farm, farm.slug), body), 413)


@pytest.mark.parametrize("length", ["-1", "x", "", "999999999999999999999", "1e3", "5"])
def test_length_that_is_not_so_breaks_nothing(call: Call, length: str) -> None:
    assert_problem(call("POST", PROBLEMS, b'{"no": "text"}', CONTENT_LENGTH=length), 400)


# Who --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "authorization",
    ["Bearer", "Bearer ", "Bearer a b", "Bearer \xff", "Basic eDp5", "x", "bearer x", "Bearer \0"],
)
def test_token_that_is_none_is_asked_to_sign_in(call: Call, authorization: str) -> None:
    answer = call(HTTP_AUTHORIZATION=authorization)

    assert_problem(answer, 401)
    assert answer.headers["WWW-Authenticate"]  # RFC 9110, section 15.5.2


@pytest.mark.parametrize("cookie", ["sessionid=x", "sessionid=\xff\0", "=;=;", "x" * 60_000])
def test_cookie_that_is_none_is_asked_to_sign_in(call: Call, cookie: str) -> None:
    assert_problem(call(HTTP_AUTHORIZATION="", HTTP_COOKIE=cookie), 401)


@pytest.mark.parametrize("host", ["elsewhere.example", "x y", "localhost:port", "[::1", "\xff", ""])
def test_host_that_is_not_ours_is_refused(call: Call, host: str) -> None:
    assert_problem(call(HTTP_HOST=host, SERVER_NAME="elsewhere.example"), 400)


# What -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "query",
    [
        *("kind=%ff", "kind=%00", "kind=cave", "updated_since=%F0%9F%90%84", "cursor=%ff%00"),
        *("kind=" + "x" * 60_000, "&".join(f"kind={n}" for n in range(3000))),
    ],
)
def test_query_that_cannot_be_is_refused(call: Call, query: str) -> None:
    assert_problem(call(QUERY_STRING=query), 400, 404)


@pytest.mark.parametrize(
    "header",
    [
        *("HTTP_ACCEPT_LANGUAGE", "HTTP_IF_NONE_MATCH", "HTTP_PREFER", "HTTP_X_FORWARDED_FOR"),
        *("HTTP_X_REQUESTED_WITH", "HTTP_RANGE", "HTTP_IF_MODIFIED_SINCE", "HTTP_ORIGIN"),
    ],
)
@pytest.mark.parametrize("value", ["\xff", "\0", "x" * 60_000, ",;=\"'\\", "-1", "%00"])
def test_header_that_makes_no_sense_changes_nothing(call: Call, header: str, value: str) -> None:
    assert call(**{header: value}).status == HTTPStatus.OK


@pytest.mark.parametrize("key", ["\xff", "\0", "\x7f", "é" * 80, "x" * 81, " "])
def test_idempotency_key_that_cannot_be_kept_is_refused(call: Call, key: str) -> None:
    answer = call("POST", PROBLEMS, b'{"text": "bent"}', HTTP_IDEMPOTENCY_KEY=key)

    assert assert_problem(answer, 400)["code"] == "idempotency_key_missing"


@pytest.mark.parametrize("value", ["\xff", "\0", "x", "*", '"', 'W/"1-1"', '""', '"9-9", "2-2"'])
def test_version_that_is_none_is_stale(farm: Farm, call: Call, value: str) -> None:
    for method, route in sorted(BODIES):
        if method in ("PUT", "PATCH", "DELETE") and "attachment" not in route:
            path = path_of(route, farm, farm.slug)
            body = json.dumps(BODIES[method, route](farm)).encode()
            assert_problem(call(method, path, body, HTTP_IF_MATCH=value), 412)


# And when it is our own fault -------------------------------------------------------------------


def test_fault_of_ours_is_a_problem_that_tells_nothing_of_the_inside(
    call: Call, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fall(self: PlaceViewSet, rows: Any) -> None:
        raise ZeroDivisionError("a secret of the house")

    monkeypatch.setattr(PlaceViewSet, "viewed", fall)

    body = assert_problem(call(), 500)
    assert body["code"] == "server_error"
    assert "secret" not in json.dumps(body)


def test_who_guesses_codes_is_told_when_to_come_again(call: Call) -> None:
    body = json.dumps({"code": "WRONGONE"}).encode()
    answers = [call("POST", "/api/v1/pair/", body, REMOTE_ADDR="198.51.100.7") for _ in range(60)]

    assert_problem(answers[0], 422, 410, 404)
    assert_problem(answers[-1], 429)
    assert int(answers[-1].headers["Retry-After"]) > 0  # RFC 6585, section 4


def test_addresses_below_no_site_are_few() -> None:
    assert set(ANYWHERE) == {"schema/", "docs/", "pair/", "sites/"}
