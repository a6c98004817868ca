"""What every GET of the API has: an ETag, a 304 when it still stands, and a word on keeping it."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse, HttpResponseNotModified
from django.utils.cache import set_response_etag

from equipment.site.preconditions import is_known

# Headers that a 304 must repeat (RFC 9110, section 15.4.5).
KEPT = ("Cache-Control", "Content-Location", "ETag", "Vary")


class ConditionalApiMiddleware:
    """Gives an ETag to answers whose view knew none: a digest of what they say.

    A list that moves with nothing but its site answers 304 before it reads a row; here the answer
    is made first, and only not sent.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        if request.method not in ("GET", "HEAD") or not request.path.startswith("/api/"):
            return response
        response.headers.setdefault("Cache-Control", "private, no-cache")
        if response.status_code != 200:
            return response
        if "ETag" not in response and not response.streaming:
            set_response_etag(response)
        etag = response.headers.get("ETag", "")
        if etag and is_known(request, etag):
            return _not_modified(response)
        return response


def _not_modified(response: HttpResponse) -> HttpResponse:
    short = HttpResponseNotModified()
    for name in KEPT:
        if name in response:
            short[name] = response[name]
    short.cookies = response.cookies
    response.close()
    return short
