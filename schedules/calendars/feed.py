"""A calendar as iCalendar (RFC 5545, RFC 7986): the same text as long as nothing changed."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from typing import Any
from urllib.parse import urlencode

import icalendar
from django.conf import settings
from django.urls import reverse
from django.utils.translation import gettext as _
from icalendar.prop import vText

from equipment.site.models import Site
from equipment.site.queries import current_language, place_name

from .calc import observances
from .contents import subject_of
from .models import Calendar, CalendarEntry, CalendarKind

REFRESH = timedelta(minutes=15)
PRODUCT = "-//Penround//Calendar 1//EN"


def as_icalendar(calendar: Calendar, entries: Sequence[CalendarEntry]) -> bytes:
    """Write a calendar with its entries, in the language that is spoken."""
    site = calendar.site
    feed = icalendar.Calendar()
    feed.add("version", "2.0")
    feed.add("prodid", PRODUCT)
    feed.add("calscale", "GREGORIAN")
    feed.add("name", vText(title_of(calendar)))
    feed.add("refresh-interval", REFRESH, parameters={"VALUE": "DURATION"})
    years = [entry.ends_at.year for entry in entries] or [calendar.made_at.year]
    feed.add_component(_zone_block(site, min(years) - 1, max(years) + 1))
    for entry in entries:
        feed.add_component(_event(site, entry))
    return bytes(feed.to_ical())


def title_of(calendar: Calendar) -> str:
    """Name a calendar: the farm, and whose it is."""
    subject = subject_of(calendar)
    if calendar.kind == CalendarKind.PAD:
        name = place_name(calendar.site, subject, current_language())
    else:
        name = subject.name
    return _("%(farm)s: %(name)s") % {"farm": calendar.site.name, "name": name}


def link_of(calendar_id: int, token: str) -> str:
    """Give the address that a calendar program subscribes to."""
    where = reverse("calendar-feed", args=[calendar_id])
    return f"{settings.SITE_URL.geturl()}{where}?{urlencode({'key': token})}"


def _event(site: Site, entry: CalendarEntry) -> icalendar.Event:
    body = entry.body
    event = icalendar.Event()
    event.add("uid", str(entry.uid))
    event.add("dtstamp", entry.changed_at.replace(microsecond=0))
    event.add("last-modified", entry.changed_at.replace(microsecond=0))
    event.add("sequence", entry.sequence)
    start, end = _moment(site, body["start"]), _moment(site, body["end"])
    event.add("dtstart", start)
    event.add("dtend", end)
    event.add("summary", body["summary"])
    for name in ("location", "description"):
        if body[name]:
            event.add(name, body[name])
    event.add("status", "CANCELLED" if entry.is_cancelled else "CONFIRMED")
    event.add("transp", "OPAQUE" if isinstance(start, datetime) else "TRANSPARENT")
    event.add("class", "PRIVATE")
    return event


def _moment(site: Site, text: str) -> date:
    """Read a date, or an instant in the farm's own time."""
    if len(text) == len("2026-03-04"):
        return date.fromisoformat(text)
    return datetime.fromisoformat(text).astimezone(site.zone)


def _zone_block(site: Site, first_year: int, last_year: int) -> icalendar.Timezone:
    block = icalendar.Timezone()
    block.add("tzid", site.time_zone)
    for one in observances(site.zone, first_year, last_year):
        part: Any = (
            icalendar.TimezoneDaylight() if one.is_daylight else icalendar.TimezoneStandard()
        )
        part.add("dtstart", one.onset)
        part.add("tzoffsetfrom", one.before)
        part.add("tzoffsetto", one.after)
        part.add("tzname", one.name)
        block.add_component(part)
    return block
