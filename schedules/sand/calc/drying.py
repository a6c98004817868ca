"""Drying of a layer on a pad, day by day: drainage, two-stage evaporation, rain and turning.

The layer is up to three zones: the uppermost `evaporation_depth_m`, which the air dries; what a
turn brings up beside it; and the sand that no turn reaches. Each day, in this order:

1. Rain falls before anything evaporates (FAO-56's worked layout; some libraries take the
   coefficient of the day before instead, and a soaked layer then rests a day).
2. Of the water above field capacity a day's share runs down: zones below take what they lack, the
   rest leaves the pad. What the pores cannot hold runs at once.
3. Turned on a day without rain, the water is mixed evenly over the turned depth, so that the
   surface zone is refilled from below; each of n turns starts an n-th of the day.
4. Evaporation: at kc · ET0 until REW is gone, then at a rate in proportion to what is left of TEW
   (eq. 74). With De the depletion, d(TEW − De)/dt = −kc ET0 (TEW − De)/(TEW − REW), so the rest
   decays exponentially with the demand, and no day takes more than there is.

No water rises from below but by turning, frozen sand is not told from wet, and the pad itself
neither gives nor takes water.

References: Allen et al., "Crop evapotranspiration", FAO Irrigation and Drainage Paper 56, 1998,
eq. 71 (bare: Kcb 0, few 1), 73, 74, 77-79. Its printed Example 35 was replaced by the authors'
errata and is no reference.
"""

from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from equipment.sandyard.calc import WATER_KG_M3
from schedules.sand.calc.layer import Floats, Layer

_MASS_TOLERANCE_MM = 1e-6
NOT_DRY = -1  # in place of a day index: not within the horizon

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

    Raises
    ------
    ValueError
        A negative number of turns, or no depth.
    """

    n_turns: tuple[int, ...]
    depth_m: float
    skip_rain_mm: float = 1.0

    def __post_init__(self) -> None:
        if any(n < 0 for n in self.n_turns):
            raise ValueError("n_turns cannot be negative")
        if not self.depth_m > 0:
            raise ValueError(f"depth_m {self.depth_m} is not above 0")


@dataclass(frozen=True, slots=True)
class DryingRun:
    """What happened to a layer; day arrays have shape (n_members, n_days), at each day's end.

    Parameters
    ----------
    layer : Layer
        The layer.
    zone_m : tuple of float
        Depth of each zone from the surface down; the first is the one that the air dries. [m]
    zone_mm : ndarray, shape (n_zones, n_members, n_days)
        Water in each zone. [mm]
    rain_mm, evaporated_mm, drained_mm : ndarray
        Over the day. [mm]
    initial_mm : ndarray, shape (n_members,)
        Water at the start. [mm]
    """

    layer: Layer
    zone_m: tuple[float, ...]
    zone_mm: Floats
    rain_mm: Floats
    evaporated_mm: Floats
    drained_mm: Floats
    initial_mm: Floats

    @property
    def water_mm(self) -> Floats:
        """Water in the layer, shape (n_members, n_days) [mm]."""
        return np.asarray(self.zone_mm.sum(axis=0), dtype=float)

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
        edge_m = np.cumsum((0.0, *self.zone_m))
        share_frac = np.clip((depth_m - edge_m[:-1]) / np.array(self.zone_m), 0.0, 1.0)
        water_mm = np.tensordot(share_frac, self.zone_mm, axes=1)
        return self.layer.moisture_wb_frac(water_mm, min(depth_m, self.layer.thickness_m))


@dataclass(frozen=True, slots=True)
class DryTarget:
    """When a farm calls a layer dry.

    Parameters
    ----------
    moisture_wb_frac : float
        Mean moisture of the layer by wet mass, 0 to 1.
    hold_d : int
        It must be no wetter at so many days' ends in a row, 1 or more. [d]

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
    falling_stage: FallingStage = "exact",
) -> DryingRun:
    """Follow the water of a layer through days of weather.

    Parameters
    ----------
    layer : Layer
        The sand.
    initial_moisture_wb_frac : float or ndarray, shape (n_members,)
        Mean moisture as spread, the same at all depths.
    et0_mm, rain_mm : ndarray, shape (n_members, n_days) or (n_days,)
        Daily sums, ≥ 0. [mm]
    turning : Turning, optional
        None leaves the layer as it lies.
    theta_fc_frac : ndarray, shape (n_members,), optional
        Field capacity of each member, in place of the layer's: two sands of one name differ.
    falling_stage : {"exact", "daily"}
        How the second stage is stepped: integrated within the day, or by FAO-56's table with the
        reduction coefficient of the day's start, capped at what is left.

    Returns
    -------
    DryingRun
        Trajectories and the terms of the balance.

    Raises
    ------
    ValueError
        Shapes differ, weather is negative or not known, `turning` has another length, or a field
        capacity is not between wilting point and saturation.
    MassBalanceError
        A step did not close (a bug).

    Notes
    -----
    The order of a day and the physics stand at the head of this module.
    """
    et0_mm, rain_mm = _members(et0_mm, "et0_mm"), _members(rain_mm, "rain_mm")
    if et0_mm.shape != rain_mm.shape:
        raise ValueError(f"et0_mm {et0_mm.shape} and rain_mm {rain_mm.shape} differ in shape")
    n_members, n_days = et0_mm.shape
    if turning and len(turning.n_turns) != n_days:
        raise ValueError(f"n_turns has {len(turning.n_turns)} days, the weather {n_days}")
    start = np.broadcast_to(np.asarray(initial_moisture_wb_frac, dtype=float), (n_members,))
    initial_mm = layer.water_mm(start)
    capacity_frac = np.full(n_members, layer.theta_fc_frac)
    if theta_fc_frac is not None:
        capacity_frac = layer.require_capacity(np.broadcast_to(theta_fc_frac, (n_members,)))
    pad = _Pad(layer, initial_mm, capacity_frac, turning, falling_stage)
    days = [
        pad.pass_day(
            rain_mm=rain_mm[:, index],
            demand_mm=layer.kc_bare * et0_mm[:, index],
            n_turns=turning.n_turns[index] if turning else 0,
        )
        for index in range(n_days)
    ]
    zone_mm, evaporated_mm, drained_mm = (
        np.stack(column, axis=-1) for column in zip(*days, strict=True)
    )
    return DryingRun(layer, pad.zone_m, zone_mm, rain_mm, evaporated_mm, drained_mm, initial_mm)


def first_dry_day(moisture_wb_frac: Floats, target: DryTarget) -> NDArray[np.int64]:
    """Find the day by whose end each member is dry.

    Parameters
    ----------
    moisture_wb_frac : ndarray, shape (n_members, n_days)
        Mean moisture of the layer at each day's end.
    target : DryTarget
        Moisture and how long it must hold.

    Returns
    -------
    ndarray of int, shape (n_members,)
        Index of the last day of the first hold, `NOT_DRY` where there is none within the horizon.
    """
    is_dry = moisture_wb_frac <= target.moisture_wb_frac
    n_days = is_dry.shape[1]
    held = np.zeros_like(is_dry)
    if n_days >= target.hold_d:
        windows = np.lib.stride_tricks.sliding_window_view(is_dry, target.hold_d, axis=1)
        held[:, target.hold_d - 1 :] = windows.all(axis=-1)
    return np.where(held.any(axis=1), held.argmax(axis=1), NOT_DRY)


class _Pad:
    """The zones of every member, and one day of their life."""

    def __init__(
        self,
        layer: Layer,
        initial_mm: Floats,
        capacity_frac: Floats,
        turning: Turning | None,
        falling_stage: FallingStage,
    ) -> None:
        self.layer = layer
        self._capacity_frac = capacity_frac
        self._falling_mm = layer.falling_mm(capacity_frac)
        self.zone_m = _zones_m(layer, turning)
        self.zone_mm = np.outer(np.array(self.zone_m) / layer.thickness_m, initial_mm)
        self._turning = turning
        self._evaporate = _exact_mm if falling_stage == "exact" else _daily_mm

    def pass_day(
        self, *, rain_mm: Floats, demand_mm: Floats, n_turns: int
    ) -> tuple[Floats, Floats, Floats]:
        before_mm = self.zone_mm.sum(axis=0)
        self.zone_mm = self.zone_mm.copy()  # the day before has been handed out
        self.zone_mm[0] += rain_mm
        drained_mm = self._drain()
        evaporated_mm = np.zeros_like(rain_mm)
        n_steps = max(n_turns, 1)
        for _ in range(n_steps):
            if n_turns:
                self._turn(rain_mm)
            left_mm = np.maximum(self.zone_mm[0] - self.layer.floor_mm, 0.0)
            taken_mm = self._evaporate(left_mm, self._falling_mm, demand_mm / n_steps)
            self.zone_mm[0] -= taken_mm
            evaporated_mm += taken_mm
        self._require_closed(before_mm + rain_mm - drained_mm - evaporated_mm)
        return self.zone_mm, evaporated_mm, drained_mm

    def _drain(self) -> Floats:
        """Let each zone's surplus run down through those below, which take what they lack."""
        layer = self.layer
        running_mm: Floats = np.zeros_like(self.zone_mm[0])
        for zone, depth_m in enumerate(self.zone_m):
            water_mm = self.zone_mm[zone]
            spare_mm = water_mm - WATER_KG_M3 * self._capacity_frac * depth_m
            beyond_pores_mm = water_mm - WATER_KG_M3 * layer.theta_sat_frac * depth_m
            leaves_mm = np.maximum(np.maximum(spare_mm, 0) * layer.drained_frac_d, beyond_pores_mm)
            taken_mm = np.minimum(running_mm, np.maximum(-spare_mm, 0))
            self.zone_mm[zone] = water_mm + taken_mm - leaves_mm
            running_mm = running_mm - taken_mm + leaves_mm
        return running_mm

    def _turn(self, rain_mm: Floats) -> None:
        """Mix the uppermost two zones, which together are the turned depth."""
        turning = self._turning
        if turning is None or turning.depth_m <= self.zone_m[0] or len(self.zone_m) < 2:
            return
        mixed_mm = self.zone_mm[0] + self.zone_mm[1]
        share_frac = self.zone_m[0] / (self.zone_m[0] + self.zone_m[1])
        is_turned = rain_mm < turning.skip_rain_mm
        self.zone_mm[0] = np.where(is_turned, mixed_mm * share_frac, self.zone_mm[0])
        self.zone_mm[1] = mixed_mm - self.zone_mm[0]

    def _require_closed(self, expected_mm: Floats) -> None:
        off_mm = np.abs(self.zone_mm.sum(axis=0) - expected_mm)
        if not np.all(off_mm <= _MASS_TOLERANCE_MM):
            raise MassBalanceError(f"a day's water is off by {off_mm.max()} mm")


def _zones_m(layer: Layer, turning: Turning | None) -> tuple[float, ...]:
    """Part the layer where the air's reach ends, and where the tool's does."""
    surface_m = layer.surface_m
    depth_m = min(turning.depth_m, layer.thickness_m) if turning else 0.0
    edges_m = (0.0, surface_m, max(depth_m, surface_m), layer.thickness_m)
    return tuple(lower - upper for upper, lower in pairwise(edges_m) if lower > upper)


def _exact_mm(left_mm: Floats, falling_mm: Floats, demand_mm: Floats) -> Floats:
    """Integrate both stages over the demand of a step."""
    first_mm = np.minimum(demand_mm, np.maximum(left_mm - falling_mm, 0.0))
    decay = -np.expm1(-(demand_mm - first_mm) / _divisor(falling_mm))
    both_mm: Floats = first_mm + (left_mm - first_mm) * decay
    return both_mm


def _daily_mm(left_mm: Floats, falling_mm: Floats, demand_mm: Floats) -> Floats:
    """Take the start's coefficient for the whole step, capped at what is left (E ≤ TEW − De)."""
    reduction = np.minimum(left_mm / _divisor(falling_mm), 1.0)
    capped_mm: Floats = np.minimum(reduction * demand_mm, left_mm)
    return capped_mm


def _divisor(falling_mm: Floats) -> Floats:
    """Keep a zone without a falling stage from dividing by nothing; it then ends at once."""
    divisor_mm: Floats = np.maximum(falling_mm, 1e-12)
    return divisor_mm


def _members(values_mm: Floats, name: str) -> Floats:
    values_mm = np.atleast_2d(np.asarray(values_mm, dtype=float))
    if values_mm.ndim != 2 or values_mm.shape[1] == 0:
        raise ValueError(f"{name} has shape {values_mm.shape}, not members by days")
    if not np.all(values_mm >= 0):
        raise ValueError(f"{name} is negative or not known somewhere")
    return values_mm
