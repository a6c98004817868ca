"""The zone block against RFC 5545 and, hour by hour, against the time zone database."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from schedules.calendars.calc import Observance, observances

HOUR = timedelta(hours=1)


def test_new_york_since_2007_is_as_the_standard_writes_it() -> None:
    """RFC 5545, 3.6.5, the third example: America/New_York since the rules of 2007."""
    _start, spring, autumn = observances(ZoneInfo("America/New_York"), 2007, 2007)

    onsets = [datetime.fromisoformat(text) for text in ("2007-03-11T02:00", "2007-11-04T02:00")]
    assert spring == Observance(onsets[0], -5 * HOUR, -4 * HOUR, "EDT", True)
    assert autumn == Observance(onsets[1], -4 * HOUR, -5 * HOUR, "EST", False)


@pytest.mark.parametrize(
    "name",
    ["America/Denver", "Europe/Dublin", "Australia/Lord_Howe", "Asia/Kolkata", "America/Sao_Paulo"],
)
def test_every_hour_of_four_years_has_the_offset_of_the_database(name: str) -> None:
    """Offsets found from onsets as RFC 5545, 3.6.5 says: the onset is on the clock kept before."""
    zone = ZoneInfo(name)
    parts = [(part.onset - part.before, part.after) for part in observances(zone, 2017, 2020)]
    at = datetime(2017, 1, 1, tzinfo=UTC)
    wrong = []
    while at.year < 2021:
        begun = [after for onset, after in parts if onset <= at.replace(tzinfo=None)]
        if begun[-1] != at.astimezone(zone).utcoffset():
            wrong.append(at)
        at += HOUR / 2
    assert wrong == []


def test_zone_without_changes_has_one_part() -> None:
    [only] = observances(ZoneInfo("Asia/Kolkata"), 2025, 2027)

    assert (only.before, only.after, only.is_daylight) == (5.5 * HOUR, 5.5 * HOUR, False)
