"""What a lane catches: the ideal basin and scour."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment.sandyard.calc import (
    GRADATIONS,
    Gradation,
    LaneFlow,
    captured,
    captured_frac,
    named_gradation,
    overflow_rate_m_s,
    scour_velocity_m_s,
)

FT = 0.3048
LANE = LaneFlow(flow_m3_s=0.3, length_m=30, width_m=3.6, slope_frac=0.003)
lengths_m = st.floats(2, 60)
names = st.sampled_from(sorted(GRADATIONS))


def test_overflow_rate_of_a_published_size() -> None:
    # Iowa State University, settling-basin newsletter 2001: 1 ft² for each 8 ft³/h of inflow
    flow = LaneFlow(8 * FT**3 / 3600, FT, FT, 0.003)
    assert overflow_rate_m_s(flow) == pytest.approx(8 * FT / 3600)


def test_half_the_overflow_rate_catches_half() -> None:
    # Camp 1946: by arithmetic
    assert captured_frac(0.01, 0.02) == pytest.approx(0.5)
    assert np.asarray(captured_frac(np.array([0.0, 0.02, 0.5]), 0.02)).tolist() == [0, 1, 1]


@given(st.floats(0.001, 0.2), st.floats(0.01, 2), st.floats(0.05, 1), lengths_m)
def test_a_single_grain_falls_through_the_water_it_meets(
    fall_m_s: float, velocity_m_s: float, depth_m: float, length_m: float
) -> None:
    # Grains evenly over the depth, each followed: those caught fell to the floor on the way.
    heights_m = (np.arange(2000) + 0.5) / 2000 * depth_m
    landed = np.mean(heights_m / fall_m_s <= length_m / velocity_m_s)
    overflow = velocity_m_s * depth_m / length_m  # Q / A of a lane one metre wide
    assert captured_frac(fall_m_s, overflow) == pytest.approx(landed, abs=1e-3)


@pytest.mark.parametrize(
    ("grain_mm", "beta", "friction", "velocity_m_s"),
    [  # Fundamentals of Water Treatment Unit Processes, example 7.1 p. 137, and its values reworked
        (0.2, 0.06, 0.03, 0.23),
        (0.4, 0.06, 0.03, 0.32),
        (0.2, 0.08, 0.023, 0.300),
    ],
)
def test_scour_velocity_of_the_published_example(
    grain_mm: float, beta: float, friction: float, velocity_m_s: float
) -> None:
    found = scour_velocity_m_s(grain_mm / 1000, beta=beta, friction=friction)
    assert found == pytest.approx(velocity_m_s, abs=0.005)


def test_a_curve_parts_into_classes() -> None:
    grain_m, share = Gradation((1.0, 1.0, 1.0, 0.5, 0.0, 0.0, 0.0)).classes()
    assert share.tolist() == [0, 0, 0, 0.5, 0.5, 0, 0, 0]
    assert grain_m[4] == pytest.approx(math.sqrt(0.6e-3 * 0.3e-3))
    for name in GRADATIONS:
        assert named_gradation(name).classes()[1].sum() == pytest.approx(1)


@given(lengths_m, names, st.floats(0, 39), st.floats(1.05, 3))
def test_a_longer_lane_and_warmer_water_catch_more(
    length_m: float, name: str, degc: float, factor: float
) -> None:
    sand = named_gradation(name)
    short = LaneFlow(0.5, length_m, 3.0, 0.003)
    long = LaneFlow(0.5, length_m * factor, 3.0, 0.003)
    least = captured(short, sand, water_degc=degc).total_frac
    assert captured(long, sand, water_degc=degc).total_frac >= least
    assert captured(short, sand, water_degc=degc + 1).total_frac >= least


@given(st.floats(0.01, 1), st.floats(1.05, 4), names)
def test_more_flow_catches_less(flow_m3_s: float, factor: float, name: str) -> None:
    sand = named_gradation(name)
    less, more = (LaneFlow(flow, 20, 3, 0.003) for flow in (flow_m3_s, flow_m3_s * factor))
    few, many = (captured(flow, sand, water_degc=12) for flow in (more, less))
    assert few.total_frac <= many.total_frac
    assert few.kept_frac <= many.kept_frac <= many.total_frac <= 1


def test_coarse_grains_are_all_caught_and_fine_ones_are_not() -> None:
    found = captured(LANE, named_gradation("c33"), water_degc=12)
    assert found.captured_frac[0] == 1
    assert found.captured_frac[-1] < 0.5
    assert np.all(np.diff(found.captured_frac) <= 0)


def test_a_fast_lane_scours_fine_grains_before_coarse_ones() -> None:
    found = captured(LANE, named_gradation("c33"), water_degc=12)
    assert LANE.velocity_m_s > 0.3
    assert found.is_scoured[-1]
    assert np.all(np.diff(found.is_scoured.astype(int)) >= 0)


@pytest.mark.parametrize("name", ["flow_m3_s", "length_m", "width_m", "slope_frac"])
def test_a_lane_that_cannot_be_is_refused(name: str) -> None:
    good = {"flow_m3_s": 0.3, "length_m": 30.0, "width_m": 3.6, "slope_frac": 0.003}
    with pytest.raises(ValueError, match=f"{name} must be > 0"):
        LaneFlow(**{**good, name: 0.0})


def test_a_curve_that_cannot_be_is_refused() -> None:
    with pytest.raises(ValueError, match="7 shares of 0 to 1"):
        Gradation((1.0, 0.5))
    with pytest.raises(ValueError, match="rises toward finer sieves"):
        Gradation((0.9, 1.0, 0.8, 0.5, 0.2, 0.1, 0.0))
    with pytest.raises(ValueError, match="is none of"):
        named_gradation("gravel")


def test_nonsense_is_refused_by_name() -> None:
    with pytest.raises(ValueError, match="overflow_m_s"):
        captured_frac(0.01, 0.0)
    with pytest.raises(ValueError, match="fall_m_s"):
        captured_frac(-0.01, 0.1)
    with pytest.raises(ValueError, match="beta"):
        scour_velocity_m_s(1e-4, beta=0.0)
    with pytest.raises(ValueError, match="grain_kg_m3"):
        scour_velocity_m_s(1e-4, grain_kg_m3=900)
