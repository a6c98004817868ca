"""Refusals as RFC 9457 (Problem Details for HTTP APIs) has them; pointers as RFC 6901 does."""

from collections.abc import Mapping
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.core.exceptions import ValidationError as ModelValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.test import Client
from django.urls import path
from rest_framework import exceptions, serializers
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.test import APIClient
from rest_framework.views import APIView

from config import api_errors
from config.urls import handler400, handler403, handler404, handler500
from equipment.site.errors import DomainError, FieldFault, StaleError

RAISED: dict[str, Exception] = {}


class BayWriter(serializers.Serializer[Any]):
    a_b = serializers.IntegerField(max_value=3)
    spots = serializers.ListField(child=serializers.FloatField())


class Raiser(APIView):
    authentication_classes = ()
    permission_classes = (AllowAny,)

    def get(self, request: Request) -> Response:
        raise RAISED["now"]

    def post(self, request: Request) -> Response:
        writer = BayWriter(data=request.data)
        writer.is_valid(raise_exception=True)
        return Response({})


class Closed(APIView):
    """Open to nobody who did not sign in, by the settings' own default."""

    def get(self, request: Request) -> Response:
        return Response({})


def broken_page(request: HttpRequest) -> HttpResponse:
    raise ZeroDivisionError


urlpatterns = [
    path("api/v1/raise/", Raiser.as_view()),
    path("api/v1/closed/", Closed.as_view()),
    path("api/v1/broken/", broken_page),
    path("broken/", broken_page),
]
__all__ = ["handler400", "handler403", "handler404", "handler500"]
pytestmark = pytest.mark.urls(__name__)


@pytest.fixture
def client() -> APIClient:
    return APIClient(raise_request_exception=False)


def answer_to(client: APIClient, exc: Exception) -> tuple[int, Mapping[str, Any]]:
    RAISED["now"] = exc
    response = client.get("/api/v1/raise/")
    assert response["Content-Type"] == "application/problem+json"  # RFC 9457, section 3
    body: Mapping[str, Any] = response.json()
    assert body["status"] == response.status_code  # section 3.1.2
    assert body["type"] == f"urn:penround:problem:{body['code']}"
    assert body["title"]
    return response.status_code, body


@pytest.mark.parametrize(
    ("exc", "status", "code"),
    [
        (DomainError("The bay is full."), 422, "refused"),
        (StaleError("It moved on."), 412, "stale"),
        (Http404(), 404, "not_found"),
        (PermissionDenied(), 403, "forbidden"),
        (exceptions.NotFound(), 404, "not_found"),
        (exceptions.PermissionDenied(), 403, "forbidden"),
        (exceptions.NotAuthenticated(), 403, "not_authenticated"),
        (exceptions.ParseError(), 400, "invalid"),
        (exceptions.MethodNotAllowed("PUT"), 405, "method_not_allowed"),
        (exceptions.UnsupportedMediaType("text/xml"), 415, "unsupported_media_type"),
        (exceptions.Throttled(wait=3), 429, "throttled"),
    ],
)
def test_each_kind_of_refusal_has_its_status_and_code(
    client: APIClient, exc: Exception, status: int, code: str
) -> None:
    got, body = answer_to(client, exc)

    assert (got, body["code"]) == (status, code)
    assert body["detail"]


def test_domain_error_keeps_its_words_and_faults(client: APIClient) -> None:
    fault = FieldFault(pointer="/pens/3/cows", code="too_many", detail="At most 340.")

    _, body = answer_to(client, DomainError("The pen is too small.", [fault]))

    assert body["detail"] == "The pen is too small."
    assert body["errors"] == [
        {"pointer": "/pens/3/cows", "code": "too_many", "detail": "At most 340."}
    ]


def test_fault_of_a_model_is_a_bad_request_and_no_crash(client: APIClient) -> None:
    status, body = answer_to(client, ModelValidationError({"name": "Too long."}))

    assert status == 400
    assert [fault["pointer"] for fault in body["errors"]] == ["/name"]


def test_every_field_fault_has_its_pointer(client: APIClient) -> None:
    response = client.post("/api/v1/raise/", {"a_b": 9, "spots": [1, "x"]}, format="json")

    assert response.status_code == 400
    assert {(fault["pointer"], fault["code"]) for fault in response.json()["errors"]} == {
        ("/a_b", "max_value"),
        ("/spots/1", "invalid"),
    }


def test_pointer_escapes_as_rfc_6901_section_3_says() -> None:
    (fault,) = api_errors.list_faults({"a/b": {"m~n": ["Wrong."]}})

    assert fault.pointer == "/a~1b/m~0n"


def test_body_that_is_not_json_is_refused(client: APIClient) -> None:
    cut_off = client.post("/api/v1/raise/", "{", content_type="application/json")
    form = client.post("/api/v1/raise/", "a=1", content_type="application/x-www-form-urlencoded")

    assert (cut_off.status_code, cut_off.json()["code"]) == (400, "invalid")
    assert (form.status_code, form.json()["code"]) == (415, "unsupported_media_type")


def test_throttled_caller_is_told_when_to_come_again(client: APIClient) -> None:
    RAISED["now"] = exceptions.Throttled(wait=3)

    assert client.get("/api/v1/raise/")["Retry-After"] == "3"


def test_view_that_opens_nothing_is_closed(client: APIClient) -> None:
    response = client.get("/api/v1/closed/")

    assert (response.status_code, response.json()["code"]) == (401, "not_authenticated")
    assert response["WWW-Authenticate"]  # RFC 9110, section 11.6.1: every 401 has it


@pytest.mark.parametrize(("address", "status"), [("nothing", 404), ("broken/", 500)])
def test_api_speaks_json_and_pages_speak_html(address: str, status: int) -> None:
    client = Client(raise_request_exception=False)

    from_api, page = client.get(f"/api/v1/{address}"), client.get(f"/{address}")

    assert (from_api.status_code, page.status_code) == (status, status)
    assert from_api["Content-Type"] == "application/problem+json"
    assert from_api.json()["status"] == status
    assert page["Content-Type"].startswith("text/html")
    assert b"<h1>" in page.content


def test_programming_error_stays_an_error() -> None:
    assert api_errors.problem_handler(ZeroDivisionError(), {}) is None


def test_form_from_elsewhere_is_told_which_setting_decides() -> None:
    client = Client(enforce_csrf_checks=True)

    response = client.post("/broken/", headers={"origin": "http://elsewhere.example"})

    assert response.status_code == 403
    assert b"SITE_URL is http://localhost:8000" in response.content
    assert b"http://elsewhere.example" in response.content


def test_refusal_is_told_in_the_readers_language(client: APIClient) -> None:
    response = client.get("/api/v1/nothing", headers={"accept-language": "es"})

    assert response["Content-Language"] == "es"
