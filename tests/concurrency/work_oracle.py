"""What work a thousand standing orders owe, reckoned with the calendar and nothing else.

Shares no code with the service and uses no recurrence library: days are walked one by one, wall
times become instants through `zoneinfo` alone.
"""

from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

DENVER = ZoneInfo("America/Denver")
WEEKDAYS = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")

Owed = dict[str, datetime]  # natural key: earliest start


def days_from(first: date, n_days: int) -> Iterator[date]:
    """Walk the calendar."""
    for number in range(n_days):
        yield first + timedelta(days=number)


def instant(day: date, hour: int, minute: int) -> datetime:
    """Say when a Denver clock shows it: the first time in the fold, an hour on in the gap.

    PEP 495: `fold=0` takes the offset before the change, which does both.
    """
    return datetime.combine(day, time(hour, minute), DENVER).astimezone(UTC)


def owed_daily(key: str, place: str, days: Iterator[date], hours: list[tuple[int, int]]) -> Owed:
    """Work at each of some wall times of every day."""
    return {
        f"{key}/{place}/{day.isoformat()}/{slot}": instant(day, hour, minute)
        for day in days
        for slot, (hour, minute) in enumerate(hours)
    }


def owed_weekly(
    key: str, place: str, days: Iterator[date], weekdays: list[str], at: tuple[int, int]
) -> Owed:
    """Work at one wall time of some weekdays."""
    return {
        f"{key}/{place}/{day.isoformat()}/0": instant(day, *at)
        for day in days
        if WEEKDAYS[day.weekday()] in weekdays
    }


def owed_hourly(key: str, place: str, days: Iterator[date], every_h: int, minute: int) -> Owed:
    """Work every so many hours of the wall clock, from midnight; `every_h` divides 24."""
    hours = [(hour, minute) for hour in range(0, 24, every_h)]
    return owed_daily(key, place, days, hours)


def within(owed: Owed, start: datetime, end: datetime, window: timedelta) -> Owed:
    """Keep what can still be done at `start` and begins before `end`."""
    return {key: at for key, at in owed.items() if at + window > start and at < end}
