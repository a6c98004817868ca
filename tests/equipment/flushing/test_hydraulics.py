"""Manning's equation against published examples, and what follows from it for a flush."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment.flushing.calc import (
    AlleyFlush,
    FlushPractice,
    ShortfallCode,
    chezy_coefficient,
    chezy_velocity_m_s,
    find_shortfalls,
    hydraulic_radius,
    normal_depth_m,
    velocity_m_s,
)

FT_M = 0.3048
CFS_M3_S = FT_M**3
GPM_PER_CFS = 448.831
GAL_M3 = 231 * 0.0254**3  # US gallon: 231 cubic inches

widths_m = st.floats(0.5, 15)
slopes = st.floats(0.002, 0.08)
flows_m3_s = st.floats(0.01, 3)


@pytest.mark.parametrize(
    ("width_m", "depth_m", "expected_m_s"),
    [
        # Worked open-channel problems, San Diego State University, CIVE 530: slope 0.0025, n 0.015
        (6, 1.6, 3.428),  # facets.sdsu.edu/protected31/cive530_midterm_1_problem_4_fa08.html
        (5, 0.8, 2.387),  # jon.sdsu.edu/protected31/cive530_midterm_2_problem_1_sp07.html
    ],
)
def test_velocity_of_published_channels(
    width_m: float, depth_m: float, expected_m_s: float
) -> None:
    velocity = velocity_m_s(width_m=width_m, depth_m=depth_m, slope_frac=0.0025, n_manning=0.015)
    assert velocity == pytest.approx(expected_m_s, rel=5e-4)  # they round R to three decimals


@pytest.mark.parametrize(
    ("width_m", "depth_m", "flow_m3_s"),
    [(6, 1.6, 32.91), (5, 0.8, 9.548)],  # the same two problems, backward
)
def test_depth_of_published_flows(width_m: float, depth_m: float, flow_m3_s: float) -> None:
    depth = normal_depth_m(flow_m3_s=flow_m3_s, width_m=width_m, slope_frac=0.0025, n_manning=0.015)
    assert depth == pytest.approx(depth_m, rel=5e-4)


def test_velocity_equals_that_of_an_open_library() -> None:
    # fluids, its own test of V_Manning(Rh=5, S=0.001, n=0.05); 20 m x 10 m has the radius 5 m.
    assert hydraulic_radius(20, 10) == 5
    velocity = velocity_m_s(width_m=20, depth_m=10, slope_frac=0.001, n_manning=0.05)
    assert velocity == pytest.approx(1.8493111942973235, rel=1e-12)


def published_ft_s(*, width_ft: float) -> float:
    """Missouri Extension WQ314 in its own units, 0.25 ft at 3 %: V = (1.49 / n) R^(2/3) S^(1/2)."""
    r_h_ft = width_ft * 0.25 / (width_ft + 2 * 0.25)
    return float(1.49 / 0.02 * r_h_ft ** (2 / 3) * 0.03**0.5)


def ours_ft_s(*, width_ft: float) -> float:
    velocity = velocity_m_s(width_m=width_ft * FT_M, depth_m=0.25 * FT_M, slope_frac=0.03)
    return float(velocity / FT_M)


@pytest.mark.trade_check("4")
def test_ten_foot_alley_flushed_three_inches_deep() -> None:
    # Equation, roughness 0.02 and 0.25 ft: Missouri Extension WQ314; the results are that
    # equation worked by hand: 4.957 ft/s, 12.39 cfs = 5,562 gpm, 927 gal in 10 s.
    # Its factor 1.49 is rounded up by 0.3 %.
    assert published_ft_s(width_ft=10) == pytest.approx(4.957, abs=5e-4)
    flow_cfs = ours_ft_s(width_ft=10) * 10 * 0.25
    assert ours_ft_s(width_ft=10) == pytest.approx(4.957, rel=3e-3)
    assert flow_cfs * GPM_PER_CFS == pytest.approx(5562, rel=3e-3)
    assert flow_cfs * GPM_PER_CFS / 6 == pytest.approx(927, rel=3e-3)


def test_si_and_the_published_us_form_differ_by_the_rounded_factor_only() -> None:
    # 1.49 against (1 / 0.3048)^(1/3) = 1.4859
    assert ours_ft_s(width_ft=10) * FT_M == pytest.approx(1.5067, abs=5e-5)
    ratio = published_ft_s(width_ft=10) / ours_ft_s(width_ft=10)
    assert ratio == pytest.approx(1.49 / 0.3048 ** (-1 / 3), rel=1e-12)


@pytest.mark.parametrize("width_ft", [8, 10, 12, 16, 20, 30])
def test_three_inches_at_three_percent_run_at_about_five_feet_a_second(width_ft: float) -> None:
    # "A gutter slope of 3 percent will provide these flow conditions" (5 ft/s, 3 in): WQ313,
    # for alleys of 7 to 16 ft and holding pens of 20 to 30 ft.
    assert ours_ft_s(width_ft=width_ft) == pytest.approx(5, rel=0.022)


@pytest.mark.trade_check("4")
def test_chezy_form_gives_the_same_velocity() -> None:
    # C = R^(1/6) / n: 32.29 for the ten-foot alley by fluids 1.3.1, n_Manning_to_C_Chezy.
    alley = {"width_m": 10 * FT_M, "depth_m": 0.25 * FT_M, "slope_frac": 0.03}
    chezy = chezy_coefficient(hydraulic_radius(10 * FT_M, 0.25 * FT_M))
    assert chezy == pytest.approx(32.29, abs=0.005)
    velocity = chezy_velocity_m_s(**alley, c_chezy=float(chezy))
    assert velocity == pytest.approx(velocity_m_s(**alley), rel=1e-12)


def test_chezy_parts_from_manning_away_from_its_depth() -> None:
    # Manning grows with R^(2/3), Chezy with R^(1/2): of twice the radius by 2^(1/6) apart.
    chezy = float(chezy_coefficient(1.0))
    deep = {"width_m": 8.0, "depth_m": 4.0, "slope_frac": 0.01}  # R = 32 / 16 = 2 m
    ratio = velocity_m_s(**deep) / chezy_velocity_m_s(**deep, c_chezy=chezy)
    assert ratio == pytest.approx(2 ** (1 / 6), rel=1e-12)


def test_a_release_shorter_than_its_travel_is_a_wave() -> None:
    # 100 m at some 1.5 m/s take more than a minute
    assert flush_of(12.39 * CFS_M3_S, open_s=20).is_wave
    assert not flush_of(12.39 * CFS_M3_S, open_s=90).is_wave


def test_arrays_equal_scalars() -> None:
    flows = np.array([0.1, 0.4, 1.2])
    depths = normal_depth_m(flow_m3_s=flows, width_m=3.0, slope_frac=0.02)
    each = [normal_depth_m(flow_m3_s=float(q), width_m=3.0, slope_frac=0.02) for q in flows]
    assert np.asarray(depths) == pytest.approx(each, rel=1e-12)
    velocities = velocity_m_s(width_m=3.0, depth_m=depths, slope_frac=0.02)
    assert np.asarray(velocities) * 3.0 * depths == pytest.approx(flows, rel=1e-9)


def test_published_wave_takes_half_a_minute_and_2805_gallons() -> None:
    # 150 ft long, 3 in deep, 5 ft/s: animalimagegallery.org, image 1115. 30 s; a 10-ft alley
    # then takes 12.5 cfs x 30 s = 375 ft³ = 2,805 gal. The slope is ours, to give 5 ft/s.
    slope_frac = float((5 * FT_M * 0.02 / hydraulic_radius(10 * FT_M, 0.25 * FT_M) ** (2 / 3)) ** 2)
    flush = AlleyFlush(
        length_m=150 * FT_M,
        width_m=10 * FT_M,
        slope_frac=slope_frac,
        flow_m3_s=12.5 * CFS_M3_S,
        open_s=30,
        drain_s=180,
    )
    assert flush.depth_m == pytest.approx(0.25 * FT_M)
    assert flush.travel_s == pytest.approx(30)
    assert flush.volume_m3 / GAL_M3 == pytest.approx(2805, abs=1)
    assert flush.duration_s == pytest.approx(30 + 30 + 180)


def flush_of(flow_m3_s: float, *, slope_frac: float = 0.03, open_s: float = 20) -> AlleyFlush:
    return AlleyFlush(
        length_m=100,
        width_m=10 * FT_M,
        slope_frac=slope_frac,
        flow_m3_s=flow_m3_s,
        open_s=open_s,
    )


def test_the_published_flush_is_adequate() -> None:
    assert find_shortfalls(flush_of(12.39 * CFS_M3_S)) == ()


def test_a_thin_flush_falls_short_in_depth_and_velocity() -> None:
    shortfalls = find_shortfalls(flush_of(6 * CFS_M3_S))
    assert [s.code for s in shortfalls] == [ShortfallCode.VELOCITY_LOW, ShortfallCode.DEPTH_LOW]
    assert shortfalls[0].limit == pytest.approx(1.524)  # 5 ft/s
    assert shortfalls[1].limit == pytest.approx(0.0762)  # 3 in
    assert all(s.value < s.limit for s in shortfalls)


def test_a_flat_alley_is_deep_enough_but_too_slow() -> None:
    (shortfall,) = find_shortfalls(flush_of(12.39 * CFS_M3_S, slope_frac=0.005))
    assert shortfall.code is ShortfallCode.VELOCITY_LOW


def test_a_valve_open_for_less_than_ten_seconds_falls_short() -> None:
    (shortfall,) = find_shortfalls(flush_of(12.39 * CFS_M3_S, open_s=9))
    assert (shortfall.code, shortfall.value, shortfall.limit) == (ShortfallCode.OPEN_SHORT, 9, 10)


def test_a_farm_may_ask_for_less() -> None:
    # The slow regime of sand barns, about 3 ft/s: NRCS Illinois study,
    # lpelc.org/tag/dairy-waste-separation-facilities.
    slow = FlushPractice(velocity_m_s=3 * FT_M)
    assert find_shortfalls(flush_of(12.39 * CFS_M3_S, slope_frac=0.01), slow) == ()


@pytest.mark.parametrize("value", [0, -1, math.nan, math.inf])
@pytest.mark.parametrize("name", ["length_m", "width_m", "slope_frac", "flow_m3_s", "open_s"])
def test_an_alley_that_cannot_be_is_refused(name: str, value: float) -> None:
    good = {"length_m": 100.0, "width_m": 3.0, "slope_frac": 0.02, "flow_m3_s": 0.4, "open_s": 20.0}
    with pytest.raises(ValueError, match=f"{name} must be > 0"):
        AlleyFlush(**{**good, name: value})


def test_a_negative_drain_time_is_refused() -> None:
    with pytest.raises(ValueError, match="drain_s must be 0 or more"):
        AlleyFlush(100, 3, 0.02, 0.4, 20, drain_s=-1)


@pytest.mark.parametrize("name", ["width_m", "depth_m", "slope_frac", "n_manning"])
def test_no_velocity_without_water_slope_or_roughness(name: str) -> None:
    good = {"width_m": 3.0, "depth_m": 0.1, "slope_frac": 0.02, "n_manning": 0.02}
    with pytest.raises(ValueError, match="must be > 0"):
        velocity_m_s(**{**good, name: 0.0})


@given(flows_m3_s, widths_m, slopes)
def test_the_depth_found_carries_the_flow(
    flow_m3_s: float, width_m: float, slope_frac: float
) -> None:
    depth_m = normal_depth_m(flow_m3_s=flow_m3_s, width_m=width_m, slope_frac=slope_frac)
    velocity = velocity_m_s(width_m=width_m, depth_m=depth_m, slope_frac=slope_frac)
    assert velocity * width_m * depth_m == pytest.approx(flow_m3_s, rel=1e-9)


@given(flows_m3_s, st.floats(1.01, 3), widths_m, slopes)
def test_more_flow_runs_deeper_and_faster(
    flow_m3_s: float, factor: float, width_m: float, slope_frac: float
) -> None:
    less, more = (
        AlleyFlush(100, width_m, slope_frac, flow, 20) for flow in (flow_m3_s, factor * flow_m3_s)
    )
    assert more.depth_m > less.depth_m
    assert more.velocity_m_s > less.velocity_m_s
    assert more.duration_s < less.duration_s


@given(flows_m3_s, widths_m, slopes, st.floats(1.01, 3))
def test_a_steeper_alley_runs_faster_and_thinner(
    flow_m3_s: float, width_m: float, slope_frac: float, factor: float
) -> None:
    flat, steep = (
        AlleyFlush(100, width_m, slope, flow_m3_s, 20)
        for slope in (slope_frac, factor * slope_frac)
    )
    assert steep.velocity_m_s > flat.velocity_m_s
    assert steep.depth_m < flat.depth_m
