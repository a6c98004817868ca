"""Server-sent events for open pages: the count of the site's changes, each time it moved.

HTML Living Standard, section 9.2, "Server-sent events" (WHATWG). A stream ends after a while and
the browser opens it anew, so that an account that was closed hears nothing more. Nothing is lost
between two streams: each begins with the count as it stands.
"""

from __future__ import annotations

import time
from collections.abc import Iterator

from django.http import StreamingHttpResponse

from equipment.site.bell import bell, give_back
from equipment.site.queries import site_version

from .base import Desk, desk_view

LASTS_S = 25.0  # well below what proxies wait for
AGAIN_MS = 1_000  # when the browser opens the next stream
CROWDED_MS = 20_000  # where too many wait: such a page looks now and then
GATHER_S = 0.05  # changes come in bursts


@desk_view
def news(desk: Desk) -> StreamingHttpResponse:
    """Stream the site's count of changes."""
    count = bell.count(desk.site_id)
    first = site_version(desk.site_id)
    answer = StreamingHttpResponse(
        _told(desk.site_id, count, first), content_type="text/event-stream"
    )
    answer["Cache-Control"] = "no-store"
    answer["X-Accel-Buffering"] = "no"  # a proxy must not hold it back
    return answer


def _told(site_id: int, count: int, version: int) -> Iterator[str]:
    if not bell.places.acquire(blocking=False):
        yield f"retry: {CROWDED_MS}\n{_event(version)}event: crowded\ndata: {version}\n\n"
        return
    try:
        yield f"retry: {AGAIN_MS}\n{_event(version)}"
        until = time.monotonic() + LASTS_S
        while (left := until - time.monotonic()) > 0 and bell.is_open:
            give_back()
            if bell.wait(site_id, count, left):
                bell.gather(GATHER_S)
                count = bell.count(site_id)
                yield _event(site_version(site_id))
    finally:
        bell.places.release()


def _event(version: int) -> str:
    return f"event: version\ndata: {version}\n\n"
