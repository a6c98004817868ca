"""Reference evapotranspiration hour by hour (FAO-56), by day and by night.

Written here and not taken from the `refet` library: that has the ASCE-EWRI 2005 hourly equation
(other resistances by day and night), and FAO-56's own hour is asked for.
"""

from dataclasses import dataclass

import numpy as np
from refet import calcs

from equipment.weather.calc.days import Floats, Place
from equipment.weather.calc.et0 import saturation_kpa

SOLAR_CONSTANT_MJ_M2_MIN = 0.0820  # FAO-56 eq. 28
STEFAN_BOLTZMANN_MJ_K4_M2_H = 2.043e-10  # FAO-56 ch. 4, hourly time step
ALBEDO_FRAC = 0.23  # FAO-56 eq. 38, the reference grass
NIGHT_CLEARNESS_FRAC = 0.8  # Rs/Rso of a night whose evening is not known, FAO-56 Example 19


@dataclass(frozen=True, slots=True)
class HourSun:
    """When hours were, for the sun; arrays of shape (n_hours,).

    Parameters
    ----------
    day_of_year : ndarray
        1 on 1 January.
    solar_hour : ndarray
        Middle of the hour in true solar time, 12 at noon. [h]
    """

    day_of_year: Floats
    solar_hour: Floats


def extraterrestrial_mj_m2_h(place: Place, sun: HourSun) -> Floats:
    """Compute the radiation on a horizontal plane above the atmosphere within an hour.

    Parameters
    ----------
    place : Place
        Its latitude counts.
    sun : HourSun
        Which hours.

    Returns
    -------
    ndarray, shape (n_hours,)
        Ra, 0 at night. [MJ m⁻² h⁻¹]

    Notes
    -----
    The lit part of the hour alone counts, so that hours of sunrise and sunset are not cut short.

    Valid: latitudes within ±66 (`Place`).

    Checked: tests/equipment/weather/test_et0_hourly.py::test_fao56_example_19_by_day_and_by_night

    References
    ----------
    Allen et al., "Crop evapotranspiration", FAO Irrigation and Drainage Paper 56, 1998, eq. 28-33.
    """
    latitude_rad = np.radians(place.latitude_deg)
    year_rad = 2 * np.pi / 365 * sun.day_of_year
    declination_rad = 0.409 * np.sin(year_rad - 1.39)
    nearness = 1 + 0.033 * np.cos(year_rad)
    sunset_rad = np.arccos(np.clip(-np.tan(latitude_rad) * np.tan(declination_rad), -1, 1))
    middle_rad = np.pi / 12 * (sun.solar_hour - 12)
    begin_rad = np.clip(middle_rad - np.pi / 24, -sunset_rad, sunset_rad)
    end_rad = np.clip(middle_rad + np.pi / 24, -sunset_rad, sunset_rad)
    level = np.sin(latitude_rad) * np.sin(declination_rad) * (end_rad - begin_rad)
    swing = np.cos(latitude_rad) * np.cos(declination_rad)
    sun_rad = level + swing * (np.sin(end_rad) - np.sin(begin_rad))
    ra = 12 * 60 / np.pi * SOLAR_CONSTANT_MJ_M2_MIN * nearness * sun_rad
    return np.asarray(np.maximum(ra, 0.0), dtype=float)


def hourly_et0_mm(
    place: Place,
    sun: HourSun,
    *,
    temp_degc: Floats,
    rh_frac: Floats,
    wind_2m_m_s: Floats,
    solar_mj_m2_h: Floats,
) -> Floats:
    """Compute FAO-56 ET0 of single hours from complete inputs.

    Parameters
    ----------
    place : Place
        Latitude and elevation.
    sun : HourSun
        Which hours.
    temp_degc : ndarray
        Mean air temperature of the hour. [°C]
    rh_frac : ndarray
        Mean relative humidity, 0 to 1.
    wind_2m_m_s : ndarray
        Mean wind at 2 m. [m s⁻¹]
    solar_mj_m2_h : ndarray
        Global radiation. [MJ m⁻² h⁻¹]

    Returns
    -------
    ndarray, shape (n_hours,)
        ET0; below 0 (dew) in calm clear nights. NaN where an input is. [mm h⁻¹]

    Raises
    ------
    ValueError
        A humidity outside 0 to 1, wind or radiation below 0.

    Notes
    -----
    Soil heat is a tenth of the net radiation by day and half of it by night (eq. 45, 46). At night,
    where Rs/Rso says nothing, the sky is taken as clear as in the last bright hour of the series
    given, else as 0.8.

    Valid: hours in order, latitudes within ±66, air from -60 to 60 °C.

    Checked: tests/equipment/weather/test_et0_hourly.py::
    test_fao56_example_19_by_day_and_by_night,
    test_hours_of_an_open_year_add_up_to_its_days

    References
    ----------
    FAO-56, eq. 53 and Example 19.
    """
    _check(rh_frac=rh_frac, wind_2m_m_s=wind_2m_m_s, solar_mj_m2_h=solar_mj_m2_h)
    ra = extraterrestrial_mj_m2_h(place, sun)
    es_kpa = saturation_kpa(temp_degc)
    ea_kpa = es_kpa * rh_frac
    clearness = _clearness_frac(solar_mj_m2_h, np.asarray(calcs.rso_simple(ra, place.elevation_m)))
    kelvin = temp_degc + 273.16
    dark = STEFAN_BOLTZMANN_MJ_K4_M2_H * kelvin**4 * (0.34 - 0.14 * np.sqrt(ea_kpa))
    net = (1 - ALBEDO_FRAC) * solar_mj_m2_h - dark * (1.35 * clearness - 0.35)
    soil = np.where(ra > 0, 0.1, 0.5) * net
    slope = 4098 * es_kpa / (temp_degc + 237.3) ** 2
    pressure_kpa = 101.3 * ((293 - 0.0065 * place.elevation_m) / 293) ** 5.26
    gamma = 0.665e-3 * pressure_kpa
    radiation = 0.408 * slope * (net - soil)
    wind = gamma * 37 / (temp_degc + 273) * wind_2m_m_s * (es_kpa - ea_kpa)
    et0: Floats = (radiation + wind) / (slope + gamma * (1 + 0.34 * wind_2m_m_s))
    return et0


def _check(*, rh_frac: Floats, wind_2m_m_s: Floats, solar_mj_m2_h: Floats) -> None:
    if np.any((rh_frac < 0) | (rh_frac > 1)):
        raise ValueError("rh_frac is not within 0 to 1")
    if np.any(wind_2m_m_s < 0):
        raise ValueError("wind_2m_m_s is below 0")
    if np.any(solar_mj_m2_h < 0):
        raise ValueError("solar_mj_m2_h is below 0")


def _clearness_frac(solar_mj_m2_h: Floats, clear_mj_m2_h: Floats) -> Floats:
    """Rs/Rso of bright hours, 0.25 to 1; carried on through what is too dark to tell."""
    # a tenth of the highest sun: lower, the ratio of two small numbers says nothing
    is_bright = clear_mj_m2_h > 0.3
    ratio = np.clip(solar_mj_m2_h / np.where(is_bright, clear_mj_m2_h, 1.0), 0.25, 1.0)
    hour = np.where(is_bright, np.arange(ratio.size), -1)
    last = np.maximum.accumulate(hour)
    return np.where(last >= 0, ratio[np.maximum(last, 0)], NIGHT_CLEARNESS_FRAC)
