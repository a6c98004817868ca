"""Daily weather as arrays: what every computation about weather takes and gives."""

from dataclasses import dataclass, fields
from datetime import date

import numpy as np
from numpy.typing import NDArray

Days = NDArray[np.datetime64]
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Place:
    """Where a weather series belongs.

    Parameters
    ----------
    latitude_deg : float
        North positive. [deg], inside the polar circles (±66)
    elevation_m : float
        Above sea level. [m], −500 to 6 000
    longitude_deg : float, optional
        East positive; hours of sun need it, days do not. [deg], ±180

    Raises
    ------
    ValueError
        Out of range: beyond the circles the sun may not rise, and FAO-56's daily radiation ends.
    """

    latitude_deg: float
    elevation_m: float
    longitude_deg: float | None = None

    def __post_init__(self) -> None:
        if self.longitude_deg is not None and not abs(self.longitude_deg) <= 180:
            raise ValueError(f"longitude_deg {self.longitude_deg} is not within ±180")
        if not abs(self.latitude_deg) <= 66:
            raise ValueError(f"latitude_deg {self.latitude_deg} is not within ±66")
        if not -500 <= self.elevation_m <= 6000:
            raise ValueError(f"elevation_m {self.elevation_m} is not within -500 to 6000")


@dataclass(frozen=True, slots=True)
class DailyWeather:
    """Daily weather; every array has shape (n_days,), NaN says "not known".

    Parameters
    ----------
    day : ndarray of datetime64[D]
        Local dates, strictly increasing; gaps are allowed.
    tmin_degc, tmax_degc : ndarray
        Lowest and highest air temperature of the day. [°C]
    rain_mm : ndarray
        Sum over the day, ≥ 0. [mm]
    rh_min_frac, rh_max_frac : ndarray
        Lowest and highest relative humidity of the day, 0 to 1.
    ea_kpa : ndarray
        Mean vapour pressure, where it is known better than from humidity. [kPa]
    wind_2m_m_s : ndarray
        Mean over the day at 2 m. [m s⁻¹]
    solar_mj_m2_d : ndarray
        Global radiation, sum over the day. [MJ m⁻² d⁻¹]
    et0_mm : ndarray
        Reference evapotranspiration, where the source gives it. [mm]
    et0_of_hours_mm : ndarray
        The same, summed from hours that were measured in full. [mm]

    Raises
    ------
    ValueError
        Lengths differ, days do not increase, tmin above tmax, or a value below what can be.
    """

    day: Days
    tmin_degc: Floats
    tmax_degc: Floats
    rain_mm: Floats
    rh_min_frac: Floats
    rh_max_frac: Floats
    ea_kpa: Floats
    wind_2m_m_s: Floats
    solar_mj_m2_d: Floats
    et0_mm: Floats
    et0_of_hours_mm: Floats

    def __post_init__(self) -> None:
        for field in fields(self):
            if getattr(self, field.name).shape != self.day.shape:
                raise ValueError(f"{field.name} has another shape than day")
        if np.any(np.diff(self.day) <= np.timedelta64(0, "D")):
            raise ValueError("day must increase strictly")
        self._refuse("tmin_degc above tmax_degc", self.tmin_degc > self.tmax_degc)
        for name in ("rain_mm", "rh_min_frac", "ea_kpa", "wind_2m_m_s", "solar_mj_m2_d", "et0_mm"):
            self._refuse(f"{name} below 0", getattr(self, name) < 0)
        for name in ("rh_min_frac", "rh_max_frac"):
            self._refuse(f"{name} above 1", getattr(self, name) > 1)
        self._refuse("rh_min_frac above rh_max_frac", self.rh_min_frac > self.rh_max_frac)

    def _refuse(self, rule: str, is_broken: NDArray[np.bool_]) -> None:
        if np.any(is_broken):
            raise ValueError(f"{rule} on {self.day[np.argmax(is_broken)]}")

    @property
    def n_days(self) -> int:
        """How many days there are."""
        return int(self.day.size)

    @property
    def day_of_year(self) -> NDArray[np.int64]:
        """1 on 1 January; shape (n_days,)."""
        return day_of_year(self.day)


def daily_weather(
    day: Days,
    *,
    tmin_degc: Floats | None = None,
    tmax_degc: Floats | None = None,
    rain_mm: Floats | None = None,
    rh_min_frac: Floats | None = None,
    rh_max_frac: Floats | None = None,
    ea_kpa: Floats | None = None,
    wind_2m_m_s: Floats | None = None,
    solar_mj_m2_d: Floats | None = None,
    et0_mm: Floats | None = None,
    et0_of_hours_mm: Floats | None = None,
) -> DailyWeather:
    """Build daily weather from the columns a source has; what it has not is not known.

    Parameters
    ----------
    day : ndarray of datetime64[D], shape (n_days,)
        Local dates.
    tmin_degc, tmax_degc, rain_mm, rh_min_frac, rh_max_frac, ea_kpa : ndarray, optional
        As in `DailyWeather`.
    wind_2m_m_s, solar_mj_m2_d, et0_mm, et0_of_hours_mm : ndarray, optional
        As in `DailyWeather`.

    Returns
    -------
    DailyWeather
        With NaN in the columns not given.
    """

    def known(values: Floats | None) -> Floats:
        return np.full(day.shape, np.nan) if values is None else np.asarray(values, dtype=float)

    return DailyWeather(
        day=np.asarray(day, dtype="datetime64[D]"),
        tmin_degc=known(tmin_degc),
        tmax_degc=known(tmax_degc),
        rain_mm=known(rain_mm),
        rh_min_frac=known(rh_min_frac),
        rh_max_frac=known(rh_max_frac),
        ea_kpa=known(ea_kpa),
        wind_2m_m_s=known(wind_2m_m_s),
        solar_mj_m2_d=known(solar_mj_m2_d),
        et0_mm=known(et0_mm),
        et0_of_hours_mm=known(et0_of_hours_mm),
    )


def day_of_year(day: Days) -> NDArray[np.int64]:
    """Number each date within its year, 1 on 1 January.

    Parameters
    ----------
    day : ndarray of datetime64[D]
        Dates.

    Returns
    -------
    ndarray of int
        1 to 366, same shape.
    """
    new_year = day.astype("datetime64[Y]").astype("datetime64[D]")
    number: NDArray[np.int64] = (day.astype("datetime64[D]") - new_year).astype(np.int64) + 1
    return number


def days_from(start_on: date, n_days: int) -> Days:
    """List consecutive dates.

    Parameters
    ----------
    start_on : date
        The first date.
    n_days : int
        How many.

    Returns
    -------
    ndarray of datetime64[D], shape (n_days,)
        The dates.
    """
    return np.datetime64(start_on, "D") + np.arange(n_days)
