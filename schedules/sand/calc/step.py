"""One step of a layer on a pad, compiled: what the forecast of a batch and the year ahead share.

The layer has three zones, counted from the surface: the one that the air dries, what a turn mixes
with it, and the sand that no turn reaches. A zone may have no depth; it then holds nothing.
"""

import math

import numpy as np
from numpy.typing import NDArray

from equipment.sandyard.calc import WATER_KG_M3
from equipment.site.calc.compiled import compiled

Floats = NDArray[np.float64]

N_ZONES = 3
# Keeps a zone without a falling stage from dividing by nothing; it then ends at once
_FALLING_MIN_MM = 1e-12


@compiled
def evaporate(left_mm: float, falling_mm: float, demand_mm: float, is_exact: bool) -> float:
    """Take what the air draws from a zone in two stages.

    Parameters
    ----------
    left_mm : float
        Water that can evaporate, TEW − De, ≥ 0. [mm]
    falling_mm : float
        Below so much the rate falls: TEW − REW, ≥ 0. [mm]
    demand_mm : float
        What a wet surface would give in the step, kc · ET0, ≥ 0. [mm]
    is_exact : bool
        Integrate the falling stage; else take the coefficient of the step's start throughout, as
        FAO-56's daily table does, capped at what is left.

    Returns
    -------
    float
        Evaporated, at most `left_mm` and at most `demand_mm`. [mm]

    Notes
    -----
    With eq. 74, d(left)/d(demand) = −min(1, left / falling): first at the full rate down to
    `falling_mm`, then exp(−demand / falling). The exact form does not depend on how a demand is cut
    into steps. pyfao56 does not cap E at what is left, so that its water does not close.

    Valid: arguments ≥ 0; compiled, so nothing is refused here: who calls refuses nonsense first.
    Checked: tests/schedules/sand/test_step.py::test_evaporation_of_the_reference_run,
    tests/schedules/sand/test_drying.py::test_two_stage_run_of_twelve_days,
    test_the_exact_stage_is_the_solution_of_its_differential_equation

    References
    ----------
    Allen et al., "Crop evapotranspiration", FAO Irrigation and Drainage Paper 56, 1998, eq. 71
    (bare: Kcb 0, few 1), 74, 77.
    """
    divisor_mm = max(falling_mm, _FALLING_MIN_MM)
    if not is_exact:
        return min(min(left_mm / divisor_mm, 1.0) * demand_mm, left_mm)
    first_mm = min(demand_mm, max(left_mm - falling_mm, 0.0))
    if first_mm == demand_mm:
        return first_mm
    return first_mm + (left_mm - first_mm) * (1.0 - math.exp((first_mm - demand_mm) / divisor_mm))


@compiled
def drain_zone(
    water_mm: float, capacity_mm: float, full_mm: float, running_mm: float, drained_frac: float
) -> tuple[float, float]:
    """Let a zone's surplus run down, or let it take what it lacks of what runs down to it.

    Parameters
    ----------
    water_mm : float
        In the zone. [mm]
    capacity_mm, full_mm : float
        In it when drained, and when all pores are full. [mm]
    running_mm : float
        From above. [mm]
    drained_frac : float
        Share of the water above field capacity that runs off in the step, 0 to 1.

    Returns
    -------
    water_mm, running_mm : float
        In the zone, and on to the next below, or off the pad. [mm]

    Notes
    -----
    What the pores cannot hold runs at once. A surplus that nothing below lacks decays by the share,
    so that steps of h hours, each with 1 − 2^(−h / half-time), together give the whole day's.

    Valid: 0 ≤ capacity ≤ full, shares from 0 to 1; nothing is refused here.
    Checked: tests/schedules/sand/test_step.py::test_a_zone_drains_takes_or_overflows,
    tests/schedules/sand/test_drying.py::test_draining_halves_the_surplus_each_half_time

    References
    ----------
    Water above field capacity drains, what lies at or below it stays: FAO-56 (1998), eq. 79, there
    within the day; the half-time is common practice, no source.
    """
    spare_mm = water_mm - capacity_mm
    if spare_mm > 0.0:
        leaves_mm = max(spare_mm * drained_frac, water_mm - full_mm)
    else:
        leaves_mm = -min(running_mm, -spare_mm)
    return water_mm - leaves_mm, running_mm + leaves_mm


@compiled
def step_layer(  # noqa: PLR0917  compiled code takes no keyword-only arguments
    zone_mm: Floats,
    zone_m: Floats,
    capacity_frac: float,
    pores_frac: float,
    floor_mm: float,
    falling_mm: float,
    drained_frac: float,
    rain_mm: float,
    demand_mm: float,
    n_turns: int,
    is_exact: bool,
) -> tuple[float, float]:
    """Follow the water of one layer through one step of any length: an hour, a day.

    Parameters
    ----------
    zone_mm : ndarray, shape (3,)
        Water in each zone, surface first; changed in place. [mm]
    zone_m : ndarray, shape (3,)
        Depth of each zone, as `layer.zones_m` gives them; the first is above 0. [m]
    capacity_frac : float
        Field capacity of this sand by volume.
    pores_frac : float
        Water by volume when all pores are full: `Layer.theta_sat_frac`.
    floor_mm : float
        Water of the surface zone that no sun takes: `Layer.floor_mm`. [mm]
    falling_mm : float
        TEW − REW: `Layer.falling_mm(capacity_frac)`. [mm]
    drained_frac : float
        Share of the water above field capacity that runs off in the step:
        `Layer.drained_frac(step_h)`.
    rain_mm : float
        In the step, ≥ 0; it falls before anything else. [mm]
    demand_mm : float
        kc · ET0 of the step, ≥ 0; at night 0, so that there is neither drying nor dew. [mm]
    n_turns : int
        Turns in the step, each before an equal part of its demand; 0 leaves the layer as it lies.
        Whether a pad is turned on a wet day is the caller's rule.
    is_exact : bool
        True but to compare with FAO-56's daily table; see `evaporate`.

    Returns
    -------
    evaporated_mm, drained_mm : float
        What left: rain − evaporated − drained is the change of the sum of `zone_mm`; evaporated is
        at most `demand_mm`, so that its latent heat is at most that of kc · ET0. [mm]

    Notes
    -----
    The order is rain, draining, turn, sun. Taking the rain first is FAO-56's worked layout ("De
    start"); pyfao56 takes the coefficient of the evening before instead, and a soaked layer then
    rests a day. A turn mixes the water of the first two zones evenly over their depth: it brings up
    the turned depth and no more. No water rises but by turning, frozen sand dries like wet sand,
    and the pad itself neither gives nor takes water.

    Valid: what its parts take; nothing is refused here: who calls refuses nonsense first.
    Checked: tests/schedules/sand/test_step.py::test_three_days_of_the_reference_run,
    tests/schedules/sand/test_drying.py::test_two_stage_run_of_twelve_days,
    test_a_turn_resets_the_turned_depth_only, test_water_is_kept_and_bounded

    References
    ----------
    Allen et al., "Crop evapotranspiration", FAO Irrigation and Drainage Paper 56, 1998, eq. 71,
    73, 74, 77-79. Its printed Example 35 was replaced by the authors' errata and is no reference.
    """
    top_m, low_m, deep_m = zone_m[0], zone_m[1], zone_m[2]
    held, full = WATER_KG_M3 * capacity_frac, WATER_KG_M3 * pores_frac
    top_mm, run_mm = drain_zone(zone_mm[0] + rain_mm, held * top_m, full * top_m, 0.0, drained_frac)
    low_mm, run_mm = drain_zone(zone_mm[1], held * low_m, full * low_m, run_mm, drained_frac)
    deep_mm = zone_mm[2]
    if deep_m > 0.0:  # most farms turn to the ground
        deep_mm, run_mm = drain_zone(deep_mm, held * deep_m, full * deep_m, run_mm, drained_frac)
    evaporated_mm = 0.0
    part_mm = demand_mm / n_turns if n_turns > 1 else demand_mm
    for _ in range(max(n_turns, 1)):
        if n_turns > 0:
            mixed_mm = top_mm + low_mm
            top_mm = mixed_mm * (top_m / (top_m + low_m))
            low_mm = mixed_mm - top_mm
        left_mm = max(top_mm - floor_mm, 0.0)
        taken_mm = evaporate(left_mm, falling_mm, part_mm, is_exact)
        top_mm -= taken_mm
        evaporated_mm += taken_mm
    zone_mm[0], zone_mm[1], zone_mm[2] = top_mm, low_mm, deep_mm
    return evaporated_mm, run_mm
