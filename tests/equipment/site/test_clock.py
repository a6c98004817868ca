"""Times of day as a site says them.

NIST, "Times of day FAQs": 12 am and 12 pm are ambiguous, noon and midnight are to be used
(from memory).
"""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.utils import translation

from equipment.site.clock import say_clock, say_hour, say_span
from equipment.site.models import Site

ZONE = "America/Denver"
DAY = datetime(2026, 3, 4, tzinfo=ZoneInfo(ZONE))
TWELVE, FULL = Site(time_zone=ZONE, clock_h=12), Site(time_zone=ZONE, clock_h=24)


def _at(hour: int, minute: int = 0, second: int = 0) -> datetime:
    return DAY + timedelta(hours=hour, minutes=minute, seconds=second)


@pytest.mark.parametrize(
    ("at", "twelve", "full"),
    [
        (_at(0), "midnight", "00:00"),
        (_at(0, 5), "12:05 am", "00:05"),
        (_at(5, 10), "5:10 am", "05:10"),
        (_at(12), "noon", "12:00"),
        (_at(12, 30), "12:30 pm", "12:30"),
        (_at(23, 59), "11:59 pm", "23:59"),
    ],
)
def test_a_time_is_said_by_the_clock_of_the_site(at: datetime, twelve: str, full: str) -> None:
    assert (say_clock(TWELVE, at), say_clock(FULL, at)) == (twelve, full)


def test_seconds_are_said_where_two_times_differ_by_them() -> None:
    assert say_clock(TWELVE, _at(12, 0, 7), has_seconds=True) == "12:00:07 pm"
    assert say_clock(FULL, _at(12, 0, 7), has_seconds=True) == "12:00:07"
    assert say_clock(TWELVE, _at(12), has_seconds=True) == "noon"


def test_a_whole_hour_is_said_short() -> None:
    assert (say_hour(TWELVE, _at(5)), say_hour(FULL, _at(5))) == ("5 am", "05")


@pytest.mark.parametrize(
    ("start", "end", "said"),
    [
        (_at(9, 36), _at(9, 56), "9:36 – 9:56 am"),
        (_at(11, 50), _at(12, 10), "11:50 am – 12:10 pm"),
        (_at(11, 50), _at(12), "11:50 am – noon"),
        (_at(9), _at(24 + 9, 30), "9:00 am – 9:30 am"),
    ],
)
def test_a_span_says_its_half_of_the_day_once(start: datetime, end: datetime, said: str) -> None:
    assert say_span(TWELVE, start, end) == said


def test_noon_is_said_in_the_language_of_the_reader() -> None:
    with translation.override("es"):
        assert say_clock(TWELVE, _at(12)) == "mediodía"
