from dataclasses import replace

import pytest

from schedules.outlook.calc.sensitivity import SPREADS, Setting, neighbours
from schedules.outlook.calc.simulate import BOUGHT_KG, LACKED_KG, simulate_year
from tests.schedules.outlook.years import even_years, scenario


def test_more_use_needs_more_sand_by_what_is_not_given_back() -> None:
    """By hand: in 12 days nothing comes back, so a tenth more use lacks a tenth more."""
    farm = scenario(buying=None)
    farm = replace(farm, yard=replace(farm.yard, piles=farm.yard.piles[-1:]))
    found = [n for n in neighbours(farm) if n.setting is Setting.USE]
    for value in (45_000.0, 55_000.0):
        one = next(n for n in found if n.value == pytest.approx(value))
        run = simulate_year(one.scenario, even_years(12))
        assert run.total[0, LACKED_KG] == pytest.approx(12 * value)
        assert run.total[0, BOUGHT_KG] == 0


def test_each_neighbour_moves_one_setting_alone() -> None:
    farm = scenario()
    found = neighbours(farm)
    assert [n.setting for n in found] == [s for s in SPREADS for _ in range(2)]
    for one in found:
        parts = ("use", "yard", "basins", "hours", "buying", "rain_factor")
        moved = [p for p in parts if getattr(one.scenario, p) != getattr(farm, p)]
        assert len(moved) == 1


def test_a_limit_cuts_a_move_short() -> None:
    farm = scenario()
    bare = replace(farm, yard=replace(farm.yard, cure_d=3, turns_d=0, bays=farm.yard.bays[:1]))
    values = {n.setting: n.value for n in reversed(neighbours(bare))}
    assert values[Setting.CURE] == 0
    assert values[Setting.TURNS] == 0
    assert values[Setting.BAYS] == 1
