"""Recurrence as python-dateutil does it, started near the window so that it need not walk there."""

from collections.abc import Iterable
from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

from dateutil import rrule


def expand(
    rule: rrule.rrule | rrule.rruleset,
    zone: ZoneInfo,
    exdates: Iterable[date],
    first_day: date,
    last_day: date,
) -> list[datetime]:
    """Instants in UTC from the first local date to the last; the rule's start is already near."""
    low, high = datetime.combine(first_day, time.min), datetime.combine(last_day, time.max)
    left_out = set(exdates)
    return [
        wall.replace(tzinfo=zone).astimezone(UTC)
        for wall in rule.between(low, high, inc=True)
        if wall.date() not in left_out
    ]
