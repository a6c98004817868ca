"""One step, called as the year ahead calls it: scalars and one small array of zones."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from schedules.sand.calc.layer import Layer, zones_m
from schedules.sand.calc.step import Floats, drain_zone, evaporate, step_layer

SOIL = Layer(thickness_m=0.10, drain_half_time_h=0)  # TEW 10 mm, REW 5 mm, floor 2 mm


@pytest.mark.trade_check("3", "T2")
@pytest.mark.parametrize(
    ("left_mm", "evaporated_mm"),
    [(10.0, 7.2), (2.8, 2.8), (4.0, 4.0), (0.0, 0.0)],  # days 182, 183, 188, 184
)
def test_evaporation_of_the_reference_run(left_mm: float, evaporated_mm: float) -> None:
    # pyfao56 1.4.3, kc ET0 = 7.2, REW 5 of TEW 10: it says 4.032 for 2.8 left; capped here (T2)
    assert evaporate(left_mm, 5.0, 7.2, False) == pytest.approx(evaporated_mm)


def test_the_falling_stage_is_an_exponential() -> None:
    # FAO-56 eq. 74 solved: 5 at the full rate, then 5 (1 - e^(-2.2 / 5))
    assert evaporate(10.0, 5.0, 7.2, True) == pytest.approx(5 + 5 * (1 - math.exp(-0.44)))
    assert evaporate(3.0, 5.0, 2.0, True) == pytest.approx(3 * (1 - math.exp(-0.4)))
    assert evaporate(3.0, 0.0, 2.0, True) == 2.0
    assert evaporate(1.0, 0.0, 2.0, True) == pytest.approx(1.0)


@given(left_mm=st.floats(0, 30), falling_mm=st.floats(0, 12), demand_mm=st.floats(0, 15))
def test_no_more_than_is_left_nor_than_is_asked(
    left_mm: float, falling_mm: float, demand_mm: float
) -> None:
    for is_exact in (True, False):
        taken_mm = evaporate(left_mm, falling_mm, demand_mm, is_exact)
        assert 0 <= taken_mm <= min(left_mm, demand_mm) + 1e-12


def test_a_zone_drains_takes_or_overflows() -> None:
    # 20 of capacity 12, half runs; 8 takes 3 of 3, or 4 of 5; 50 of 38 that fit leaves 12 at once
    assert drain_zone(20.0, 12.0, 38.0, 1.0, 0.5) == (16.0, 5.0)
    assert drain_zone(8.0, 12.0, 38.0, 3.0, 0.5) == (11.0, 0.0)
    assert drain_zone(8.0, 12.0, 38.0, 5.0, 0.5) == (12.0, 1.0)
    assert drain_zone(50.0, 12.0, 38.0, 0.0, 0.1) == (38.0, 12.0)


def test_two_half_times_drain_three_quarters() -> None:
    assert Layer(drain_half_time_h=12).drained_frac(24) == pytest.approx(0.75)
    assert SOIL.drained_frac(1) == 1


def day(zone_mm: Floats, rain_mm: float, n_turns: int = 0) -> tuple[float, float]:
    layer = SOIL
    return step_layer(
        zone_mm, zones_m(layer), layer.theta_fc_frac, layer.theta_sat_frac, layer.floor_mm, 5.0,
        layer.drained_frac(24), rain_mm, 7.2, n_turns, False,
    )  # fmt: skip


@pytest.mark.trade_check("3", "T3")
def test_three_days_of_the_reference_run() -> None:
    # days 181 (30 mm on dry sand, rain first: 20 drain and the soaked layer gives 7.2), then capped
    zone_mm = np.array([2.0, 0.0, 0.0])
    assert day(zone_mm, 30.0) == pytest.approx((7.2, 20.0))
    assert day(zone_mm, 0.0) == pytest.approx((2.8, 0.0))
    assert day(zone_mm, 0.0) == pytest.approx((0.0, 0.0))
    assert zone_mm.tolist() == pytest.approx([2.0, 0.0, 0.0])


def test_zones_are_what_air_and_tool_reach() -> None:
    layer = Layer(thickness_m=0.25)
    assert zones_m(layer) == pytest.approx([0.10, 0, 0.15])
    assert zones_m(layer, 0.20) == pytest.approx([0.10, 0.10, 0.05])
    assert zones_m(layer, 9.0) == pytest.approx([0.10, 0.15, 0])
    assert zones_m(Layer(thickness_m=0.06), 0.2) == pytest.approx([0.06, 0, 0])
