"""Sunrise and sunset against published worked values."""

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment.site.calc.local_time import elapsed_h, local_date_of, parse_instant
from equipment.site.calc.refusal import RefusedValueError
from equipment.site.calc.sun import daylight

DENVER = ZoneInfo("America/Denver")
GOLDEN = (39.742476, -105.1786)


def seconds_apart(one: datetime, other: str) -> float:
    return abs((one - parse_instant(other)).total_seconds())


def test_sunrise_and_sunset_of_the_published_solar_position_example() -> None:
    # I. Reda, A. Andreas, "Solar Position Algorithm for Solar Radiation Applications", NREL/TP-560-
    # 34302 (2008), the example of appendix A.5 and the output of its tester: 17 October 2003 at
    # Golden, Colorado, sunrise 06:12:43 and sunset 17:20:19 at UTC-7. Both are of the UT day, so
    # that sunset is 00:20:19 UT on the 17th: the local evening of the 16th.
    morning = daylight(date(2003, 10, 17), *GOLDEN, DENVER)
    evening = daylight(date(2003, 10, 16), *GOLDEN, DENVER)
    assert morning is not None
    assert evening is not None
    assert seconds_apart(morning[0], "2003-10-17T06:12:43-07:00") < 5
    assert seconds_apart(evening[1], "2003-10-16T17:20:19-07:00") < 5


@pytest.mark.parametrize(
    ("day", "sunset"),
    # US Naval Observatory, sunset at 30 S 100 W, to the minute, as quoted in the public issue
    # github.com/sffjunkie/astral/issues/102; both fall on the local evening before the UTC date
    [(date(2024, 5, 4), "2024-05-05T00:02Z"), (date(2024, 5, 5), "2024-05-06T00:01Z")],
)
def test_sunset_of_the_local_evening_that_is_the_next_day_in_utc(day: date, sunset: str) -> None:
    found = daylight(day, -30.0, -100.0, ZoneInfo("Etc/GMT+7"))
    assert found is not None
    assert seconds_apart(found[1], sunset) <= 45


def test_daylight_hours_of_the_fao_example() -> None:
    # R. Allen et al., FAO Irrigation and Drainage Paper 56 (1998), Example 9: 3 September at 20 S,
    # N = 11.7 h (24/pi x 1.527 = 11.67). FAO counts the sun's centre without refraction; the 0.833
    # degrees at each end, where the sun moves 15 x cos(20) degrees an hour, add 0.12 h.
    found = daylight(date(2025, 9, 3), -20.0, 0.0, ZoneInfo("Etc/UTC"))
    assert found is not None
    assert elapsed_h(*found) - 0.12 == pytest.approx(11.7, abs=0.1)


def test_beyond_the_polar_circle_the_sun_may_not_set_or_not_rise() -> None:
    tromso = (69.65, 18.96, ZoneInfo("Europe/Oslo"))
    # the sun stays up at 69.65 N while its declination is above 90 - 69.65 - 0.833 = 19.5 degrees
    summer = daylight(date(2026, 6, 21), *tromso)
    assert summer is not None
    assert elapsed_h(*summer) == 24.0
    assert daylight(date(2026, 12, 21), *tromso) is None


@given(
    latitude=st.floats(-60, 60),
    day=st.dates(date(2024, 1, 1), date(2034, 12, 31)),
    place=st.sampled_from(
        [
            (-102.4, "America/Denver"),
            (174.8, "Pacific/Auckland"),
            (-157.4, "Pacific/Kiritimati"),
            (0.0, "Etc/UTC"),
            (139.7, "Asia/Tokyo"),
        ]
    ),
)
def test_sunrise_comes_before_sunset_on_the_local_date(
    latitude: float, day: date, place: tuple[float, str]
) -> None:
    zone = ZoneInfo(place[1])
    found = daylight(day, latitude, place[0], zone)
    assert found is not None
    assert found[0] < found[1] < found[0] + timedelta(hours=20)
    assert local_date_of(found[0], zone) == local_date_of(found[1], zone) == day


@pytest.mark.parametrize("place", [(91.0, 0.0), (0.0, 181.0), (float("nan"), 0.0)])
def test_a_place_off_the_globe_is_refused(place: tuple[float, float]) -> None:
    with pytest.raises(RefusedValueError, match="out_of_range"):
        daylight(date(2026, 6, 21), *place, DENVER)
