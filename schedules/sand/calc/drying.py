"""Drying of layers on pads, by the hour or by the day: drainage, sun, rain and turning.

The physics of a step stands in `step.py`. Here it is laid over members of weather and several bays
in one compiled loop, with the farm's turning and its idea of dry. Water closes in every step, else
`MassBalanceError`; the latent heat of what evaporates never exceeds that of kc · ET0.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from equipment.site.calc.compiled import compiled
from schedules.sand.calc.layer import Floats, Layer, zones_m
from schedules.sand.calc.step import N_ZONES, step_layer

Whole = NDArray[np.int64]

_MASS_TOLERANCE_MM = 1e-6
NOT_DRY = -1  # in place of a day index: not within the horizon
DAY_H = 24

FallingStage = Literal["exact", "daily"]


class MassBalanceError(ArithmeticError):
    """Water came from nowhere or went nowhere: a bug, never an answer."""


@dataclass(frozen=True, slots=True)
class Turning:
    """How a layer is turned.

    Parameters
    ----------
    n_turns : tuple of int
        Turns on each day, ≥ 0; as long as the weather.
    depth_m : float
        How deep the tool mixes; no deeper than the layer is. A turn no deeper than the zone that
        dries by itself changes nothing here. [m]
    skip_rain_mm : float
        On a day with as much rain or more the pad is left alone. Common practice, no source. [mm]
    from_h, until_h : float
        Between which hours of the local day the turns are spaced evenly, the first at `from_h`.
        Common practice, no source. [h]

    Raises
    ------
    ValueError
        A negative number of turns, no depth, or hours that are none of a day's.
    """

    n_turns: tuple[int, ...]
    depth_m: float
    skip_rain_mm: float = 1.0
    from_h: float = 8.0
    until_h: float = 18.0

    def __post_init__(self) -> None:
        if any(n < 0 for n in self.n_turns):
            raise ValueError("n_turns cannot be negative")
        if not self.depth_m > 0:
            raise ValueError(f"depth_m {self.depth_m} is not above 0")
        if not 0 <= self.from_h < self.until_h <= DAY_H:
            raise ValueError("0 ≤ from_h < until_h ≤ 24 does not hold")

    def by_step(self, step_h: int) -> Whole:
        """Lay the turns on the steps of their days.

        Parameters
        ----------
        step_h : int
            Length of a step, a part of 24. [h]

        Returns
        -------
        ndarray of int, shape (n_steps,)
            Turns in each step.
        """
        steps = np.zeros((len(self.n_turns), DAY_H // step_h), dtype=np.int64)
        for day, n in enumerate(self.n_turns):
            for turn in range(n):
                at_h = self.from_h + turn * (self.until_h - self.from_h) / n
                steps[day, int(at_h // step_h)] += 1
        return steps.ravel()


@dataclass(frozen=True, slots=True)
class DryingRun:
    """What happened to a layer; day arrays have shape (n_members, n_days), at each day's end.

    Parameters
    ----------
    layer : Layer
        The layer.
    zone_m : ndarray, shape (3,)
        Depth of each zone from the surface down; the first is the one that the air dries. [m]
    zone_mm : ndarray, shape (n_members, n_days, 3)
        Water in each zone. [mm]
    peak_mm : ndarray
        The most water in the layer by any step's end of the day. [mm]
    rain_mm, evaporated_mm, drained_mm : ndarray
        Over the day, from the step in which the layer was spread on. [mm]
    initial_mm : ndarray, shape (n_members,)
        Water at the start. [mm]
    """

    layer: Layer
    zone_m: Floats
    zone_mm: Floats
    peak_mm: Floats
    rain_mm: Floats
    evaporated_mm: Floats
    drained_mm: Floats
    initial_mm: Floats

    @property
    def water_mm(self) -> Floats:
        """Water in the layer, shape (n_members, n_days) [mm]."""
        return np.asarray(self.zone_mm @ np.ones(N_ZONES), dtype=float)

    @property
    def moisture_wb_frac(self) -> Floats:
        """Mean moisture of the layer by wet mass, shape (n_members, n_days)."""
        return self.layer.moisture_wb_frac(self.water_mm)

    @property
    def imbalance_mm(self) -> Floats:
        """What was there and came, less what is there and went; 0 but for rounding [mm]."""
        came_mm = self.initial_mm + self.rain_mm.sum(axis=1)
        went_mm = self.evaporated_mm.sum(axis=1) + self.drained_mm.sum(axis=1)
        left_mm: Floats = came_mm - went_mm - self.water_mm[:, -1]
        return left_mm

    def moisture_of_top_wb_frac(self, depth_m: float) -> Floats:
        """Tell the moisture of the uppermost sand, as a sample from there would show it.

        Parameters
        ----------
        depth_m : float
            Depth of the sample from the surface; deeper than the layer is the whole layer. [m]

        Returns
        -------
        ndarray, shape (n_members, n_days)
            Water over wet sand.

        Raises
        ------
        ValueError
            No depth.
        """
        if not depth_m > 0:
            raise ValueError(f"depth_m {depth_m} is not above 0")
        above_m = np.cumsum(self.zone_m) - self.zone_m
        share_frac = np.clip((depth_m - above_m) / np.maximum(self.zone_m, 1e-9), 0.0, 1.0)
        depth_m = min(depth_m, self.layer.thickness_m)
        return self.layer.moisture_wb_frac(self.zone_mm @ share_frac, depth_m)


@dataclass(frozen=True, slots=True)
class DryTarget:
    """When a farm calls a layer dry.

    Parameters
    ----------
    moisture_wb_frac : float
        Mean moisture of the layer by wet mass, 0 to 1.
    hold_d : int
        It must be no wetter at so many days' ends in a row, and by every step's end between the
        first and the last of them; 1 or more. [d]

    Raises
    ------
    ValueError
        Out of range.
    """

    moisture_wb_frac: float = 0.05
    hold_d: int = 1

    def __post_init__(self) -> None:
        if not 0 < self.moisture_wb_frac < 1:
            raise ValueError(f"moisture_wb_frac {self.moisture_wb_frac} is not between 0 and 1")
        if self.hold_d < 1:
            raise ValueError(f"hold_d {self.hold_d} is below 1")


def simulate_drying(
    layer: Layer,
    *,
    initial_moisture_wb_frac: Floats | float,
    et0_mm: Floats,
    rain_mm: Floats,
    turning: Turning | None = None,
    theta_fc_frac: Floats | None = None,
    rate_frac: Floats | float = 1.0,
    step_h: int = DAY_H,
    start_step: int = 0,
    falling_stage: FallingStage = "exact",
) -> DryingRun:
    """Follow the water of a layer through hours or days of weather.

    Parameters
    ----------
    layer : Layer
        The sand.
    initial_moisture_wb_frac : float or ndarray, shape (n_members,)
        Mean moisture as spread, the same at all depths.
    et0_mm, rain_mm : ndarray, shape (n_members, n_steps) or (n_steps,)
        Sums of each step, ≥ 0; whole days, the first step begins at local midnight. [mm]
    turning : Turning, optional
        None leaves the layer as it lies.
    theta_fc_frac : ndarray, shape (n_members,), optional
        Field capacity of each member, in place of the layer's: two sands of one name differ.
    rate_frac : float or ndarray, shape (n_members,)
        Evaporation of this pad over kc · ET0, ≥ 0.
    step_h : int
        Length of a step, a part of 24. [h]
    start_step : int
        Step in which the layer is spread; before it nothing happens, and its days show the start.
    falling_stage : {"exact", "daily"}
        How the second stage is stepped: integrated, or by FAO-56's table; see `step.evaporate`.

    Returns
    -------
    DryingRun
        Each day's end, and the terms of the balance. [mm]

    Raises
    ------
    ValueError
        Shapes differ, weather is negative or not known, the steps are not whole days, `turning` has
        another length, or a field capacity is not between wilting point and saturation.
    MassBalanceError
        A step did not close (a bug).

    Notes
    -----
    The physics of a step is `step.step_layer`. A day with `turning.skip_rain_mm` of rain or more,
    at whatever hour, sees no turn.

    Valid: steps from an hour to a day. A step puts all of its sun behind all of its rain.
    Checked: tests/schedules/sand/test_drying.py::test_two_stage_run_of_twelve_days,
    test_storm_of_may_2018_in_champion_nebraska, test_members_together_equal_each_alone

    References
    ----------
    Allen et al., "Crop evapotranspiration", FAO Irrigation and Drainage Paper 56, 1998, ch. 7.
    """
    et0_mm, rain_mm = _members(et0_mm, "et0_mm"), _members(rain_mm, "rain_mm")
    if et0_mm.shape != rain_mm.shape:
        raise ValueError(f"et0_mm {et0_mm.shape} and rain_mm {rain_mm.shape} differ in shape")
    n_members, n_steps = et0_mm.shape
    if step_h < 1 or DAY_H % step_h or n_steps % (DAY_H // step_h):
        raise ValueError(f"step_h {step_h} and {n_steps} steps do not make whole days")
    n_turns = turning.by_step(step_h) if turning else np.zeros(n_steps, dtype=np.int64)
    if n_turns.size != n_steps:
        n_days = n_steps * step_h // DAY_H
        raise ValueError(f"n_turns has {n_turns.size * step_h // DAY_H} days, the weather {n_days}")
    initial_mm = layer.water_mm(_each(initial_moisture_wb_frac, n_members))
    capacity_frac = _each(layer.theta_fc_frac, n_members)
    if theta_fc_frac is not None:
        capacity_frac = layer.require_capacity(_each(theta_fc_frac, n_members))
    zone_m = zones_m(layer, turning.depth_m if turning else 0.0)
    n_days = n_steps * step_h // DAY_H
    zone_mm = np.empty((n_members, n_days, N_ZONES))
    flows_mm = np.zeros((n_members, n_days, 4))  # peak, rain, evaporated, drained
    worst_mm = _follow(
        zone_mm,
        flows_mm,
        np.empty(N_ZONES),
        zone_m,
        initial_mm,
        capacity_frac,
        layer.falling_mm(capacity_frac),
        layer.kc_bare * _each(rate_frac, n_members),
        et0_mm,
        rain_mm,
        n_turns,
        np.array([layer.theta_sat_frac, layer.floor_mm, layer.drained_frac(step_h)]),
        turning.skip_rain_mm if turning else np.inf,
        DAY_H // step_h,
        start_step,
        falling_stage == "exact",
    )
    if not worst_mm <= _MASS_TOLERANCE_MM:
        raise MassBalanceError(f"a step's water is off by {worst_mm} mm")
    peak_mm, fell_mm, evaporated_mm, drained_mm = (flows_mm[..., n] for n in range(4))
    return DryingRun(
        layer, zone_m, zone_mm, peak_mm, fell_mm, evaporated_mm, drained_mm, initial_mm
    )


@compiled
def _follow(  # noqa: PLR0917  compiled code takes no keyword-only arguments
    kept_mm: Floats,
    flows_mm: Floats,
    zone_mm: Floats,
    zone_m: Floats,
    initial_mm: Floats,
    capacity_frac: Floats,
    falling_mm: Floats,
    factor: Floats,
    et0_mm: Floats,
    rain_mm: Floats,
    n_turns: Whole,
    sand: Floats,
    skip_rain_mm: float,
    n_a_day: int,
    start_step: int,
    is_exact: bool,
) -> float:
    """Step every member through its weather; keep each day's end and flows, give the worst gap.

    `zone_mm` is room for one layer.
    """
    n_members, n_days, _n_zones = kept_mm.shape
    pores_frac, floor_mm, drained_frac = sand
    thickness_m = zone_m.sum()
    worst_mm = 0.0
    for member in range(n_members):
        water_mm = initial_mm[member]
        for zone in range(N_ZONES):
            zone_mm[zone] = water_mm * zone_m[zone] / thickness_m
        for day in range(n_days):
            last = (day + 1) * n_a_day
            first = min(max(last - n_a_day, start_step), last)
            fell_mm = sun_mm = ran_mm = 0.0
            for step in range(first, last):
                fell_mm += rain_mm[member, step]
            is_worked = fell_mm < skip_rain_mm
            peak_mm = water_mm if first == last else 0.0
            for step in range(first, last):
                evaporated_mm, drained_mm = step_layer(
                    zone_mm,
                    zone_m,
                    capacity_frac[member],
                    pores_frac,
                    floor_mm,
                    falling_mm[member],
                    drained_frac,
                    rain_mm[member, step],
                    factor[member] * et0_mm[member, step],
                    n_turns[step] if is_worked else 0,
                    is_exact,
                )
                due_mm = water_mm + rain_mm[member, step] - evaporated_mm - drained_mm
                water_mm = zone_mm[0] + zone_mm[1] + zone_mm[2]
                worst_mm = max(worst_mm, abs(due_mm - water_mm))
                peak_mm = max(peak_mm, water_mm)
                sun_mm += evaporated_mm
                ran_mm += drained_mm
            for zone in range(N_ZONES):
                kept_mm[member, day, zone] = zone_mm[zone]
            flows_mm[member, day, 0] = peak_mm
            flows_mm[member, day, 1] = fell_mm
            flows_mm[member, day, 2] = sun_mm
            flows_mm[member, day, 3] = ran_mm
    return worst_mm


def first_dry_day(run: DryingRun, target: DryTarget, from_day: int = 0) -> Whole:
    """Find the day by whose end each member is dry.

    Parameters
    ----------
    run : DryingRun
        A layer's days.
    target : DryTarget
        Moisture and how long it must hold.
    from_day : int
        First day's end that counts.

    Returns
    -------
    ndarray of int, shape (n_members,)
        Index of the last day of the first hold, `NOT_DRY` where there is none within the horizon.
        [d]

    Notes
    -----
    Valid: any run. A shower between two dry evenings breaks a hold of two days or more, as far as
    the steps show it.
    Checked: tests/schedules/sand/test_drying.py::test_dry_is_held_through_the_farms_days,
    test_a_shower_between_two_dry_evenings_breaks_the_hold

    References
    ----------
    Common practice, no source: target and hold are the farm's settings.
    """
    dry_mm = run.layer.water_mm(np.array(target.moisture_wb_frac))
    is_dry, goes_on = run.water_mm <= dry_mm, run.peak_mm <= dry_mm
    n_held = np.zeros(run.peak_mm.shape[0], dtype=np.int64)
    found = np.full(run.peak_mm.shape[0], NOT_DRY, dtype=np.int64)
    for day in range(from_day, run.peak_mm.shape[1]):
        n_held = np.where(is_dry[:, day], np.where(goes_on[:, day], n_held, 0) + 1, 0)
        found = np.where((found == NOT_DRY) & (n_held >= target.hold_d), day, found)
    return found


def _each(value: Floats | float, n_members: int) -> Floats:
    return np.array(np.broadcast_to(np.asarray(value, dtype=float), (n_members,)))


def _members(values_mm: Floats, name: str) -> Floats:
    values_mm = np.ascontiguousarray(np.atleast_2d(np.asarray(values_mm, dtype=float)))
    if values_mm.ndim != 2 or values_mm.shape[1] == 0:
        raise ValueError(f"{name} has shape {values_mm.shape}, not members by days")
    if not (values_mm.min() >= 0 and values_mm.max() < np.inf):  # a NaN fails both
        raise ValueError(f"{name} is negative or not known somewhere")
    return values_mm
