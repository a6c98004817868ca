"""Where calendar programs read: one address for each calendar, its secret in the query.

The log of requests names paths without queries, and so never the secret.
"""

from __future__ import annotations

import hashlib
from datetime import UTC, datetime

from django.http import Http404, HttpRequest, HttpResponse
from django.urls import path
from django.utils.cache import get_conditional_response
from django.utils.crypto import constant_time_compare
from django.utils.translation import override
from django.views.decorators.http import require_safe

from crews.devices.services import hashed

from .feed import as_icalendar
from .models import Calendar
from .services import bring_up_to_date


@require_safe
def calendar_feed(request: HttpRequest, pk: int) -> HttpResponse:
    """Give a calendar to whoever holds its link; to others there is none."""
    calendar = _calendar_of(pk, request.GET.get("key", ""))
    if calendar is None:
        raise Http404
    language = calendar.worker.language if calendar.worker else calendar.site.language
    with override(language):
        body = as_icalendar(calendar, bring_up_to_date(calendar, datetime.now(UTC)))
    etag = f'"{hashlib.sha256(body).hexdigest()[:32]}"'
    whole = HttpResponse(body, content_type="text/calendar; charset=utf-8")
    whole["Content-Disposition"] = f'inline; filename="penround-{pk}.ics"'
    answer = get_conditional_response(request, etag=etag, response=whole) or whole
    answer["ETag"] = etag
    answer["Cache-Control"] = "private, no-cache"
    return answer


def _calendar_of(pk: int, token: str) -> Calendar | None:
    """Find a calendar whose link lives, of somebody or something still on the farm: 1 query."""
    calendar = (
        Calendar.objects.select_related("site", "worker", "crew", "machine", "pad__place")
        .filter(id=pk)
        .first()
    )
    if calendar is None or not calendar.token_hash:
        return None
    if not constant_time_compare(calendar.token_hash, hashed(token)):
        return None
    things = [calendar.worker, calendar.crew, calendar.machine]
    places = [calendar.pad.place if calendar.pad else None]
    is_here = all(thing is None or thing.retired_at is None for thing in (*things, *places))
    return calendar if is_here else None


urlpatterns = [path("calendars/<key:pk>.ics", calendar_feed, name="calendar-feed")]
