"""The hours of a day whose sums are known: evaporation by the sun's path, rain as one storm.

Hours are of the solar day, the first from midnight to one: within a day only their order matters.
"""

from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from equipment.weather.calc.days import Floats

N_HOURS = 24
STORM_MAX_H = 6  # common practice, no source


def sun_shares(start_on: date, n_days: int, latitude_deg: float) -> Floats:
    """Tell which share of a day's sun, and so of its ET0, falls into each hour.

    Parameters
    ----------
    start_on : date
        The first day.
    n_days : int
        How many days, 0 or more. [d]
    latitude_deg : float
        North positive, -90 to 90. [°]

    Returns
    -------
    ndarray, shape (n_days, 24)
        Shares that sum to 1 on each day; 0 while the sun is down. [-]

    Raises
    ------
    ValueError
        A latitude beyond the poles, or a negative number of days.

    Notes
    -----
    The sun above a flat horizon without air, as FAO-56 has it for the hour (its eq. 28) and the day
    (eq. 21): ∫ (sin φ sin δ + cos φ cos δ cos ω) dω over the lit part of the hour. Nights neither
    evaporate nor gather dew. A day without sun has its share spread evenly.

    Valid: all latitudes; ET0 that follows radiation. Wind makes part of it lag into the evening.

    Checked: tests/equipment/weather/test_subdaily.py::
    test_hourly_shares_follow_the_published_extraterrestrial_radiation,
    test_shares_of_a_day_are_one_and_none_at_night

    References
    ----------
    Allen et al., "Crop evapotranspiration", FAO Irrigation and Drainage Paper 56, 1998, eq. 21, 24,
    25, 28.
    """
    if not -90 <= latitude_deg <= 90:
        raise ValueError(f"latitude_deg {latitude_deg} is not from -90 to 90")
    if n_days < 0:
        raise ValueError(f"n_days {n_days} is negative")
    days = np.datetime64(start_on, "D") + np.arange(n_days)
    doy = (days - days.astype("datetime64[Y]")).astype(np.int64) + 1
    declination_rad = 0.409 * np.sin(2 * np.pi / 365 * doy - 1.39)
    latitude_rad = np.radians(latitude_deg)
    sunset_rad = np.arccos(np.clip(-np.tan(latitude_rad) * np.tan(declination_rad), -1, 1))
    edge_rad = np.linspace(-np.pi, np.pi, N_HOURS + 1)
    lit_rad = np.clip(edge_rad, -sunset_rad[:, None], sunset_rad[:, None])
    level = np.sin(latitude_rad) * np.sin(declination_rad)
    swing = np.cos(latitude_rad) * np.cos(declination_rad)
    sun = level[:, None] * np.diff(lit_rad) + swing[:, None] * np.diff(np.sin(lit_rad))
    sun = np.maximum(sun, 0.0)
    whole = sun.sum(axis=1, keepdims=True)
    even = np.full_like(sun, 1 / N_HOURS)
    shares: Floats = np.where(whole > 1e-9, sun / np.where(whole > 1e-9, whole, 1.0), even)
    return shares


@dataclass(frozen=True, slots=True)
class Storms:
    """When it rains within each day.

    Parameters
    ----------
    begin_h : ndarray of int8
        First hour with rain, 0 to 23. [h]
    length_h : ndarray of int8
        Hours of even rain from then on, all of the same day. [h]
    """

    begin_h: NDArray[np.int8]
    length_h: NDArray[np.int8]

    def hourly_mm(self, rain_mm: Floats) -> Floats:
        """Spread daily rain over the hours.

        Parameters
        ----------
        rain_mm : ndarray, shape as the storms'
            Daily sums. [mm]

        Returns
        -------
        ndarray, shape (..., 24)
            Hourly sums; each day's add up to its rain. [mm]
        """
        hour = np.arange(N_HOURS, dtype=np.int8)
        begin_h, length_h = self.begin_h[..., None], self.length_h[..., None]
        is_wet = (hour >= begin_h) & (hour < begin_h + length_h)
        hourly: Floats = is_wet * (rain_mm / self.length_h)[..., None]
        return hourly


def draw_storms(shape: tuple[int, ...], rng: np.random.Generator) -> Storms:
    """Draw one storm a day: 1 to 6 hours, anywhere in the day.

    Parameters
    ----------
    shape : tuple of int
        Of the days, such as (n_members, n_days).
    rng : numpy.random.Generator
        Source of the draws.

    Returns
    -------
    Storms
        Arrays of that shape, also for dry days.
    """
    length_h = rng.integers(1, STORM_MAX_H, size=shape, dtype=np.int8, endpoint=True)
    begin_h = (rng.random(shape) * (N_HOURS - length_h + 1)).astype(np.int8)
    return Storms(begin_h, length_h)
