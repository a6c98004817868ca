"""The year, member by member and day by day, in one compiled loop."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from equipment.site.calc.compiled import compiled
from schedules.outlook.calc import day as today
from schedules.outlook.calc.members import YearMembers
from schedules.outlook.calc.scenario import Scenario
from schedules.outlook.calc.state import (
    BOUGHT,
    LANE,
    LOST,
    WAITING,
    Floats,
    Rules,
    State,
    copied,
    first_state,
    rules_of,
)

_KG_TOLERANCE, _MM_TOLERANCE, _M3_TOLERANCE = 1e-3, 1e-6, 1e-6

# Columns of YearRun.path
RELEASED_KG, WET_KG, FREE_BAYS, BASIN_FRAC, PEOPLE_H, LOADER_H = range(6)
N_PATHS = 6
# Bits of YearRun.flag
NO_SAND, BELOW_SAFETY, PADS_FULL, LANE_FULL, PILES_FULL, BASIN_AT_LINE, BASIN_OVER = (
    1 << bit for bit in range(7)
)
# Columns of YearRun.total
BOUGHT_KG, BEDDED_KG, LACKED_KG, OVER_M3, CLEANED_M3, GAP_KG, GAP_MM, GAP_M3, N_STEPPED = range(9)
N_TOTALS = 9

Flags = NDArray[np.uint8]
Paths = NDArray[np.float32]


class UnbalancedError(ArithmeticError):
    """Sand, water or volume came from nowhere or went nowhere: a bug, never an answer."""


@dataclass(frozen=True, slots=True)
class YearRun:
    """What happened to each member.

    Parameters
    ----------
    path : ndarray of float32, shape (n_members, n_days, 6)
        Each evening's released sand [kg], wet sand in lanes and on the slab [kg], free bays [-],
        the fullest filling basin over its line [-]; the day's hours of people and loaders [h].
    flag : ndarray of uint8, shape (n_members, n_days)
        Bits of what was amiss in the day.
    total : ndarray, shape (n_members, 9)
        Sums of the year, and the worst gaps of the balances.
    """

    path: Paths
    flag: Flags
    total: Floats


def simulate_year(scenario: Scenario, members: YearMembers, *, is_hourly: bool = True) -> YearRun:
    """Follow sand, pads, piles, basins and hours through each member's year.

    Parameters
    ----------
    scenario : Scenario
        The farm as it stands, and its rules.
    members : YearMembers
        Weather, and how far each member's farm is from the farm's figures.
    is_hourly : bool
        Step layers on pads by the hour; else by the day. All else goes by the day.

    Returns
    -------
    YearRun
        Paths, flags and sums of each member, in the order given. [kg], [m³], [h], [-]

    Raises
    ------
    UnbalancedError
        Sand, water or volume did not close in some member (a bug).

    Notes
    -----
    The order of a day: delivery and order, piles closed, beds, dry layers picked up, lane scooped,
    drained loads spread, sun and rain on pads, gates, basins. A member does not see the others, so
    that any part of them gives the same bits. Beds lose what is brought to them; the lane gives its
    share back on the same day. Sand is moved whenever it is due: hours are counted and do not delay
    it. A pile is released on the day it is cured, which on the farm is a lead's word.

    Valid: what the formulas of its parts take; the farm's rules stay as they are all year.
    Checked: tests/schedules/outlook/test_simulate.py::
    test_wet_sand_lies_as_long_as_littles_law_says,
    test_a_layer_is_picked_up_when_the_forecast_calls_it_dry,
    test_sand_reckoned_by_hand

    References
    ----------
    Little, "A Proof for the Queuing Formula: L = λW", Operations Research 9, 1961, for the check;
    the order of the day is the farm's: common practice, no source.
    """
    n_members, n_days = members.rain_mm.shape
    yard, use = scenario.yard, scenario.use
    layer = yard.layer
    capacity_frac = np.clip(
        layer.theta_fc_frac + yard.capacity_sd_frac * members.capacity_z,
        layer.theta_wp_frac + 1e-3,
        layer.theta_sat_frac - 1e-3,
    )
    solids_sd_frac = scenario.basins.solids_sd_frac
    farm = np.column_stack(
        [
            use.use_kg_d * np.maximum(1 + use.use_sd_frac * members.use_z, 0.0),
            np.clip(use.recovery_frac + use.recovery_sd_frac * members.recovery_z, 0.0, 1.0),
            np.maximum(1 + solids_sd_frac * members.solids_z, 0.0),
        ]
    )
    kc = layer.kc_bare * np.exp(yard.log_rate_sd * members.rate_z)
    sand = np.column_stack([capacity_frac, layer.falling_mm(capacity_frac), kc])
    begin_h, length_h = members.begin_h, members.length_h
    if not is_hourly:
        begin_h, length_h = np.zeros_like(begin_h), np.ones_like(length_h)
    path = np.empty((n_members, n_days, N_PATHS), dtype=np.float32)
    flag = np.zeros((n_members, n_days), dtype=np.uint8)
    total = np.zeros((n_members, N_TOTALS))
    rules = rules_of(scenario, n_days, is_hourly=is_hourly)
    start = first_state(scenario)
    for member in range(n_members):
        _follow(
            rules,
            copied(start),
            farm[member],
            sand[member],
            members.et0_mm[member],
            scenario.rain_factor * members.rain_mm[member],
            begin_h[member],
            length_h[member],
            path[member],
            flag[member],
            total[member],
        )
    _require_closed(total)
    return YearRun(path, flag, total)


def _require_closed(total: Floats) -> None:
    for column, most in (
        (GAP_KG, _KG_TOLERANCE),
        (GAP_MM, _MM_TOLERANCE),
        (GAP_M3, _M3_TOLERANCE),
    ):
        worst = float(total[:, column].max())
        if not worst <= most:
            raise UnbalancedError(f"column {column} is off by {worst}")


@compiled
def _follow(  # noqa: PLR0917  compiled code takes no keyword-only arguments
    rules: Rules,
    state: State,
    farm: Floats,
    sand: Floats,
    et0_mm: Floats,
    rain_mm: Floats,
    begin_h: NDArray[np.int8],
    length_h: NDArray[np.int8],
    path: Paths,
    flag: Flags,
    total: Floats,
) -> None:
    """Follow one member through all days; `farm` holds use, recovery and the factor on solids."""
    first_kg = today.sand_kg(state)
    for day in range(et0_mm.size):
        need_kg = farm[0] * rules.season[day]
        today.buy(day, need_kg, rules, state)
        today.close_piles(day, rules, state)
        bedded_kg = today.bed(day, need_kg, farm[1], state)
        picked_kg, is_stuck = today.pick_up(day, rules, state)
        scooped_kg = today.scoop(day, rules, state)
        spread_kg, n_free = today.spread(rules, state)
        n_turned, n_stepped, gap_mm = today.dry_bays(
            day,
            rules,
            state,
            sand,
            et0_mm[day],
            rain_mm[day],
            int(begin_h[day]),
            int(length_h[day]),
        )
        is_at_line = today.switch_gates(day, rules, state)
        taken_m3, over_m3, gap_m3 = today.fill_basins(
            day, rules, state, farm[2], et0_mm[day], rain_mm[day]
        )
        moved_t = (bedded_kg + picked_kg + scooped_kg + spread_kg) / 1000.0
        more_h = n_turned * rules.turn_h + taken_m3 * rules.clean_h_m3
        path[day, PEOPLE_H] = rules.people[0] + rules.people[1] * moved_t + more_h
        path[day, LOADER_H] = rules.loader[0] + rules.loader[1] * moved_t + more_h
        released_kg = today.ready_kg(day, state)
        path[day, RELEASED_KG] = released_kg
        path[day, WET_KG] = state.sand[LANE] + state.sand[WAITING] + state.draining_kg.sum()
        path[day, FREE_BAYS] = n_free
        path[day, BASIN_FRAC] = today.fullest_frac(rules, state)
        lacked_kg = need_kg - bedded_kg
        flag[day] = (
            NO_SAND * (lacked_kg > 1e-6)
            + BELOW_SAFETY * (released_kg < rules.safety_kg)
            + PADS_FULL * (n_free == 0 and state.sand[WAITING] >= rules.least_bay_kg)
            + LANE_FULL * (state.sand[LANE] > 1e-6)
            + PILES_FULL * is_stuck
            + BASIN_AT_LINE * is_at_line
            + BASIN_OVER * (over_m3 > 1e-9)
        )
        total[BEDDED_KG] += bedded_kg
        total[LACKED_KG] += lacked_kg
        total[OVER_M3] += over_m3
        total[CLEANED_M3] += taken_m3
        total[N_STEPPED] += n_stepped
        total[GAP_MM] = max(total[GAP_MM], gap_mm)
        total[GAP_M3] = max(total[GAP_M3], gap_m3)
        gap_kg = first_kg + state.sand[BOUGHT] - state.sand[LOST] - today.sand_kg(state)
        total[GAP_KG] = max(total[GAP_KG], abs(gap_kg))
    total[BOUGHT_KG] = state.sand[BOUGHT]
