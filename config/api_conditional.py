"""What every GET of the API has: an ETag, a 304 when it still stands, and a word on keeping it."""

import hashlib
from collections.abc import Callable

from django.http import HttpRequest, HttpResponse, HttpResponseNotModified
from django.utils.cache import set_response_etag
from django.utils.http import parse_etags

from crews.devices.auth import token_of
from crews.devices.services import state_for
from equipment.site.preconditions import Asked, etag_of_state, is_known

# Headers that a 304 must repeat (RFC 9110, section 15.4.5).
KEPT = ("Cache-Control", "Content-Location", "ETag", "Vary")
TOLD_BY = ("Accept", "Accept-Language", "Cookie")  # what a list's form follows from
MOST, LONGEST = 4096, 500  # calls whose form is remembered, and signs of their addresses


class ConditionalApiMiddleware:
    """Gives an ETag to answers whose view knew none: a digest of what they say.

    A list that moves with nothing but its site answers 304 before it reads a row, and to a phone
    that asks as somebody asked before, before it looks for the view; here the answer is made first,
    and only not sent.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response
        self.forms: dict[bytes, tuple[Asked, dict[str, str]]] = {}

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.method not in ("GET", "HEAD") or not request.path.startswith("/api/"):
            return self.get_response(request)
        if (short := self._still_stands(request)) is not None:
            return short
        response = self.get_response(request)
        response.headers.setdefault("Cache-Control", "private, no-cache")
        if asked := getattr(response, "asked", None):
            self._remember(request, asked, response)
        if response.status_code != 200:
            return response
        if "ETag" not in response and not response.streaming:
            set_response_etag(response)
        etag = response.headers.get("ETag", "")
        if etag and is_known(request, etag):
            return _not_modified(response)
        return response

    def _still_stands(self, request: HttpRequest) -> HttpResponse | None:
        """Answer 304 where that is plain from the address, the headers and who calls: 1 query."""
        given, token = request.headers.get("If-None-Match", ""), token_of(request)
        if not given or not token or (form := self.forms.get(_told(request))) is None:
            return None
        slug, state = state_for(token) or ("", None)
        if state is None or slug != form[0].slug:
            return None
        if (etag := etag_of_state(form[0], state)) not in parse_etags(given):
            return None
        return HttpResponseNotModified(headers={**form[1], "ETag": etag})

    def _remember(self, request: HttpRequest, asked: Asked, response: HttpResponse) -> None:
        if len(asked.address) > LONGEST:
            return
        if len(self.forms) >= MOST:
            self.forms.clear()
        kept = {name: response[name] for name in KEPT if name in response}
        self.forms[_told(request)] = asked, kept


def _told(request: HttpRequest) -> bytes:
    headers = [request.headers.get(name, "") for name in TOLD_BY]
    told = (request.method, request.build_absolute_uri(), *headers)
    return hashlib.sha256(repr(told).encode()).digest()


def _not_modified(response: HttpResponse) -> HttpResponse:
    short = HttpResponseNotModified()
    for name in KEPT:
        if name in response:
            short[name] = response[name]
    short.cookies = response.cookies
    response.close()
    return short
