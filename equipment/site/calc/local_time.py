"""The one place where local wall time and an IANA zone become instants, and back.

The rule of the house for the two odd nights of a year: a wall time that the spring gap skips is
shifted forward by the length of the gap; a wall time that the autumn fold repeats means the first
one, once. No work is lost and none is doubled.
"""

from collections.abc import Iterable
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from equipment.site.calc.refusal import RefusedValueError

_S_PER_H = 3600.0
_AFTER = [timedelta(minutes=minute) for minute in range(24 * 60)]
YEARS = range(1900, 2200)  # a farm's records and plans; keeps clear of the ends of the calendar


def zone_named(name: str) -> ZoneInfo:
    """Return the IANA zone of that name.

    Parameters
    ----------
    name : str
        Such as ``"America/Denver"``.

    Returns
    -------
    ZoneInfo
        The zone.

    Raises
    ------
    RefusedValueError
        ``unknown_zone`` when the time zone data holds no such name.
    """
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        # OSError: a name such as "America" is a folder of the time zone data
        raise RefusedValueError("unknown_zone", "zone", name) from error


def require_aware(instant: datetime, part: str = "instant") -> datetime:
    """Return the instant in UTC, or refuse it when it has no offset.

    Parameters
    ----------
    instant : datetime
        Aware date and time in any zone.
    part : str
        What to call it in a refusal.

    Returns
    -------
    datetime
        The same instant in UTC.

    Raises
    ------
    RefusedValueError
        ``no_offset`` when the datetime is naive.
    """
    if instant.tzinfo is None:
        raise RefusedValueError("no_offset", part, instant)
    return instant.astimezone(UTC)


def require_naive(local: datetime, part: str = "local") -> datetime:
    """Return the wall time unchanged, or refuse it when it carries an offset.

    Parameters
    ----------
    local : datetime
        Naive wall time.
    part : str
        What to call it in a refusal.

    Returns
    -------
    datetime
        The wall time, with ``fold`` cleared.

    Raises
    ------
    RefusedValueError
        ``has_offset`` when the datetime is aware.
    """
    if local.tzinfo is not None:
        raise RefusedValueError("has_offset", part, local)
    return local.replace(fold=0)


def resolve(local: datetime, zone: ZoneInfo) -> datetime:
    """Turn a wall time into the one instant that it means.

    Parameters
    ----------
    local : datetime
        Naive wall time in the zone.
    zone : ZoneInfo
        The site's zone.

    Returns
    -------
    datetime
        Aware, in UTC. [instant]

    Raises
    ------
    RefusedValueError
        ``has_offset`` when the datetime is aware.

    Notes
    -----
    ``fold=0`` takes the offset that ruled *before* the change, in a gap as in a fold. In a gap that
    lands after it, shifted by its length (02:30 is shown as 03:30); in a fold it is the first pass.
    RFC 5545 would drop an instance in a gap; a milking must not vanish, so the house does not.

    Valid: every wall time of every zone; also those that a change of clocks skips or doubles.

    Checked: tests/equipment/site/test_local_time.py::
    test_a_wall_time_in_the_spring_gap_is_shifted_forward_by_the_gap,
    test_a_wall_time_in_the_autumn_fold_means_the_first_pass

    References
    ----------
    .. [1] A. Belopolsky, T. Peters, "PEP 495: Local Time Disambiguation", 2015, sections
       "Conversion from Naive to Aware" and "Mind the Gap".
    .. [2] B. Desruisseaux, RFC 5545, 2009, section 3.3.10 (instances that do not exist).
    """
    return require_naive(local).replace(tzinfo=zone).astimezone(UTC)


def resolve_day(day: date, minutes: Iterable[int], zone: ZoneInfo) -> list[datetime]:
    """Turn minutes of one local date into instants, as `resolve` does with wall times, but quicker.

    Parameters
    ----------
    day : date
        The local date.
    minutes : iterable of int
        Minutes of that date by the clock, 0 to 1439. [min]
    zone : ZoneInfo
        The site's zone.

    Returns
    -------
    list of datetime
        Aware, in UTC, in the order given.
    """
    midnight = _steady_midnight(zone, day)
    if midnight is not None:
        return [midnight + _AFTER[minute] for minute in minutes]
    start = datetime.combine(day, time.min)
    return [resolve(start + _AFTER[minute], zone) for minute in minutes]


@lru_cache(maxsize=4096)
def _steady_midnight(zone: ZoneInfo, day: date) -> datetime | None:
    """Give the instant at which a day begins; None where its offset changes before it ends."""
    if day == date.max:
        return None
    midnights = [datetime.combine(d, time.min) for d in (day, day + timedelta(days=1))]
    offsets = {m.replace(fold=fold, tzinfo=zone).utcoffset() for m in midnights for fold in (0, 1)}
    return resolve(midnights[0], zone) if len(offsets) == 1 else None


def local_of(instant: datetime, zone: ZoneInfo) -> datetime:
    """Return the naive wall time that a clock of the zone shows at an instant.

    Parameters
    ----------
    instant : datetime
        Aware.
    zone : ZoneInfo
        The site's zone.

    Returns
    -------
    datetime
        Naive wall time, ``fold`` cleared: for showing and for the local date, not for going back.
    """
    return require_aware(instant).astimezone(zone).replace(tzinfo=None, fold=0)


def local_date_of(instant: datetime, zone: ZoneInfo) -> date:
    """Return the calendar date of the zone at an instant.

    Parameters
    ----------
    instant : datetime
        Aware.
    zone : ZoneInfo
        The site's zone.

    Returns
    -------
    date
        The local date.
    """
    return local_of(instant, zone).date()


def elapsed_h(start: datetime, end: datetime) -> float:
    """Return the hours that pass between two instants.

    Parameters
    ----------
    start, end : datetime
        Aware; any zones.

    Returns
    -------
    float
        Elapsed time, negative when `end` is earlier. [h]

    Notes
    -----
    Python subtracts two datetimes of the *same* zone by the wall clock, which is an hour wrong over
    a clock change; hence the way through UTC.
    """
    seconds = (require_aware(end, "end") - require_aware(start, "start")).total_seconds()
    return seconds / _S_PER_H


def day_bounds(day: date, zone: ZoneInfo) -> tuple[datetime, datetime]:
    """Return the instants between which a local calendar day lies.

    Parameters
    ----------
    day : date
        Local date.
    zone : ZoneInfo
        The site's zone.

    Returns
    -------
    tuple of datetime
        Start and exclusive end, in UTC. 23 h apart on the spring night, 25 h on the autumn night;
        not apart at all for a date that a zone skipped.
    """
    start = datetime.combine(day, time.min)
    return resolve(start, zone), resolve(start + timedelta(days=1), zone)


def wall_span(local_start: datetime, wall: timedelta, zone: ZoneInfo) -> tuple[datetime, datetime]:
    """Return the instants between two readings of the wall clock.

    Parameters
    ----------
    local_start : datetime
        Naive wall time of the start.
    wall : timedelta
        Length by the wall clock: 22:00 to 06:00 is 8 h on every night of the year.
    zone : ZoneInfo
        The site's zone.

    Returns
    -------
    tuple of datetime
        Start and exclusive end, in UTC: 7 h apart over the spring gap, 9 h over the autumn fold.

    Raises
    ------
    RefusedValueError
        ``not_positive`` when `wall` is zero or less.

    Notes
    -----
    A span that starts inside the gap could end before it starts (02:30 + 45 min is 03:30 to 03:15);
    such a span keeps its length instead.
    """
    if wall <= timedelta(0):
        raise RefusedValueError("not_positive", "wall", wall)
    start, end = resolve(local_start, zone), resolve(local_start + wall, zone)
    return (start, end) if end > start else (start, start + wall)


def parse_instant(text: str) -> datetime:
    """Read a date and time that says which instant it means.

    Parameters
    ----------
    text : str
        ISO 8601 date and time with ``Z`` or a numeric offset: ``2026-11-01T01:30:00-06:00``.

    Returns
    -------
    datetime
        In UTC. [instant]

    Raises
    ------
    RefusedValueError
        ``not_an_instant`` when it is no date and time; ``no_offset`` when it is one without offset:
        01:30 on the autumn night is two instants, and nobody can tell which; ``out_of_range`` when
        its year is before 1900 or after 2199.

    Notes
    -----
    Valid: years 1900 to 2199; a local time without offset is refused.

    Checked: tests/equipment/site/test_local_time.py::test_a_time_with_its_offset_is_read,
    test_every_gap_and_fold_written_without_offset_is_refused

    References
    ----------
    .. [1] G. Klyne, C. Newman, RFC 3339, 2002, section 4.4 (unqualified local time).
    """
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError as error:
        raise RefusedValueError("not_an_instant", "instant", text) from error
    if moment.year not in YEARS:
        raise RefusedValueError("out_of_range", "instant", text)
    return require_aware(moment)
