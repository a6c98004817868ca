"""Every refusal of the API as `application/problem+json` (RFC 9457), of the pages as HTML."""

from collections.abc import Iterator, Mapping
from http import HTTPStatus
from typing import Any

from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.core.exceptions import ValidationError as ModelValidationError
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.template.loader import render_to_string
from django.utils.translation import gettext as _
from rest_framework import exceptions
from rest_framework.fields import get_error_detail
from rest_framework.renderers import JSONRenderer
from rest_framework.response import Response
from rest_framework.views import set_rollback

from equipment.site.errors import DomainError, FieldFault

MEDIA_TYPE = "application/problem+json"
TYPE_BASE = "urn:penround:problem:"

# The house's words for what the framework names otherwise.
OWN_CODES = {"permission_denied": "forbidden", "parse_error": "invalid", "error": "server_error"}


def title_of(status: int) -> str:
    """Return the words people read above the detail."""
    titles = {
        400: _("What was sent cannot be read"),
        401: _("Sign in first"),
        403: _("Not allowed"),
        404: _("Not found"),
        405: _("This address does not take that method"),
        406: _("No answer in the form asked for"),
        409: _("Still at work on it"),
        410: _("No longer here"),
        412: _("It changed since you read it"),
        413: _("Too much at once"),
        415: _("Send JSON"),
        422: _("Refused"),
        428: _("Say which version you read"),
        429: _("Too many requests"),
        500: _("Something went wrong here"),
        503: _("Busy just now"),
    }
    return titles.get(status, HTTPStatus(status).phrase)


def problem(status: int, code: str, detail: str, faults: list[FieldFault]) -> dict[str, Any]:
    """Return the body of RFC 9457, section 3.1, with our `code` and `errors`."""
    return {
        "type": TYPE_BASE + code,
        "title": title_of(status),
        "status": status,
        "detail": detail,
        "code": code,
        "errors": [
            {"pointer": fault.pointer, "code": fault.code, "detail": fault.detail}
            for fault in faults
        ],
    }


def problem_handler(exc: Exception, context: dict[str, Any]) -> Response | None:
    """Turn what a view raised into a problem; a programming error stays an error (None)."""
    match exc:
        case DomainError():
            response = _respond(exc.status, exc.code, exc.detail, exc.errors)
            if etag := getattr(exc, "etag", None):
                response["ETag"] = etag
            if exc.wait_s:
                response["Retry-After"] = str(exc.wait_s)
        case ModelValidationError():
            response = _from_validation(exceptions.ValidationError(get_error_detail(exc)))
        case exceptions.ValidationError():
            response = _from_validation(exc)
        case exceptions.APIException():
            response = _from_api_exception(exc)
        case Http404():
            response = _respond(404, "not_found", _("There is nothing at this address."), [])
        case PermissionDenied():
            response = _respond(403, "forbidden", _("Your role does not allow this."), [])
        case _:
            return None
    set_rollback()
    request = context["request"]  # a refusal is JSON, also where a table or a page was asked for
    request.accepted_renderer, request.accepted_media_type = JSONRenderer(), MEDIA_TYPE
    return response


def _respond(status: int, code: str, detail: str, faults: list[FieldFault]) -> Response:
    return Response(problem(status, code, detail, faults), status=status, content_type=MEDIA_TYPE)


def _from_validation(exc: exceptions.ValidationError) -> Response:
    faults = list(list_faults(exc.detail))
    detail = _("What was sent cannot be used: see errors.")
    return _respond(400, "invalid", detail, faults)


def _from_api_exception(exc: exceptions.APIException) -> Response:
    status = exc.status_code
    detail = exc.detail
    text = str(detail) if isinstance(detail, str) else title_of(status)
    code = OWN_CODES.get(exc.default_code, exc.default_code)
    response = _respond(status, code, text, [])
    if header := getattr(exc, "auth_header", None):
        response["WWW-Authenticate"] = header
    if wait := getattr(exc, "wait", None):
        response["Retry-After"] = str(int(wait))
    return response


def list_faults(detail: Any, pointer: str = "") -> Iterator[FieldFault]:
    """Walk the nested detail of a validation error; pointers as in RFC 6901."""
    if isinstance(detail, Mapping):
        for key, below in detail.items():
            here = pointer if key == "non_field_errors" else f"{pointer}/{_escape(str(key))}"
            yield from list_faults(below, here)
    elif isinstance(detail, list | tuple):
        for index, below in enumerate(detail):
            is_message = isinstance(below, str)
            yield from list_faults(below, pointer if is_message else f"{pointer}/{index}")
    else:
        yield FieldFault(pointer, getattr(detail, "code", "invalid"), str(detail))


def _escape(key: str) -> str:
    return key.replace("~", "~0").replace("/", "~1")


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    return _answer(request, 400, "invalid", _("The request cannot be read."))


def permission_denied(request: HttpRequest, exception: Exception) -> HttpResponse:
    return _answer(request, 403, "forbidden", _("Your role does not allow this."))


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    """Name the setting that is nearly always the cause, and what was seen in its place."""
    detail = _(
        "The form did not come from this site. SITE_URL is %(set)s; the browser named %(seen)s."
    )
    seen = request.headers.get("Origin") or request.headers.get("Referer") or request.get_host()
    set_to = settings.CSRF_TRUSTED_ORIGINS[0]
    return _answer(request, 403, "forbidden", detail % {"set": set_to, "seen": seen})


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    return _answer(request, 404, "not_found", _("There is nothing at this address."))


def server_error(request: HttpRequest) -> HttpResponse:
    detail = _("It was written to the log. Try again in a minute.")
    return _answer(request, 500, "server_error", detail)


def _answer(request: HttpRequest, status: int, code: str, detail: str) -> HttpResponse:
    """Speak JSON below /api/ and HTML elsewhere, without touching the database."""
    if request.path.startswith("/api/"):
        body = problem(status, code, detail, [])
        return JsonResponse(body, status=status, content_type=MEDIA_TYPE)
    page = render_to_string("error.html", {"title": title_of(status), "detail": detail})
    return HttpResponse(page, status=status)
