"""Dates of rosters: today, how far ahead, which are published."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, timedelta

from django.utils.translation import gettext as _

from crews.errors import RosterSpanError
from equipment.site.calc.local_time import local_date_of, wall_span
from equipment.site.models import Site

from .models import RosterRun, RosterState, ShiftPattern

AHEAD_MOST = timedelta(days=60)


def today_of(site: Site, at: datetime) -> date:
    """The farm's date at an instant."""
    return local_date_of(at, site.zone)


def refuse_date(site: Site, on: date, at: datetime) -> None:
    """Raise RosterSpanError for a date that is over or too far ahead."""
    today = today_of(site, at)
    if not today <= on <= today + AHEAD_MOST:
        raise RosterSpanError(_("Give a date from today until 60 days ahead."))


def hours_on(site: Site, pattern: ShiftPattern, on: date) -> tuple[datetime, datetime]:
    """Start and end of a pattern's shift of a date."""
    wall = timedelta(minutes=pattern.duration_min)
    return wall_span(datetime.combine(on, pattern.starts_local), wall, site.zone)


def published_spans(site_id: int, from_on: date, until_on: date) -> list[tuple[date, date]]:
    """Periods of published rosters that meet another: 1 query."""
    runs = RosterRun.objects.filter(
        site_id=site_id,
        state=RosterState.PUBLISHED,
        from_on__lt=until_on,
        until_on__gt=from_on,
    )
    return list(runs.values_list("from_on", "until_on"))


def is_within(spans: Iterable[tuple[date, date]], on: date) -> bool:
    """Whether a date lies in one of the periods."""
    return any(from_on <= on < until_on for from_on, until_on in spans)
