"""Daylight of a date at a place: when edge work, turning and hauling can be planned."""

from collections.abc import Callable
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from astral import Observer
from astral.sun import elevation

from equipment.site.calc.local_time import day_bounds, resolve
from equipment.site.calc.refusal import RefusedValueError

# upper limb on the horizon: 16' semidiameter and 34' refraction (US Naval Observatory's definition)
_HORIZON_DEG = -0.833
_HALF_DAY = timedelta(hours=12)
_NEAR_ENOUGH = timedelta(seconds=1)


def daylight(
    day: date, latitude_deg: float, longitude_deg: float, zone: ZoneInfo
) -> tuple[datetime, datetime] | None:
    """Find sunrise and sunset of a local date.

    Parameters
    ----------
    day : date
        Local date.
    latitude_deg : float
        North positive, -90 to 90. [°]
    longitude_deg : float
        East positive, -180 to 180. [°]
    zone : ZoneInfo
        The site's zone; it says which sunrise belongs to the date.

    Returns
    -------
    tuple of datetime, or None
        Sunrise and sunset in UTC, on a flat horizon at sea level. The whole local day where the sun
        does not set, None where it does not rise. [instants]

    Raises
    ------
    RefusedValueError
        ``out_of_range`` for a latitude or longitude beyond its range.

    Notes
    -----
    The sun's elevation is astral's; the crossing of the horizon is found by halving the half days
    before and after solar noon. Astral's own sunset is not used: west of Greenwich it takes the
    sun's place of the following day, 1.5 minutes off at 40° N in October, and in UTC it returns
    the sunset of the evening before.

    Valid: latitudes from pole to pole, years 1900 to 2199; within about a minute on a flat horizon.

    Checked: tests/equipment/site/test_sun.py::
    test_sunrise_and_sunset_of_the_published_solar_position_example,
    test_daylight_hours_of_the_fao_example

    References
    ----------
    .. [1] J. Meeus, Astronomical Algorithms, 2nd ed., 1998, ch. 25 (the sun's place, as astral has
       it by way of the NOAA solar calculator).
    """
    if not (-90 <= latitude_deg <= 90 and -180 <= longitude_deg <= 180):
        raise RefusedValueError("out_of_range", "place", (latitude_deg, longitude_deg))
    observer = Observer(latitude_deg, longitude_deg)

    def is_up(at: datetime) -> bool:
        return elevation(observer, at, with_refraction=False) > _HORIZON_DEG

    noon = _solar_noon(day, longitude_deg, zone)
    if not is_up(noon):
        return None
    if is_up(noon - _HALF_DAY) and is_up(noon + _HALF_DAY):
        return day_bounds(day, zone)
    return _crossing(is_up, noon - _HALF_DAY, noon), _crossing(is_up, noon + _HALF_DAY, noon)


def _solar_noon(day: date, longitude_deg: float, zone: ZoneInfo) -> datetime:
    """Mean solar noon that lies nearest the clock's noon: within 17 minutes of the true one."""
    clock_noon = resolve(datetime.combine(day, time(12)), zone)
    sun_h = clock_noon.hour + clock_noon.minute / 60 + longitude_deg / 15
    return clock_noon - timedelta(hours=(sun_h + 24) % 24 - 12)


def _crossing(is_up: Callable[[datetime], bool], dark: datetime, light: datetime) -> datetime:
    while abs(light - dark) > _NEAR_ENOUGH:
        middle = dark + (light - dark) / 2
        dark, light = (dark, middle) if is_up(middle) else (middle, light)
    return light.astimezone(UTC)
