"""Reference evapotranspiration by FAO-56, and what was estimated to get it."""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import refet
from numpy.typing import NDArray
from refet import calcs

from equipment.weather.calc.days import DailyWeather, Floats, Place
from equipment.weather.calc.radiation import clear_sky_mj_m2_d, extraterrestrial_mj_m2_d

Bools = NDArray[np.bool_]

WIND_ESTIMATE_2M_M_S = 2.0  # FAO-56 ch. 3, where wind data are missing
K_RS_INLAND = 0.16  # FAO-56 eq. 50, interior locations [°C^-0.5]


class ET0Method(StrEnum):
    """How a day's ET0 came about."""

    GIVEN = "given"
    HOURLY = "hourly"
    FULL = "full"
    PARTLY_ESTIMATED = "partly_estimated"
    TEMPERATURES_ONLY = "temperatures_only"
    MISSING = "missing"


@dataclass(frozen=True, slots=True)
class ReferenceET:
    """Daily ET0 and its provenance; arrays of shape (n_days,).

    Parameters
    ----------
    et0_mm : ndarray
        Reference evapotranspiration of short grass, ≥ 0; NaN where temperatures miss. [mm]
    methods : tuple of ET0Method
        One per day.
    is_solar_estimated, is_humidity_estimated, is_wind_estimated : ndarray of bool
        True where the day's value was put in for want of a measured one.
    """

    et0_mm: Floats
    methods: tuple[ET0Method, ...]
    is_solar_estimated: Bools
    is_humidity_estimated: Bools
    is_wind_estimated: Bools

    def estimated_inputs(self, index: int) -> tuple[str, ...]:
        """Name the inputs put in on one day.

        Parameters
        ----------
        index : int
            Place of the day in the arrays.

        Returns
        -------
        tuple of str
            Of "solar", "humidity", "wind"; empty where all was measured or ET0 was given.
        """
        flags = {
            "solar": self.is_solar_estimated,
            "humidity": self.is_humidity_estimated,
            "wind": self.is_wind_estimated,
        }
        return tuple(name for name, is_estimated in flags.items() if is_estimated[index])


def reference_et(
    weather: DailyWeather,
    place: Place,
    *,
    k_rs: float = K_RS_INLAND,
    dewpoint_below_tmin_degc: float = 0.0,
) -> ReferenceET:
    """Compute daily FAO-56 ET0, estimating what is not known and saying so.

    Parameters
    ----------
    weather : DailyWeather
        A given `et0_mm` is taken as it is, then what whole hours add up to; else temperatures
        are needed.
    place : Place
        Latitude and elevation.
    k_rs : float
        Coefficient of the radiation estimate. [°C^-0.5]
    dewpoint_below_tmin_degc : float
        How far dew point lies under tmin where humidity is not known; FAO-56 suggests 2 to 3 °C
        for arid stations. [°C]

    Returns
    -------
    ReferenceET
        ET0 with a method code a day. [mm]

    Notes
    -----
    Soil heat flux is zero for a day (eq. 42). Small negative results of dark winter days (dew)
    are returned as 0, since sand cannot be relied on to gain water from them.

    Valid: temperatures from -60 to 60 °C, latitudes within ±66; estimates suit dry inland sites
    least: there they may be a tenth off over a year.

    Checked: tests/equipment/weather/test_et0.py::
    test_fao56_example_18_gives_3_88_mm,
    test_fao56_example_17_with_its_soil_heat_taken_out,
    test_temperatures_alone_come_near_the_given_et0_of_champion

    References
    ----------
    FAO-56: ET0 eq. 6 (through the `refet` library, ASCE-EWRI 2005 constants), ea eq. 17 and 18,
    estimates eq. 48 (ea from tmin), eq. 50 (radiation), and 2 m/s for wind (ch. 3).
    """
    ea_kpa, is_humidity_estimated = _vapour_pressure(weather, dewpoint_below_tmin_degc)
    solar_mj_m2_d, is_solar_estimated = _solar(weather, place, k_rs)
    is_wind_estimated = np.isnan(weather.wind_2m_m_s)
    computed_mm = penman_monteith_mm(
        weather,
        place,
        ea_kpa=ea_kpa,
        solar_mj_m2_d=solar_mj_m2_d,
        wind_2m_m_s=np.where(is_wind_estimated, WIND_ESTIMATE_2M_M_S, weather.wind_2m_m_s),
    )
    is_given = ~np.isnan(weather.et0_mm)
    is_hourly = ~is_given & ~np.isnan(weather.et0_of_hours_mm)
    et0_mm = _first_known(weather.et0_mm, weather.et0_of_hours_mm, computed_mm)
    is_daily = ~is_given & ~is_hourly & ~np.isnan(et0_mm)
    flags = [
        flag & is_daily for flag in (is_solar_estimated, is_humidity_estimated, is_wind_estimated)
    ]
    methods = _methods(et0_mm, is_given, is_hourly, flags)
    return ReferenceET(et0_mm, methods, *flags)


def penman_monteith_mm(
    weather: DailyWeather,
    place: Place,
    *,
    ea_kpa: Floats,
    solar_mj_m2_d: Floats,
    wind_2m_m_s: Floats,
) -> Floats:
    """Compute ET0 from complete inputs.

    Parameters
    ----------
    weather : DailyWeather
        Its dates and temperatures count.
    place : Place
        Latitude and elevation.
    ea_kpa : ndarray, shape (n_days,)
        Mean vapour pressure. [kPa]
    solar_mj_m2_d : ndarray, shape (n_days,)
        Global radiation. [MJ m⁻² d⁻¹]
    wind_2m_m_s : ndarray, shape (n_days,)
        Mean wind at 2 m. [m s⁻¹]

    Returns
    -------
    ndarray, shape (n_days,)
        ET0, ≥ 0. [mm]

    Notes
    -----
    Valid: as `reference_et`; all inputs known.

    Checked: tests/equipment/weather/test_et0.py::
    test_semi_arid_day_agrees_with_a_second_library

    References
    ----------
    FAO-56, eq. 6.
    """
    daily = refet.Daily(
        tmin=weather.tmin_degc,
        tmax=weather.tmax_degc,
        ea=ea_kpa,
        rs=solar_mj_m2_d,
        uz=wind_2m_m_s,
        zw=2.0,
        elev=place.elevation_m,
        lat=place.latitude_deg,
        doy=weather.day_of_year,
        method="asce",
    )
    et0_mm: Floats = np.maximum(np.asarray(daily.eto(), dtype=float), 0.0)
    return et0_mm


def wind_at_2m_m_s(wind_m_s: Floats, height_m: float) -> Floats:
    """Bring wind measured at another height down to 2 m over short grass.

    Parameters
    ----------
    wind_m_s : ndarray
        Wind at `height_m`. [m s⁻¹]
    height_m : float
        Height of the instrument, 0.5 m or more. [m]

    Returns
    -------
    ndarray
        Wind at 2 m. [m s⁻¹]

    Raises
    ------
    ValueError
        The instrument is lower than the profile holds for.

    Notes
    -----
    Valid: heights of 0.5 m and more over short grass.

    Checked: tests/equipment/weather/test_et0.py::
    test_fao56_example_18_intermediate_values

    References
    ----------
    FAO-56, eq. 47.
    """
    if height_m < 0.5:
        raise ValueError(f"height_m {height_m} is below 0.5")
    return np.asarray(calcs.wind_height_adjust(wind_m_s, height_m), dtype=float)


def saturation_kpa(temp_degc: Floats) -> Floats:
    """Compute the vapour pressure of saturated air.

    Parameters
    ----------
    temp_degc : ndarray
        Air temperature. [°C]

    Returns
    -------
    ndarray
        e°(T). [kPa]

    Notes
    -----
    Valid: air from -60 to 60 °C; over water, also below 0 °C.

    Checked: tests/equipment/weather/test_et0.py::
    test_saturation_pressure_follows_fao56_annex_2

    References
    ----------
    FAO-56, eq. 11.
    """
    return np.asarray(calcs.sat_vapor_pressure(temp_degc), dtype=float)


def estimated_solar_mj_m2_d(weather: DailyWeather, place: Place, k_rs: float) -> Floats:
    """Estimate global radiation from the day's temperature range.

    Parameters
    ----------
    weather : DailyWeather
        Its dates and temperatures count.
    place : Place
        Latitude and elevation.
    k_rs : float
        0.16 inland, 0.19 at the coast. [°C^-0.5]

    Returns
    -------
    ndarray, shape (n_days,)
        k √(tmax − tmin) Ra, no more than a clear sky gives. [MJ m⁻² d⁻¹]

    Notes
    -----
    Valid: days whose air mass does not change; poor near large water bodies.

    Checked: tests/equipment/weather/test_et0.py::
    test_radiation_estimate_of_fao56_example_15

    References
    ----------
    FAO-56, eq. 50 (Hargreaves).
    """
    ra_mj_m2_d = extraterrestrial_mj_m2_d(place, weather.day_of_year)
    rs_mj_m2_d = k_rs * np.sqrt(weather.tmax_degc - weather.tmin_degc) * ra_mj_m2_d
    return np.minimum(rs_mj_m2_d, clear_sky_mj_m2_d(place, weather.day_of_year))


def _vapour_pressure(weather: DailyWeather, depression_degc: float) -> tuple[Floats, Bools]:
    """Take ea from the best there is: given, both humidities, the highest alone, or tmin."""
    es_tmin_kpa, es_tmax_kpa = saturation_kpa(weather.tmin_degc), saturation_kpa(weather.tmax_degc)
    from_max_kpa = es_tmin_kpa * weather.rh_max_frac  # eq. 18
    from_both_kpa = (from_max_kpa + es_tmax_kpa * weather.rh_min_frac) / 2  # eq. 17
    from_tmin_kpa = saturation_kpa(weather.tmin_degc - depression_degc)  # eq. 48
    ea_kpa = _first_known(weather.ea_kpa, from_both_kpa, from_max_kpa)
    return _first_known(ea_kpa, from_tmin_kpa), np.isnan(ea_kpa)


def _solar(weather: DailyWeather, place: Place, k_rs: float) -> tuple[Floats, Bools]:
    estimate_mj_m2_d = estimated_solar_mj_m2_d(weather, place, k_rs)
    solar_mj_m2_d = _first_known(weather.solar_mj_m2_d, estimate_mj_m2_d)
    return solar_mj_m2_d, np.isnan(weather.solar_mj_m2_d)


def _first_known(*choices: Floats) -> Floats:
    best = choices[0]
    for choice in choices[1:]:
        best = np.where(np.isnan(best), choice, best)
    return best


def _methods(
    et0_mm: Floats, is_given: Bools, is_hourly: Bools, flags: list[Bools]
) -> tuple[ET0Method, ...]:
    by_count = (
        ET0Method.FULL,
        ET0Method.PARTLY_ESTIMATED,
        ET0Method.PARTLY_ESTIMATED,
        ET0Method.TEMPERATURES_ONLY,
    )
    methods = [by_count[int(n)] for n in np.sum(flags, axis=0)]
    for code, applies in (
        (ET0Method.HOURLY, is_hourly),
        (ET0Method.GIVEN, is_given),
        (ET0Method.MISSING, np.isnan(et0_mm)),
    ):
        methods = [code if yes else was for was, yes in zip(methods, applies, strict=True)]
    return tuple(methods)
