"""Depth and volume of basins."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment.basins.calc.storage import StageStorage, sloped_storage, surveyed_storage
from equipment.site.units import UNITS

FT_M = UNITS["ft"].factor
FT3_M3 = UNITS["ft³"].factor


def test_a_cell_of_40_by_300_by_8_ft_holds_96_000_cubic_feet() -> None:
    """A 3,500-cow dairy's four cells of 40 x 300 x 8 ft hold 384,000 ft³ (trade press, 2009)."""
    cell = sloped_storage(length_m=300 * FT_M, width_m=40 * FT_M, depth_m=8 * FT_M)

    assert 4 * cell.full_m3 / FT3_M3 == pytest.approx(384_000)
    assert float(cell.volume_at_m3(7 * FT_M)) / FT3_M3 == pytest.approx(84_000)
    assert cell.rim_m2 / FT_M**2 == pytest.approx(12_000)


def test_sloped_sides_hold_what_the_prismoidal_formula_says() -> None:
    """V = D (A_bottom + 4 A_middle + A_top) / 6."""
    basin = sloped_storage(length_m=60, width_m=20, depth_m=3, side_slope=2, ramp_slope=8)

    bottom, middle, top = (60 - 24) * (20 - 12), (60 - 12) * (20 - 6), 60 * 20
    assert basin.full_m3 == pytest.approx(3 * (bottom + 4 * middle + top) / 6)


@given(
    side=st.floats(0, 2),
    ramp=st.floats(0, 8),
    depths=st.lists(st.floats(0, 3), min_size=2, max_size=5, unique=True),
)
def test_depth_and_volume_are_inverse_and_rise_together(
    side: float, ramp: float, depths: list[float]
) -> None:
    basin = sloped_storage(length_m=60, width_m=20, depth_m=3, side_slope=side, ramp_slope=ramp)
    depth_m = np.sort(np.array(depths))
    volume_m3 = basin.volume_at_m3(depth_m)

    np.testing.assert_allclose(basin.depth_at_m(volume_m3), depth_m, rtol=1e-9, atol=1e-9)
    assert np.all(np.diff(volume_m3) >= 0)
    assert [float(basin.volume_at_m3(float(h))) for h in depth_m] == volume_m3.tolist()


def test_floor_and_rim_are_the_ends() -> None:
    basin = surveyed_storage([(0, 0), (1, 100), (2, 300)])

    assert float(basin.depth_at_m(-5)) == 0
    assert float(basin.depth_at_m(999)) == 2
    assert float(basin.volume_at_m3(1.5)) == 200
    assert basin.rim_m2 == 200


@pytest.mark.parametrize(
    ("sizes", "named"),
    [
        ({"length_m": 0}, "length_m"),
        ({"depth_m": -1}, "depth_m"),
        ({"side_slope": -1}, "side_slope"),
        ({"side_slope": 9}, "side_slope"),
    ],
)
def test_nonsense_is_refused_by_name(sizes: dict[str, float], named: str) -> None:
    usual = {"length_m": 60.0, "width_m": 20.0, "depth_m": 3.0}
    with pytest.raises(ValueError, match=named):
        sloped_storage(**usual | sizes)


def test_a_table_that_does_not_rise_is_refused() -> None:
    with pytest.raises(ValueError, match="volume_m3 must begin at 0 and increase"):
        surveyed_storage([(0, 0), (1, 100), (2, 90)])
    with pytest.raises(ValueError, match="depth_volume"):
        surveyed_storage([(0, 0, 1)])
    with pytest.raises(ValueError, match="differ in length"):
        StageStorage(np.array([0.0, 1.0]), np.array([0.0, 1.0, 2.0]))
    with pytest.raises(ValueError, match="two values"):
        StageStorage(np.array([0.0]), np.array([0.0]))
