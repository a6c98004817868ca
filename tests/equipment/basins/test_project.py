"""Basins over the days ahead."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment.basins.calc.manure import DailyInflow
from equipment.basins.calc.project import BasinNow, days_to_line, project_basins
from equipment.basins.calc.storage import sloped_storage
from equipment.site.units import UNITS
from tests.benchmarks import bench_basins

FT, FT3, INCH = UNITS["ft"].factor, UNITS["ft³"].factor, UNITS["in"].factor
CELL = sloped_storage(length_m=300 * FT, width_m=40 * FT, depth_m=8 * FT)
NOW = BasinNow(storage=CELL, contents_m3=0, sludge_m3=0, weep_frac=0, open_frac=0, gets_frac=1)
DRY = np.zeros((1, 90))


def inflow(settled_m3: float = 0, liquid_m3: float = 0, late_m3: float = 0) -> DailyInflow:
    return DailyInflow(settled_m3, liquid_m3, 0, late_m3, 1000)


def test_a_cell_of_84_000_cubic_feet_lasts_60_days() -> None:
    """40 x 300 ft, 8 ft, 1 ft of freeboard, 1,400 ft3/d: 60.0 d; 57.9 d with 3 in held back."""
    run = project_basins([NOW], inflow(1400 * FT3), DRY, DRY)
    line_m3 = float(CELL.volume_at_m3(7 * FT))
    storm_m3 = 3 * INCH * CELL.rim_m2

    assert days_to_line(run.volume_m3[:, :, 0], line_m3).tolist() == [60]
    assert days_to_line(run.volume_m3[:, :, 0], line_m3 - storm_m3).tolist() == [58]
    assert (line_m3 - storm_m3) / (1400 * FT3) == pytest.approx(57.9, abs=0.05)


def test_without_inflow_the_line_is_never_reached() -> None:
    run = project_basins([NOW], inflow(), DRY, DRY)
    assert np.isinf(days_to_line(run.volume_m3[:, :, 0], 1.0)).all()


@given(
    rain=st.lists(st.floats(0, 50), min_size=20, max_size=20),
    liquid=st.floats(0, 400),
    settled=st.floats(0, 60),
    weep=st.floats(0, 1),
)
def test_stages_keep_all_that_came(
    rain: list[float], liquid: float, settled: float, weep: float
) -> None:
    """What came is in the two stages: nothing leaves the second, nothing spills from it."""
    first = replace(NOW, weep_frac=weep)
    pond = sloped_storage(length_m=200, width_m=100, depth_m=5)
    second = replace(NOW, storage=pond, is_second=True)
    rain_mm = np.array([rain])

    run = project_basins(
        [first, second], inflow(settled, liquid, 5.0), rain_mm, np.zeros_like(rain_mm)
    )

    rain_m3 = rain_mm.sum() / 1000 * (CELL.rim_m2 + pond.rim_m2)
    held_m3 = float(run.volume_m3[0, -1].sum() + run.overflow_m3[0, :, 1].sum())
    assert held_m3 == pytest.approx(20 * (liquid + settled) + rain_m3)


def test_flush_water_goes_round() -> None:
    """900 m3 a day are drawn and come back with 50 m3 more: 20 days leave 1,000 m3 in the pond."""
    pond = sloped_storage(length_m=200, width_m=100, depth_m=5)
    second = replace(NOW, storage=pond, is_second=True, contents_m3=4000)
    round_it_goes = replace(inflow(0, 950), returned_m3=900)

    run = project_basins(
        [replace(NOW, weep_frac=1), second], round_it_goes, DRY[:, :20], DRY[:, :20]
    )

    assert run.volume_m3[0, -1].tolist() == [0, 5000]


def test_each_run_stands_for_itself() -> None:
    """Two runs of weather together give what each gives alone, to the bit."""
    rain_mm = np.array([np.linspace(0, 9, 30), np.linspace(5, 0, 30)])
    et0_mm = np.full((2, 30), 3.0)
    basin = replace(NOW, contents_m3=500, weep_frac=0.4, open_frac=0.5)

    both = project_basins([basin], inflow(20, 300), rain_mm, et0_mm)
    alone = project_basins([basin], inflow(20, 300), rain_mm[1:], et0_mm[1:])

    assert np.array_equal(both.volume_m3[1:], alone.volume_m3)


def test_a_closed_gate_gets_nothing_but_rain() -> None:
    shut = replace(NOW, gets_frac=0.0, contents_m3=100.0)
    run = project_basins([NOW, shut], inflow(20), DRY, DRY)
    assert np.all(run.volume_m3[:, :, 1] == 100)


def test_standing_liquid_is_what_weeping_leaves_of_a_day() -> None:
    """With 0.8 a day weeping, 100 m3 a day stand at 25 m3: (100 + 25) (1 − 0.8)."""
    basin = replace(NOW, contents_m3=500, weep_frac=0.8)

    assert basin.liquid_m3(inflow(0, 100)) == pytest.approx(25)
    run = project_basins([basin], inflow(0, 100), DRY, DRY)
    assert np.allclose(run.volume_m3, 500)


@pytest.mark.parametrize(
    ("change", "named"),
    [
        ({"contents_m3": 1e9}, "contents_m3"),
        ({"sludge_m3": -1.0}, "sludge_m3"),
        ({"weep_frac": 1.1}, "weep_frac"),
        ({"gets_frac": -0.1}, "gets_frac"),
    ],
)
def test_a_basin_that_cannot_be_is_refused(change: dict[str, float], named: str) -> None:
    with pytest.raises(ValueError, match=named):
        replace(NOW, **change)  # type: ignore[arg-type]  # keys are the test's


def test_weather_and_shares_that_cannot_be_are_refused() -> None:
    with pytest.raises(ValueError, match="basins"):
        project_basins([], inflow(), DRY, DRY)
    with pytest.raises(ValueError, match="alike"):
        project_basins([NOW], inflow(), DRY, DRY[:, :3])
    with pytest.raises(ValueError, match=">= 0"):
        project_basins([NOW], inflow(), DRY - 1, DRY)
    with pytest.raises(ValueError, match="gets_frac"):
        project_basins([NOW, NOW], inflow(), DRY, DRY)


def test_a_thousand_years_agree_with_a_bare_recurrence() -> None:
    weather = bench_basins.Weather()
    ours, bare = bench_basins.ours(weather), bench_basins.reference(weather)
    assert ours == pytest.approx(bare, rel=1e-9, abs=1e-6)
    assert np.ptp(ours[:, -1, 2]) > 100  # the weather is felt
