import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from equipment.basins.calc.balance import step_basin
from equipment.weather.calc.subdaily import Storms, sun_shares
from schedules.outlook.calc.members import YearMembers
from schedules.outlook.calc.scenario import (
    BasinNow,
    Basins,
    BayNow,
    Buying,
    PileNow,
    SandUse,
    scenario_of,
)
from schedules.outlook.calc.simulate import (
    BASIN_FRAC,
    BASIN_OVER,
    BEDDED_KG,
    BOUGHT_KG,
    FREE_BAYS,
    GAP_KG,
    GAP_M3,
    LACKED_KG,
    LOADER_H,
    NO_SAND,
    OVER_M3,
    PADS_FULL,
    PEOPLE_H,
    RELEASED_KG,
    WET_KG,
    simulate_year,
)
from schedules.sand.calc.drying import DryTarget, Turning, first_dry_day, simulate_drying
from tests.schedules.outlook.years import even_years, scenario, years


def test_sand_reckoned_by_hand() -> None:
    """Arithmetic: 50 t bedded of 1,600 t on the first day, 80 % of it in the lane, then scooped."""
    run = simulate_year(scenario(buying=None), even_years(2))
    assert run.path[0, 0, RELEASED_KG] == pytest.approx(1_550_000)
    assert run.path[0, 0, WET_KG] == pytest.approx(40_000)
    assert run.path[0, 1, WET_KG] == pytest.approx(80_000)
    assert run.total[0, BEDDED_KG] == pytest.approx(100_000)
    moved_t = 50 + 40
    assert run.path[0, 0, LOADER_H] == pytest.approx(5 + 0.02 * moved_t)
    assert run.path[0, 0, PEOPLE_H] == pytest.approx(100 + 0.02 * moved_t)


def test_wet_sand_lies_as_long_as_littles_law_says() -> None:
    """Little, Operations Research 9, 1961: L = λ W.

    By hand, W: 2 days of draining, counted at evenings of which each sees what was scooped that
    day; then the wait for a load of 100 t at 40 t a day, on average half of (100 - 20) / 40 days,
    since it comes in steps of 40 t and greatest common parts of 20 t.
    """
    base = scenario()
    yard = replace(base.yard, piles=(PileNow(capacity_kg=1e9),) * 12, hold_d=1)
    farm = replace(base, yard=yard, buying=Buying(lead_d=3, truck_kg=1.0))
    runs = [simulate_year(farm, even_years(n_days)) for n_days in (240, 400)]
    gross_kg_d = 0.8 * 50_000
    wet_d = runs[1].path[0, 240:, WET_KG].mean() / gross_kg_d
    assert wet_d == pytest.approx(2 + (100 - 20) / 40 / 2, rel=0.02)
    # and what the lane does not give back is bought, when nothing else changes any more
    bought_kg = runs[1].total[0, BOUGHT_KG] - runs[0].total[0, BOUGHT_KG]
    assert bought_kg / 160 == pytest.approx(50_000 - gross_kg_d, rel=0.05)


@pytest.mark.parametrize("is_hourly", [True, False])
def test_a_layer_is_picked_up_when_the_forecast_calls_it_dry(is_hourly: bool) -> None:
    """The forecast's own run of the layer, itself checked against FAO-56, says the day."""
    base = scenario()
    n_days, hold_d = 60, 3
    bay = BayNow(capacity_kg=1e5, dry_kg=1e5, water_mm=50.0)
    yard = replace(base.yard, bays=(bay,), hold_d=hold_d)
    year = years(1, n_days=n_days)
    farm = replace(base, yard=replace(yard, capacity_sd_frac=0, log_rate_sd=0), buying=None)
    run = simulate_year(farm, year, is_hourly=is_hourly)
    step_h = 1 if is_hourly else 24
    et0_mm, rain_mm = year.et0_mm[0], year.rain_mm[0]
    if is_hourly:
        sun = sun_shares(farm.start_on, n_days, farm.latitude_deg)
        rain_mm = Storms(year.begin_h, year.length_h).hourly_mm(year.rain_mm)[0].ravel()
        et0_mm = (et0_mm[:, None] * sun).ravel()
    layer = farm.yard.layer
    alone = simulate_drying(
        layer,
        initial_moisture_wb_frac=float(layer.moisture_wb_frac(np.array(50.0))),
        et0_mm=et0_mm,
        rain_mm=rain_mm,
        turning=Turning((2,) * n_days, depth_m=0.25),
        step_h=step_h,
    )
    dry_day = int(first_dry_day(alone, DryTarget(0.05, hold_d))[0])
    assert 0 < dry_day < n_days - 1
    is_free = run.path[0, :, FREE_BAYS] > 0
    # it is picked up on the morning after; the bay is then free until a whole load has drained
    held = simulate_year(
        replace(farm, use=replace(farm.use, use_kg_d=0)), year, is_hourly=is_hourly
    )
    assert int(np.argmax(held.path[0, :, FREE_BAYS] > 0)) == dry_day + 1
    assert is_free.sum() <= (held.path[0, :, FREE_BAYS] > 0).sum()


def test_a_basin_is_the_basins_own_step() -> None:
    row = BasinNow(full_m3=500, line_m3=450, rim_m2=300, contents_m3=100, weep_frac=0.5)
    basins = Basins(basins=(row,), solids_m3_d=30, liquid_m3_d=60, wash_m3_d=5)
    run = simulate_year(scenario(basins=basins), even_years(20, et0_mm=3, rain_mm=12))
    liquid, solids, over = 0.0, 100.0, 0.0
    for _day in range(20):
        stays = step_basin(liquid, solids, 500, 0, 60, 30, 5, 12, 3, 300, 300, 0.5, 0)
        liquid, solids, over = stays[0], stays[1], over + stays[6]
    assert over > 0
    assert run.total[0, OVER_M3] == pytest.approx(over)
    assert (run.flag[0] & BASIN_OVER).any()


def test_basins_solids_may_be_off_by_their_spread() -> None:
    """A member two deviations up fills like a farm with two spreads more; no spread, no change."""
    row = BasinNow(full_m3=5_000, line_m3=4_500, rim_m2=300, weep_frac=0.5)
    weather = even_years(20)
    up = replace(weather, solids_z=np.array([2.0]))

    def filled(solids_m3_d: float, sd_frac: float, members: YearMembers) -> float:
        basins = Basins(basins=(row,), solids_m3_d=solids_m3_d, solids_sd_frac=sd_frac)
        return float(simulate_year(scenario(basins=basins), members).path[0, -1, BASIN_FRAC])

    assert filled(30, 0.1, up) == pytest.approx(filled(36, 0.1, weather))
    assert filled(30, 0.0, up) == filled(30, 0.0, weather)


def test_without_stock_or_buying_the_first_day_lacks_all() -> None:
    base = scenario(buying=None)
    empty = replace(base.yard, piles=(PileNow(capacity_kg=1e6),))
    run = simulate_year(replace(base, yard=empty), even_years(3))
    assert (run.flag & NO_SAND).all()
    assert run.total[0, LACKED_KG] == pytest.approx(150_000)


def test_pads_are_full_where_nothing_dries() -> None:
    run = simulate_year(scenario(), even_years(60, et0_mm=0.0, rain_mm=3.0))
    assert (run.flag[0, -1] & PADS_FULL) > 0
    assert run.path[0, -1, FREE_BAYS] == 0


def test_members_by_parts_are_the_same_bits() -> None:
    whole = simulate_year(scenario(), years(6))
    parts = [simulate_year(scenario(), years(3, first=first)) for first in (0, 3)]
    for name in ("path", "flag", "total"):
        together = np.concatenate([getattr(part, name) for part in parts])
        assert getattr(whole, name).tobytes() == together.tobytes()


def test_a_scenario_comes_back_from_its_document() -> None:
    assert scenario_of(scenario().as_document()) == scenario()
    assert scenario_of(scenario(buying=None).as_document()) == scenario(buying=None)


@settings(max_examples=25, deadline=None)
@given(
    use_kg_d=st.floats(0, 200_000),
    recovery_frac=st.floats(0, 1),
    screening=st.floats(0, 0.5),
    rain_factor=st.floats(0, 3),
    n_bays=st.integers(1, 8),
    drain_d=st.integers(0, 5),
    lead_d=st.integers(0, 10),
)
def test_sand_and_volume_are_kept_whatever_the_farm(
    use_kg_d: float,
    recovery_frac: float,
    screening: float,
    rain_factor: float,
    n_bays: int,
    drain_d: int,
    lead_d: int,
) -> None:
    base = scenario()
    farm = replace(
        base,
        use=SandUse(use_kg_d=use_kg_d, recovery_frac=recovery_frac, screening_loss_frac=screening),
        yard=replace(base.yard, bays=base.yard.bays[:1] * n_bays, drain_d=drain_d),
        buying=Buying(lead_d=lead_d, truck_kg=25_000) if lead_d else None,
        rain_factor=rain_factor,
    )
    run = simulate_year(farm, years(2, n_days=120), is_hourly=False)
    assert run.total[:, GAP_KG].max() < 1e-3
    assert run.total[:, GAP_M3].max() < 1e-6
    asked_kg = run.total[:, BEDDED_KG] + run.total[:, LACKED_KG]
    assert (asked_kg >= 0).all()
    assert (run.path[:, :, RELEASED_KG] >= -1e-6).all()


def test_more_rain_never_frees_a_bay_and_more_sun_never_takes_one() -> None:
    base = scenario(buying=None)
    free = [
        simulate_year(base, even_years(40, et0_mm=et0, rain_mm=rain)).path[0, :, FREE_BAYS].sum()
        for et0, rain in ((5, 0), (5, 4), (2, 4))
    ]
    assert free[0] >= free[1] >= free[2]
    assert free[0] > free[2]


@pytest.mark.parametrize(
    ("change", "name"),
    [
        ({"use_kg_d": -1.0, "recovery_frac": 0.8}, "use_kg_d"),
        ({"use_kg_d": 1.0, "recovery_frac": 1.1}, "recovery_frac"),
        ({"use_kg_d": math.nan, "recovery_frac": 0.8}, "use_kg_d"),
        ({"use_kg_d": 1.0, "recovery_frac": 0.8, "season": (1.0,)}, "season"),
    ],
)
def test_nonsense_is_refused_by_name(change: dict[str, Any], name: str) -> None:
    with pytest.raises(ValueError, match=name):
        SandUse(**change)
