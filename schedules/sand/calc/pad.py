"""What a drying forecast starts from: the sand as spread, its weather, and what was measured."""

from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from equipment.weather.calc.members import WeatherMembers
from schedules.sand.calc.drying import DryTarget, Turning
from schedules.sand.calc.layer import Floats, Layer
from schedules.sand.calc.rate import UNKNOWN_PAD, PadRate


@dataclass(frozen=True, slots=True)
class MoistureTest:
    """A measured moisture.

    Parameters
    ----------
    on : date
        Local date.
    moisture_wb_frac : float
        Mean of the spots by wet mass, 0 to 1.
    n_spots : int
        Places it was mixed or averaged from, 1 or more.
    depth_m : float, optional
        How deep the samples reached; without it through the whole layer. [m]
    at_h : float
        Hour of the local day, 0 to 24; noon where nobody told. [h]
    spot_sd_frac : float
        How spots of one bay differ, by wet mass. Common practice, no source.
    method_sd_frac : float
        Error of the method that more spots do not lessen. Common practice, no source.

    Raises
    ------
    ValueError
        Out of range.
    """

    on: date
    moisture_wb_frac: float
    n_spots: int = 1
    depth_m: float | None = None
    at_h: float = 12.0
    spot_sd_frac: float = 0.010
    method_sd_frac: float = 0.003

    def __post_init__(self) -> None:
        if not 0 <= self.moisture_wb_frac < 1:
            raise ValueError(f"moisture_wb_frac {self.moisture_wb_frac} is not from 0 to below 1")
        if self.n_spots < 1:
            raise ValueError(f"n_spots {self.n_spots} is below 1")
        if not 0 <= self.at_h <= 24:
            raise ValueError(f"at_h {self.at_h} is not from 0 to 24")
        if not (self.spot_sd_frac >= 0 and self.method_sd_frac > 0):
            raise ValueError("spot_sd_frac cannot be negative, nor method_sd_frac 0 or less")

    @property
    def sd_frac(self) -> float:
        """Standard deviation of the mean: spread over √spots, and the method's own error."""
        return float(np.hypot(self.spot_sd_frac / np.sqrt(self.n_spots), self.method_sd_frac))


@dataclass(frozen=True, slots=True)
class SpreadBatch:
    """A batch on a pad, and what is not certain about it.

    Parameters
    ----------
    layer : Layer
        The sand as spread.
    target : DryTarget
        When the farm calls it dry.
    spread_on : date
        Day 0.
    spread_h : int
        Hour of it in which the sand was spread, 0 to 23. [h]
    moisture_wb_frac, moisture_sd_frac : float
        Mean moisture as spread by wet mass, and how sure that is.
    past_turns : tuple of int
        Turns done on each day from `spread_on` to yesterday.
    planned_turns_d : int
        Turns on each day from today on.
    turned_depth_m : float
        How deep the tool mixes. [m]
    skip_rain_mm : float
        Not turned on a day with as much rain. [mm]
    rate : PadRate
        Evaporation of this pad (shade, wind) over kc · ET0, and how sure that is.
    capacity_sd_frac : float
        How sure the sand's field capacity is, by volume: FAO-56 Table 19 gives sand 0.07 to 0.17,
        a farm knows its own better. It is what a layer drains to, and so what a test tells most of.

    Raises
    ------
    ValueError
        A moisture, spread or number of turns out of range.
    """

    layer: Layer
    target: DryTarget
    spread_on: date
    moisture_wb_frac: float
    moisture_sd_frac: float = 0.010
    spread_h: int = 0
    past_turns: tuple[int, ...] = ()
    planned_turns_d: int = 0
    turned_depth_m: float = 0.25
    skip_rain_mm: float = 1.0
    rate: PadRate = UNKNOWN_PAD
    capacity_sd_frac: float = 0.015

    def __post_init__(self) -> None:
        if not 0 < self.moisture_wb_frac < 1:
            raise ValueError(f"moisture_wb_frac {self.moisture_wb_frac} is not between 0 and 1")
        if min(self.moisture_sd_frac, self.capacity_sd_frac) < 0:
            raise ValueError("spreads cannot be negative")
        if not 0 <= self.spread_h < 24:
            raise ValueError(f"spread_h {self.spread_h} is not from 0 to 23")

    def turning(self, n_days: int) -> Turning:
        """Lay past and planned turns on a row of days.

        Parameters
        ----------
        n_days : int
            From `spread_on` to the end of the horizon.

        Returns
        -------
        Turning
            `n_days` long.
        """
        turns = (*self.past_turns, *(self.planned_turns_d,) * (n_days - len(self.past_turns)))
        return Turning(turns, self.turned_depth_m, self.skip_rain_mm)


@dataclass(frozen=True, slots=True)
class PadWeather:
    """Weather on the pad since the sand was spread, and what may come.

    Parameters
    ----------
    observed_et0_mm, observed_rain_mm : ndarray, shape (n_observed,)
        From `spread_on` to yesterday; NaN on a day that nobody recorded. [mm]
    members : WeatherMembers
        From the first day on that is not known: today, or the first that nobody recorded.
    latitude_deg : float
        For the sun's path over the day, north positive. [°]

    Raises
    ------
    ValueError
        The two observed rows differ in length.

    Notes
    -----
    A day that nobody recorded is as uncertain as one to come: each member has its own weather
    there, of the same past days as what follows, so that the gap widens the forecast.
    """

    observed_et0_mm: Floats
    observed_rain_mm: Floats
    members: WeatherMembers
    latitude_deg: float

    def __post_init__(self) -> None:
        if self.observed_et0_mm.shape != self.observed_rain_mm.shape:
            raise ValueError("observed_et0_mm and observed_rain_mm differ in length")

    @property
    def n_observed(self) -> int:
        """Days from spreading to yesterday."""
        return int(self.observed_et0_mm.size)

    @property
    def n_filled(self) -> int:
        """Days among them that the members fill."""
        return int(self.n_observed - self._is_known.sum())

    @property
    def n_certain(self) -> int:
        """Days before the first that is not known; the members begin there."""
        return first_unknown(self.observed_et0_mm, self.observed_rain_mm)

    @property
    def _is_known(self) -> NDArray[np.bool_]:
        return _is_known(self.observed_et0_mm, self.observed_rain_mm)

    def particles(self, n_each: int) -> tuple[Floats, Floats]:
        """Lay the known days over every member, each member `n_each` times.

        Parameters
        ----------
        n_each : int
            Particles a member.

        Returns
        -------
        et0_mm, rain_mm : ndarray, shape (n_members · n_each, n_certain + horizon_d)
            Daily sums. [mm]
        """
        return (
            self._joined(self.observed_et0_mm, self.members.et0_mm, n_each),
            self._joined(self.observed_rain_mm, self.members.rain_mm, n_each),
        )

    def _joined(self, observed_mm: Floats, members_mm: Floats, n_each: int) -> Floats:
        repeated_mm = np.repeat(members_mm, n_each, axis=0)
        before_mm = np.empty((repeated_mm.shape[0], self.n_certain))
        joined_mm = np.concatenate([before_mm, repeated_mm], axis=1)
        known = np.flatnonzero(self._is_known)
        joined_mm[:, known] = observed_mm[known]
        return joined_mm


def first_unknown(et0_mm: Floats, rain_mm: Floats) -> int:
    """Count the days before the first that was not recorded.

    Parameters
    ----------
    et0_mm, rain_mm : ndarray, shape (n_days,)
        Daily sums; NaN on a day that nobody recorded. [mm]

    Returns
    -------
    int
        Its index; `n_days` where all are known.
    """
    return int(np.append(_is_known(et0_mm, rain_mm), False).argmin())


def _is_known(et0_mm: Floats, rain_mm: Floats) -> NDArray[np.bool_]:
    return ~(np.isnan(et0_mm) | np.isnan(rain_mm))
