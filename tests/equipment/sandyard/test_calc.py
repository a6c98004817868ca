"""Pile geometry, layer mass and moisture bases against worked figures and their own inverses."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment.sandyard.calc import (
    cone,
    dry_basis_frac,
    dry_kg,
    layer_dry_kg,
    water_of_wet_basis_mm,
    wet_basis_frac,
    wet_basis_of_volume_frac,
    wet_basis_of_water_frac,
    windrow,
    windrow_length_m,
)

FT = 0.3048
YD3 = 27 * FT**3
SHORT_TON_KG = 2000 * 0.45359237
measures_m = st.floats(0.5, 200)
slopes_deg = st.floats(15, 45)


# Cone and prism volumes are Euclid's; the figures at 34° were worked by hand from V = π r² h / 3
@pytest.mark.parametrize(
    ("base_ft", "height_ft", "volume_yd3"), [(40, 13.49, 209.3), (60, 20.24, 706.3)]
)
def test_cones_of_40_and_60_feet(base_ft: float, height_ft: float, volume_yd3: float) -> None:
    pile = cone(base_ft * FT, 34)
    assert pile.height_m / FT == pytest.approx(height_ft, abs=0.01)
    assert pile.volume_m3 / YD3 == pytest.approx(volume_yd3, abs=0.1)


def test_a_40_foot_cone_at_100_lb_per_cubic_foot_weighs_282_5_short_tons() -> None:
    density_kg_m3 = 100 * 0.45359237 / FT**3
    tons = cone(40 * FT, 34).volume_m3 * density_kg_m3 / SHORT_TON_KG
    assert tons == pytest.approx(282.5, abs=0.1)


def test_metric_cone_and_windrow() -> None:
    pile = cone(10, 34)
    assert (pile.height_m, pile.volume_m3) == pytest.approx((3.373, 88.29), abs=0.005)
    row = windrow(40, 6, 34)
    assert (row.height_m, row.volume_m3) == pytest.approx((2.024, 225.5), abs=0.05)


@given(length_m=measures_m, share=st.floats(0.05, 1), repose_deg=slopes_deg)
def test_windrow_volume_equals_its_cross_sections_added_up(
    length_m: float, share: float, repose_deg: float
) -> None:
    # An independent way: the surface at a point is tan φ times its distance from the foot
    width_m = length_m * share
    tan = math.tan(math.radians(repose_deg))
    xs = (np.arange(400) + 0.5) / 400 * length_m
    reach_m = np.minimum(np.minimum(xs, length_m - xs), width_m / 2)  # from the near end
    half_m = np.sqrt(np.maximum((width_m / 2) ** 2 - (width_m / 2 - reach_m) ** 2, 0))
    ys = (np.arange(200) + 0.5) / 200
    across_m = half_m[:, None] * ys
    gap_m = np.hypot((width_m / 2 - reach_m)[:, None], across_m)
    slice_m2 = 2 * half_m * np.mean((width_m / 2 - gap_m) * tan, axis=1)
    volume_m3 = slice_m2.sum() * length_m / 400
    assert windrow(length_m, width_m, repose_deg).volume_m3 == pytest.approx(volume_m3, rel=0.01)


@given(diameter_m=measures_m, repose_deg=slopes_deg)
def test_a_windrow_as_long_as_wide_is_a_cone(diameter_m: float, repose_deg: float) -> None:
    radius_m = diameter_m / 2
    expected_m3 = math.pi * radius_m**3 * math.tan(math.radians(repose_deg)) / 3
    assert cone(diameter_m, repose_deg).volume_m3 == pytest.approx(expected_m3)


@given(width_m=st.floats(1, 20), extra_m=st.floats(0, 100), repose_deg=slopes_deg)
def test_length_is_the_inverse_of_volume(width_m: float, extra_m: float, repose_deg: float) -> None:
    volume_m3 = windrow(width_m + extra_m, width_m, repose_deg).volume_m3
    back_m = windrow_length_m(volume_m3 * (1 + 1e-12), width_m, repose_deg)
    assert back_m == pytest.approx(width_m + extra_m)


def test_a_pile_that_cannot_be_is_refused() -> None:
    for length_m, width_m, repose_deg in ((5, 6, 34), (5, 0, 34), (5, 5, 0), (5, 5, 60)):
        with pytest.raises(ValueError, match=r"cannot be|repose_deg"):
            windrow(length_m, width_m, repose_deg)
    with pytest.raises(ValueError, match="do not fill a cone"):
        windrow_length_m(1.0, 10)


@pytest.mark.parametrize(
    ("wb_frac", "db_frac"),
    [(0.03, 0.0309), (0.05, 0.0526), (0.08, 0.0870), (0.10, 0.1111), (0.15, 0.1765), (0.20, 0.25)],
)
def test_wet_and_dry_basis_of_the_usual_moistures(wb_frac: float, db_frac: float) -> None:
    # By definition (ASTM D2216 states water content by dry mass); 20 % wet is 25 % dry
    assert dry_basis_frac(wb_frac) == pytest.approx(db_frac, abs=5e-5)
    assert wet_basis_frac(dry_basis_frac(wb_frac)) == pytest.approx(wb_frac)


@pytest.mark.parametrize(
    ("theta_frac", "wb_frac"), [(0.07, 0.0419), (0.10, 0.0588), (0.12, 0.0698), (0.17, 0.0960)]
)
def test_water_by_volume_at_1600_kg_per_cubic_metre(theta_frac: float, wb_frac: float) -> None:
    # field capacity of sand, 0.07 to 0.17, is FAO-56 Table 19
    assert wet_basis_of_volume_frac(theta_frac, 1600) == pytest.approx(wb_frac, abs=5e-5)


def test_a_foot_of_sand_gives_up_40_mm() -> None:
    # From 12 to 5 percent:
    # 0.30 m · 1600 kg/m³ = 480 kg/m² dry; 480 (0.12/0.88 - 0.05/0.95) = 40.2 kg/m² of water
    lost_mm = water_of_wet_basis_mm(0.12, 0.30, 1600) - water_of_wet_basis_mm(0.05, 0.30, 1600)
    assert lost_mm == pytest.approx(40.2, abs=0.05)


@given(wb_frac=st.floats(0, 0.5), thickness_m=st.floats(0.02, 1), density=st.floats(1200, 1900))
def test_water_depth_and_moisture_are_inverse(
    wb_frac: float, thickness_m: float, density: float
) -> None:
    water_mm = water_of_wet_basis_mm(wb_frac, thickness_m, density)
    assert wet_basis_of_water_frac(water_mm, thickness_m, density) == pytest.approx(wb_frac)


def test_masses() -> None:
    assert layer_dry_kg(400, 0.25, 1600) == 160_000
    assert dry_kg(100_000, 0.08) == pytest.approx(92_000)


def test_arrays_equal_scalars() -> None:
    wb_frac = np.array([0.03, 0.10, 0.20])
    expected = [dry_basis_frac(float(one)) for one in wb_frac]
    assert np.asarray(dry_basis_frac(wb_frac)).tolist() == expected


@pytest.mark.parametrize("value", [-0.01, 1.0, 20.0, float("nan")])
def test_moisture_beyond_its_range_is_refused(value: float) -> None:
    with pytest.raises(ValueError, match="moisture_wb_frac"):
        dry_basis_frac(value)
    with pytest.raises(ValueError, match="moisture_wb_frac"):
        dry_kg(1.0, value)


def test_negative_measures_are_refused() -> None:
    with pytest.raises(ValueError, match="negative"):
        layer_dry_kg(-1, 0.2)
    with pytest.raises(ValueError, match="moisture_db_frac"):
        wet_basis_frac(-0.1)
