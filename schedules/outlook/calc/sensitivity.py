"""Which setting matters most: each moved by itself, down and up, on the same members."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import StrEnum

from schedules.outlook.calc.scenario import Scenario


class Setting(StrEnum):
    """What is moved."""

    USE = "use"
    RECOVERY = "recovery"
    CURE = "cure"
    TURNS = "turns"
    LAYER_CAPACITY = "layer_capacity"
    PAD_RATE = "pad_rate"
    BAYS = "bays"
    RAIN = "rain"
    CLEANING = "cleaning"
    SOLIDS = "solids"


@dataclass(frozen=True, slots=True)
class Neighbour:
    """A scenario with one setting moved.

    Parameters
    ----------
    setting : Setting
        Which.
    value : float
        What it is there, in its own unit: see `SPREADS`.
    scenario : Scenario
        All else is as before.
    """

    setting: Setting
    value: float
    scenario: Scenario


def _use(base: Scenario, by: float) -> tuple[float, Scenario]:
    kg_d = base.use.use_kg_d * (1 + by)
    return kg_d, replace(base, use=replace(base.use, use_kg_d=kg_d))


def _recovery(base: Scenario, by: float) -> tuple[float, Scenario]:
    frac = min(max(base.use.recovery_frac + by, 0.0), 1.0)
    return frac, replace(base, use=replace(base.use, recovery_frac=frac))


def _cure(base: Scenario, by: float) -> tuple[float, Scenario]:
    days = max(base.yard.cure_d + int(by), 0)
    return days, replace(base, yard=replace(base.yard, cure_d=days))


def _turns(base: Scenario, by: float) -> tuple[float, Scenario]:
    turns = max(base.yard.turns_d + int(by), 0)
    return turns, replace(base, yard=replace(base.yard, turns_d=turns))


def _layer_capacity(base: Scenario, by: float) -> tuple[float, Scenario]:
    layer = base.yard.layer
    frac = max(layer.theta_fc_frac + by, layer.theta_wp_frac + 0.01)
    layer = replace(layer, theta_fc_frac=frac)
    return frac, replace(base, yard=replace(base.yard, layer=layer))


def _pad_rate(base: Scenario, by: float) -> tuple[float, Scenario]:
    layer = replace(base.yard.layer, kc_bare=base.yard.layer.kc_bare * (1 + by))
    return layer.kc_bare, replace(base, yard=replace(base.yard, layer=layer))


def _bays(base: Scenario, by: float) -> tuple[float, Scenario]:
    """Take the last bays away, or add empty ones like the last."""
    bays = base.yard.bays
    more = (replace(bays[-1], dry_kg=0.0, water_mm=0.0),) * max(int(by), 0)
    bays = (*bays[: max(len(bays) + min(int(by), 0), 1)], *more)
    return len(bays), replace(base, yard=replace(base.yard, bays=bays))


def _rain(base: Scenario, by: float) -> tuple[float, Scenario]:
    factor = base.rain_factor * (1 + by)
    return factor, replace(base, rain_factor=factor)


def _cleaning(base: Scenario, by: float) -> tuple[float, Scenario]:
    m3_d = base.basins.clean_m3_d * (1 + by)
    return m3_d, replace(base, basins=replace(base.basins, clean_m3_d=m3_d))


def _solids(base: Scenario, by: float) -> tuple[float, Scenario]:
    m3_d = base.basins.solids_m3_d * (1 + by)
    return m3_d, replace(base, basins=replace(base.basins, solids_m3_d=m3_d))


Move = Callable[[Scenario, float], tuple[float, Scenario]]

SPREADS: dict[Setting, tuple[float, Move]] = {
    Setting.USE: (0.10, _use),  # share of it
    Setting.RECOVERY: (0.05, _recovery),  # added to it
    Setting.CURE: (10, _cure),  # days
    Setting.TURNS: (1, _turns),  # a day
    Setting.LAYER_CAPACITY: (0.015, _layer_capacity),  # added to it
    Setting.PAD_RATE: (0.15, _pad_rate),  # share of it
    Setting.BAYS: (2, _bays),
    Setting.RAIN: (0.20, _rain),  # share of it
    Setting.CLEANING: (0.20, _cleaning),  # share of it
    Setting.SOLIDS: (0.20, _solids),  # share of it
}


def neighbours(base: Scenario) -> list[Neighbour]:
    """List the scenarios around one: each setting once lower, once higher.

    Parameters
    ----------
    base : Scenario
        In the middle.

    Returns
    -------
    list of Neighbour
        Two for each setting in the order of `SPREADS`, the lower first. [-]

    Notes
    -----
    The spreads are what a farm may be wrong by or may change, not one share of each, since a year
    in which rain is off by a fifth is common and one with a fifth more bays is not. They are our
    choice: common practice, no source. Settings that work together are seen one at a time only:
    what two changes do is not the sum of what each does.

    Valid: changes about as large as the spreads; a limit (no cure, no turn) cuts one short.
    Checked: tests/schedules/outlook/test_sensitivity.py::
    test_more_use_needs_more_sand_by_what_is_not_given_back,
    test_each_neighbour_moves_one_setting_alone

    References
    ----------
    One at a time on common random numbers: Saltelli et al., "Global Sensitivity Analysis: The
    Primer", 2008, ch. 2, which also says what it cannot see; from memory.
    """
    found = []
    for setting, (spread, move) in SPREADS.items():
        for by in (-spread, spread):
            value, scenario = move(base, by)
            found.append(Neighbour(setting, value, scenario))
    return found
