"""The zone block of a calendar (RFC 5545, 3.6.5), written out of the time zone database."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo


@dataclass(frozen=True, slots=True)
class Observance:
    """From a moment on a zone keeps another offset.

    Parameters
    ----------
    onset : datetime
        Wall time at which it begins, naive, by the clock that was kept until then.
    before, after : timedelta
        Offset from UTC until then and from then on.
    name : str
        Abbreviation of what is kept from then on, such as ``"MDT"``.
    is_daylight : bool
        Whether it is daylight saving time.
    """

    onset: datetime
    before: timedelta
    after: timedelta
    name: str
    is_daylight: bool


def observances(zone: ZoneInfo, first_year: int, last_year: int) -> Iterator[Observance]:
    """Give what a zone keeps at the start of a year, and each change until the end of another.

    Parameters
    ----------
    zone : ZoneInfo
        The zone.
    first_year, last_year : int
        Years, both in, by UTC.

    Yields
    ------
    Observance
        In order of time.

    Notes
    -----
    Two changes within one day would be seen as one; the database has none since 1970.
    """
    at, end = datetime(first_year, 1, 1, tzinfo=UTC), datetime(last_year + 1, 1, 1, tzinfo=UTC)
    yield _observance(zone, at, _offset(zone, at))
    while at < end:
        day_after = at + timedelta(days=1)
        if _offset(zone, at) != _offset(zone, day_after):
            yield _observance(zone, _change(zone, at, day_after), _offset(zone, at))
        at = day_after


def _offset(zone: ZoneInfo, at: datetime) -> timedelta:
    return at.astimezone(zone).utcoffset() or timedelta(0)


def _change(zone: ZoneInfo, early: datetime, late: datetime) -> datetime:
    """Find the second at which the offset changes."""
    before = _offset(zone, early)
    while late - early > timedelta(seconds=1):
        middle = early + timedelta(seconds=int((late - early).total_seconds() // 2))
        if _offset(zone, middle) == before:
            early = middle
        else:
            late = middle
    return late


def _observance(zone: ZoneInfo, at: datetime, before: timedelta) -> Observance:
    local = at.astimezone(zone)
    return Observance(
        onset=(at + before).replace(tzinfo=None),
        before=before,
        after=_offset(zone, at),
        name=local.tzname() or "",
        is_daylight=(local.dst() or timedelta(0)) > timedelta(0),
    )
