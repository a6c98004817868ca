"""Loader output and bucket mass against worked figures in yards and pounds."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment.machines.calc.productivity import (
    bucket_load_kg,
    cycle_min,
    loader_m3_h,
    loader_work_h,
    loads_h,
)
from equipment.site.calc.refusal import RefusedValueError

YD3_M3 = 0.764554857984  # NIST SP 811, appendix B.8: cubic yard
LB_KG = 0.45359237  # NIST SP 811, appendix B.8: avoirdupois pound


def test_four_cubic_yards_in_a_fifty_minute_hour() -> None:
    # general method of US Army FM 5-434 (2000), ch. 5, by hand:
    # 4 yd³ x 0.95 x 60 / 0.55 x 50 / 60 = 345.5 yd³/h; at 2,700 lb/yd³ 466.4 short tons
    moved_yd3_h = loader_m3_h(4 * YD3_M3, 0.95, 0.55) / YD3_M3
    assert moved_yd3_h == pytest.approx(345.45, abs=0.01)
    assert moved_yd3_h * 2_700 / 2_000 == pytest.approx(466.4, abs=0.05)
    assert loads_h(0.55) == pytest.approx(345.45 / 3.8, abs=0.01)


def test_four_cubic_yards_of_wet_sand_weigh_12960_pounds() -> None:
    # wet sand 3,240 lb/yd³ x 4 yd³: by hand
    wet_kg_m3 = 3_240 * LB_KG / YD3_M3
    assert bucket_load_kg(4 * YD3_M3, 1.0, wet_kg_m3) / LB_KG == pytest.approx(12_960)


def test_fifty_metres_each_way_add_their_driving() -> None:
    # by hand: 0.5 min + 50 m / 200 m/min + 50 m / 200 m/min = 1.0 min
    assert cycle_min(0.5, 50, 200) == pytest.approx(1.0)
    assert cycle_min(0.5, 0, 200) == 0.5


def test_a_volume_takes_its_hours() -> None:
    # by hand: 3 m³ x 1.0 in 1 min at 60 in 60 are 180 m³/h, so 90 m³ take half an hour
    assert loader_work_h(90, loader_m3_h(3, 1.0, 1.0, 1.0)) == pytest.approx(0.5)
    assert loader_work_h(0, 180) == 0


@given(st.floats(0, 2_000), st.floats(0, 2_000))
def test_a_longer_way_never_moves_more(near_m: float, more_m: float) -> None:
    near, far = (cycle_min(0.5, way_m, 150) for way_m in (near_m, near_m + more_m))
    assert loader_m3_h(3, 0.95, far) <= loader_m3_h(3, 0.95, near)


@pytest.mark.parametrize("bad", [0.0, -1.0, float("nan"), float("inf")])
def test_nonsense_is_refused_by_name(bad: float) -> None:
    for name, given_values in {
        "bucket_m3": (bad, 0.95, 0.5),
        "fill_frac": (3.0, bad, 0.5),
        "one_cycle_min": (3.0, 0.95, bad),
        "efficiency_frac": (3.0, 0.95, 0.5, bad),
    }.items():
        with pytest.raises(RefusedValueError, match=f"{name}: out_of_range"):
            loader_m3_h(*given_values)
    with pytest.raises(RefusedValueError, match="speed_m_min"):
        cycle_min(0.5, 10, bad)
    with pytest.raises(RefusedValueError, match="density_kg_m3"):
        bucket_load_kg(3, 1, bad)
    with pytest.raises(RefusedValueError, match="m3_h"):
        loader_work_h(1, bad)


def test_a_way_or_a_volume_below_zero_is_refused() -> None:
    with pytest.raises(RefusedValueError, match="distance_m"):
        cycle_min(0.5, -1, 150)
    with pytest.raises(RefusedValueError, match="volume_m3"):
        loader_work_h(-1, 100)
