"""Drying of a layer against a reference run, against itself in parts, and by its properties."""

import warnings
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from pyfao56 import Irrigation, Model, Parameters, Weather

from equipment.sandyard.calc import wet_basis_of_volume_frac
from schedules.sand.calc.drying import (
    NOT_DRY,
    DryingRun,
    DryTarget,
    MassBalanceError,
    Turning,
    first_dry_day,
    simulate_drying,
)
from schedules.sand.calc.layer import Layer, drained_moisture_wb_frac

# One zone of 0.10 m, TEW 10 mm, REW 5 mm, drained at once: FAO-56's own picture of a bare soil
FAO_SOIL = Layer(thickness_m=0.10, drain_half_time_h=0)
RAIN_MM = [0, 30, 0, 0, 0, 0, 0, 4, 0, 0, 0, 0]


def theta(layer: Layer, theta_frac: float) -> float:
    return float(wet_basis_of_volume_frac(theta_frac, layer.dry_bulk_density_kg_m3))


def dry_start(layer: Layer) -> float:
    return theta(layer, layer.theta_wp_frac / 2)


def run(
    layer: Layer,
    et0_mm: Any,
    rain_mm: Any,
    start_wb_frac: Any = 0.08,
    **options: Any,
) -> DryingRun:
    return simulate_drying(
        layer,
        initial_moisture_wb_frac=start_wb_frac,
        et0_mm=np.array(et0_mm, dtype=float),
        rain_mm=np.array(rain_mm, dtype=float),
        **options,
    )


def library_run(rain_mm: list[float]) -> dict[str, NDArray[np.float64]]:
    """Let pyfao56 1.4.3 compute the same soil; its rain counts after that day's evaporation."""
    weather = Weather()
    for offset, rain in enumerate(rain_mm):
        weather.wdata.loc[f"2026-{180 + offset}"] = [
            np.nan, 30.0, 15.0, np.nan, np.nan, 80.0, 45.0, 2.0, rain, 6.0, "M",
        ]  # fmt: skip
    weather.z, weather.lat, weather.wndht = 100.0, 40.0, 2.0
    parameters = Parameters(
        Kcbini=0, Kcbmid=1.1, Kcbend=0.5, Lini=300, Ldev=20, Lmid=20, Lend=20, hini=0.001, hmax=1.0,
        thetaFC=0.12, thetaWP=0.04, theta0=0.12, Zrini=0.1, Zrmax=0.2, pbase=0.5, Ze=0.10, REW=5,
    )  # fmt: skip
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the library's own, of pandas
        model = Model("2026-180", "2026-191", parameters, weather, irr=Irrigation())
        model.run()
    return {name: model.odata[name].to_numpy(dtype=float) for name in ("E", "De", "DPe")}


def test_the_soil_is_that_of_the_reference_run() -> None:
    # FAO-56 eq. 73: TEW = 1000 (0.12 - 0.5 · 0.04) 0.10
    assert FAO_SOIL.tew_mm == pytest.approx(10)
    assert FAO_SOIL.falling_mm(np.array([0.12])) == pytest.approx([5])


@pytest.mark.trade_check("3", "T1", "T2", "T3")
def test_two_stage_run_of_twelve_days() -> None:
    # FAO-56 eq. 71, 73, 74, 77-79 by hand: kc ET0 = 7.2; 30 mm fill 10 and 20 drain; 7.2 leave,
    # then Kr (10-7.2)/5 · 7.2 = 4.03 capped at the 2.80 left; 4 mm of rain leave the same day
    result = run(FAO_SOIL, [6.0] * 12, RAIN_MM, dry_start(FAO_SOIL), falling_stage="daily")
    depletion_mm = FAO_SOIL.tew_mm + FAO_SOIL.floor_mm - result.zone_mm[0, :, 0]
    assert result.evaporated_mm[0] == pytest.approx(
        [0, 7.2, 2.8, 0, 0, 0, 0, 4.0, 0, 0, 0, 0], abs=1e-9
    )
    assert result.drained_mm[0] == pytest.approx([0, 20] + [0] * 10, abs=1e-9)
    assert depletion_mm == pytest.approx([10, 7.2] + [10] * 10, abs=1e-9)


@pytest.mark.trade_check("3", "T2")
def test_a_second_library_agrees_once_its_uncapped_evaporation_is_capped() -> None:
    # pyfao56 takes Kr from the evening before and lets rain in afterwards, so rain moved to the day
    # before is rain first. It reports 4.03 and 5.76 mm where 2.80 and 4.00 are left: De is clipped,
    # E is not, and its water does not close.
    library = library_run([*map(float, RAIN_MM[1:]), 0.0])
    ours = run(FAO_SOIL, [6.0] * 12, RAIN_MM, dry_start(FAO_SOIL), falling_stage="daily")
    our_depletion_mm = FAO_SOIL.tew_mm + FAO_SOIL.floor_mm - ours.zone_mm[0, :, 0]
    left_mm = FAO_SOIL.tew_mm - np.concatenate([[10.0], library["De"][:-1]])
    assert library["E"].max() > left_mm[np.argmax(library["E"] - left_mm)]
    assert ours.evaporated_mm[0] == pytest.approx(np.minimum(library["E"], left_mm), abs=1e-3)
    dry_evening = np.array([*RAIN_MM[1:], 0]) == 0  # elsewhere its rain is in already
    assert our_depletion_mm[dry_evening] == pytest.approx(library["De"][dry_evening], abs=1e-3)


def test_the_librarys_run_is_the_published_one() -> None:
    # guards the reference: the printed columns for rain on its own days
    library = library_run([float(rain) for rain in RAIN_MM])
    assert library["E"] == pytest.approx([0, 0, 7.2, 4.032, 0, 0, 0, 0, 5.76, 0, 0, 0], abs=1e-3)
    assert library["De"] == pytest.approx([10, 0, 7.2, 10, 10, 10, 10, 6, 10, 10, 10, 10], abs=1e-3)
    assert library["DPe"] == pytest.approx([0, 20] + [0] * 10, abs=1e-3)


STORM_RAIN_MM = [73.91, 7.6, 0, 0, 0, 0, 0, 0, 0, 21.84, 16.75, 5.84, 0, 0]
STORM_ET0_MM = [
    4.21, 1.23, 3.21, 6.00, 5.61, 5.99, 6.61, 7.75, 7.83, 5.41, 3.29, 4.42, 6.14, 6.91,
]  # fmt: skip


def test_storm_of_may_2018_in_champion_nebraska() -> None:
    # champion_climate.txt (aquacrop 3.1.0), 18 to 31 May 2018, computed by hand with rain first
    result = run(
        FAO_SOIL, STORM_ET0_MM, STORM_RAIN_MM, theta(FAO_SOIL, 0.12), falling_stage="daily"
    )
    expected = [5.052, 1.476, 3.852, 4.672, 0, 0, 0, 0, 0, 6.492, 3.948, 5.304, 4.696, 0]
    assert result.evaporated_mm[0] == pytest.approx(expected, abs=1e-3)
    assert abs(result.imbalance_mm[0]) < 1e-9


def test_the_exact_stage_is_the_solution_of_its_differential_equation() -> None:
    # d(left)/dt = -7.2 min(1, left/5) from 10 mm left over a day, in very many small straight steps
    left_mm = 10.0
    for _ in range(100_000):
        left_mm -= 7.2 * min(1.0, left_mm / 5) / 100_000
    result = run(FAO_SOIL, [6.0], [0.0], theta(FAO_SOIL, 0.12))
    assert result.evaporated_mm[0, 0] == pytest.approx(10 - left_mm, abs=1e-4)


def test_the_exact_stage_does_not_depend_on_the_step() -> None:
    whole = run(FAO_SOIL, [6.0], [0.0], theta(FAO_SOIL, 0.12))
    quarters = run(FAO_SOIL, [1.5] * 4, [0.0] * 4, theta(FAO_SOIL, 0.12))
    assert quarters.evaporated_mm.sum() == pytest.approx(whole.evaporated_mm.sum())


def test_a_daily_step_overshoots_what_the_exact_stage_takes() -> None:
    start = theta(FAO_SOIL, 0.07)
    daily = run(FAO_SOIL, [8.0], [0.0], start, falling_stage="daily")
    exact = run(FAO_SOIL, [8.0], [0.0], start)
    assert daily.evaporated_mm[0, 0] == pytest.approx(5.0)  # all that was left
    assert 3.5 < exact.evaporated_mm[0, 0] < 5.0


@pytest.mark.trade_check("T10")
def test_moisture_by_wet_mass_is_not_moisture_by_dry_mass() -> None:
    # trade-values 5.2: 20 % wet is 25 % dry basis; 0.30 m from 12 % to 5 % wet gives up 40.2 mm
    layer = Layer(thickness_m=0.30)
    per_dry_kg = layer.water_mm(np.array([0.20])) / (0.30 * 1600)
    assert per_dry_kg == pytest.approx([0.25])
    given_up_mm = layer.water_mm(np.array([0.12])) - layer.water_mm(np.array([0.05]))
    assert given_up_mm == pytest.approx([40.2], abs=0.05)


SETTINGS = settings(deadline=None, max_examples=50)
weather_mm = st.lists(
    st.tuples(st.floats(0, 12), st.one_of(st.just(0.0), st.floats(0, 60))), min_size=3, max_size=25
)
layers = st.builds(
    Layer,
    thickness_m=st.floats(0.03, 0.6),
    dry_bulk_density_kg_m3=st.floats(1400, 1800),
    theta_fc_frac=st.floats(0.07, 0.17),
    theta_wp_frac=st.floats(0.02, 0.06),
    evaporation_depth_m=st.floats(0.05, 0.2),
    rew_mm=st.floats(0, 9),
    drain_half_time_h=st.sampled_from([0, 6, 24, 72]),
)


@SETTINGS
@given(
    layer=layers,
    weather=weather_mm,
    start_wb_frac=st.floats(0, 0.18),
    n_turns=st.integers(0, 4),
    falling_stage=st.sampled_from(["exact", "daily"]),
)
def test_water_is_kept_and_bounded(
    layer: Layer,
    weather: list[tuple[float, float]],
    start_wb_frac: float,
    n_turns: int,
    falling_stage: str,
) -> None:
    et0_mm, rain_mm = zip(*weather, strict=True)
    turning = Turning((n_turns,) * len(weather), depth_m=0.25)
    result = run(
        layer, et0_mm, rain_mm, start_wb_frac, turning=turning, falling_stage=falling_stage
    )
    assert abs(result.imbalance_mm[0]) < 1e-6
    for part in (result.zone_mm, result.evaporated_mm, result.drained_mm):
        assert (part >= -1e-9).all()
    assert (result.evaporated_mm <= layer.kc_bare * np.array(et0_mm) + 1e-9).all()


def turned(n_days: int) -> Turning:
    """Turned whatever the rain, so that the runs compared are worked alike."""
    return Turning((2,) * n_days, depth_m=0.25, skip_rain_mm=float("inf"))


@SETTINGS
@given(layer=layers, weather=weather_mm, more=st.floats(1, 2))
def test_more_sun_never_leaves_it_wetter(
    layer: Layer, weather: list[tuple[float, float]], more: float
) -> None:
    et0_mm, rain_mm = (np.array(column) for column in zip(*weather, strict=True))
    both = run(
        layer, [et0_mm, et0_mm * more], [rain_mm, rain_mm], turning=turned(len(weather))
    ).moisture_wb_frac
    assert (both[1] <= both[0] + 1e-12).all()


@SETTINGS
@given(layer=layers, weather=weather_mm, extra_mm=st.floats(0, 20), day=st.integers(0, 24))
def test_more_rain_never_leaves_it_drier(
    layer: Layer, weather: list[tuple[float, float]], extra_mm: float, day: int
) -> None:
    et0_mm, rain_mm = (np.array(column) for column in zip(*weather, strict=True))
    wetter_mm = rain_mm.copy()
    wetter_mm[day % len(weather)] += extra_mm
    both = run(
        layer, [et0_mm, et0_mm], [rain_mm, wetter_mm], turning=turned(len(weather))
    ).moisture_wb_frac
    assert (both[1] >= both[0] - 1e-12).all()


@SETTINGS
@given(
    et0_mm=st.lists(st.floats(0.5, 10), min_size=10, max_size=40),
    thin_m=st.floats(0.05, 0.5),
    extra_m=st.floats(0, 0.3),
)
def test_a_thicker_layer_never_dries_sooner(
    et0_mm: list[float], thin_m: float, extra_m: float
) -> None:
    n_days = len(et0_mm)
    days = []
    for thickness_m in (thin_m, thin_m + extra_m):
        result = run(Layer(thickness_m=thickness_m), et0_mm, [0.0] * n_days, 0.07)
        dry = int(first_dry_day(result, DryTarget(0.05))[0])
        days.append(n_days if dry == NOT_DRY else dry)
    assert days[0] <= days[1]


@SETTINGS
@given(weather=weather_mm, wet=st.floats(0.05, 0.15), wetter=st.floats(0, 0.05))
def test_a_wetter_start_never_ends_drier(
    weather: list[tuple[float, float]], wet: float, wetter: float
) -> None:
    et0_mm, rain_mm = (np.array(column) for column in zip(*weather, strict=True))
    both = run(
        Layer(), [et0_mm, et0_mm], [rain_mm, rain_mm], np.array([wet, wet + wetter])
    ).moisture_wb_frac
    assert (both[1] >= both[0] - 1e-12).all()


def test_members_together_equal_each_alone() -> None:
    rng = np.random.default_rng(5)
    et0_mm, rain_mm = rng.uniform(0, 9, (4, 20)), rng.gamma(0.2, 8, (4, 20))
    start = np.array([0.05, 0.08, 0.10, 0.15])
    turning = Turning((1,) * 20, depth_m=0.25)
    together = run(Layer(), et0_mm, rain_mm, start, turning=turning)
    for member in range(4):
        alone = run(Layer(), et0_mm[member], rain_mm[member], start[member], turning=turning)
        assert alone.moisture_wb_frac[0].tolist() == together.moisture_wb_frac[member].tolist()
        assert alone.drained_mm[0].tolist() == together.drained_mm[member].tolist()


def test_without_turning_the_sand_below_keeps_its_water() -> None:
    layer = Layer(drain_half_time_h=0)
    at_capacity = theta(layer, layer.theta_fc_frac)
    result = run(layer, [8.0] * 60, [0.0] * 60, at_capacity)
    assert result.zone_mm[0, -1, 2] == pytest.approx(1000 * 0.12 * 0.15)
    assert result.zone_mm[0, -1, 0] == pytest.approx(layer.floor_mm, abs=0.01)


def test_turning_brings_wet_sand_up_and_dries_faster() -> None:
    layer = Layer(drain_half_time_h=0)
    at_capacity = theta(layer, layer.theta_fc_frac)
    days = [
        int(first_dry_day(
            run(layer, [7.0] * 60, [0.0] * 60, at_capacity, turning=turning),
            DryTarget(0.03),
        )[0])
        for turning in (
            None, Turning((1,) * 60, 0.15), Turning((1,) * 60, 0.25), Turning((3,) * 60, 0.25)
        )
    ]  # fmt: skip
    assert days[0] == NOT_DRY
    assert days[1] == NOT_DRY  # 15 mm can leave 0.15 m of this sand; 17.6 have to
    assert days[2] > days[3] >= 1


def test_a_turn_resets_the_turned_depth_only() -> None:
    # 12 mm at the top, 18 mm in 0.15 m below; 5 mm evaporated at the top before a turn of 0.20 m:
    # 7 + 12 (of 0.10 m) spread over 0.20 m leaves 9.5 at the top and 9.5 + 6 below
    layer = Layer(drain_half_time_h=0, kc_bare=1.0)
    turning = Turning((0, 1), depth_m=0.20)
    result = run(layer, [5.0, 0.0], [0.0, 0.0], theta(layer, 0.12), turning=turning)
    assert result.zone_mm[0, :, 0] == pytest.approx([7.0, 9.5])
    assert result.zone_mm[0, :, 1:].sum(axis=1) == pytest.approx([18.0, 15.5])


def test_a_shallow_turn_changes_nothing_and_a_deep_one_stops_at_the_pad() -> None:
    weather = ([6.0] * 5, [0.0] * 5)
    plain = run(Layer(), *weather).moisture_wb_frac
    shallow = run(Layer(), *weather, turning=Turning((1,) * 5, depth_m=0.10)).moisture_wb_frac
    deep = run(Layer(), *weather, turning=Turning((1,) * 5, depth_m=9.0)).moisture_wb_frac
    whole = run(Layer(), *weather, turning=Turning((1,) * 5, depth_m=0.25)).moisture_wb_frac
    assert shallow.tolist() == plain.tolist()
    assert deep.tolist() == whole.tolist()


def test_the_pad_is_left_alone_in_rain() -> None:
    wet_day = ([6.0] * 2, [0.0, 1.0])
    left = run(Layer(), *wet_day, turning=Turning((0, 2), 0.25, skip_rain_mm=1.0))
    worked = run(Layer(), *wet_day, turning=Turning((0, 2), 0.25, skip_rain_mm=1.1))
    untouched = run(Layer(), *wet_day)
    assert left.water_mm == pytest.approx(untouched.water_mm)
    assert worked.zone_mm[0, 1, 0] != pytest.approx(left.zone_mm[0, 1, 0])


def test_rain_on_a_full_layer_runs_off() -> None:
    layer = Layer(drain_half_time_h=0)
    result = run(layer, [0.0], [25.0], theta(layer, layer.theta_fc_frac))
    assert result.drained_mm[0, 0] == pytest.approx(25)


def test_draining_halves_the_surplus_each_half_time() -> None:
    layer = Layer(thickness_m=0.10, drain_half_time_h=24)
    result = run(layer, [0.0] * 3, [0.0] * 3, theta(layer, 0.20))
    assert result.zone_mm[0, :, 0] == pytest.approx([16, 14, 13])  # capacity is 12 mm


def test_what_the_pores_cannot_hold_runs_off_at_once() -> None:
    layer = Layer(thickness_m=0.10, drain_half_time_h=1000)
    result = run(layer, [0.0], [100.0], theta(layer, 0.30))
    assert result.zone_mm[0, 0, 0] <= 1000 * layer.theta_sat_frac * 0.10 + 1e-9


def test_heap_after_draining() -> None:
    layer = Layer(drain_half_time_h=12)
    assert drained_moisture_wb_frac(layer, 0.15, 0) == pytest.approx(0.15)
    # 15 % wet is 0.282 by volume; 36 h are three halvings of the 0.162 above 0.12
    assert drained_moisture_wb_frac(layer, 0.15, 36) == pytest.approx(
        theta(layer, 0.12 + (0.15 / 0.85 * 1.6 - 0.12) / 8)
    )
    assert drained_moisture_wb_frac(layer, 0.15, 1e6) == pytest.approx(theta(layer, 0.12))
    assert drained_moisture_wb_frac(layer, 0.04, 36) == pytest.approx(0.04)
    at_once = Layer(drain_half_time_h=0)
    assert drained_moisture_wb_frac(at_once, 0.15, 1) == pytest.approx(theta(layer, 0.12))
    with pytest.raises(ValueError, match="drain_h"):
        drained_moisture_wb_frac(layer, 0.15, -1)


def test_moisture_of_the_top_and_of_the_whole() -> None:
    layer = Layer(drain_half_time_h=0)
    result = run(layer, [6.0] * 2, [0.0] * 2, theta(layer, 0.12))
    top = result.moisture_of_top_wb_frac(0.05)
    assert top.tolist() == result.moisture_of_top_wb_frac(0.10).tolist()
    assert (top < result.moisture_of_top_wb_frac(0.2)).all()
    assert result.moisture_of_top_wb_frac(0.25) == pytest.approx(result.moisture_wb_frac)
    assert result.moisture_of_top_wb_frac(3.0) == pytest.approx(result.moisture_wb_frac)
    with pytest.raises(ValueError, match="depth_m"):
        result.moisture_of_top_wb_frac(0)


def test_dry_is_held_through_the_farms_days() -> None:
    layer = Layer(thickness_m=0.10, drain_half_time_h=0)
    # dry by the first evening, soaked on the second day, dry from the third on
    result = run(layer, [9, 1, 9, 9, 9, 9], [0, 8, 0, 0, 0, 0], 0.05)
    is_dry = result.moisture_wb_frac[0] <= 0.04
    assert is_dry.tolist() == [True, False, True, True, True, True]
    assert first_dry_day(result, DryTarget(0.04)).tolist() == [0]
    assert first_dry_day(result, DryTarget(0.04, hold_d=2)).tolist() == [3]
    assert first_dry_day(result, DryTarget(0.04, hold_d=5)).tolist() == [NOT_DRY]
    assert first_dry_day(result, DryTarget(0.04, hold_d=9)).tolist() == [NOT_DRY]


def test_a_shower_between_two_dry_evenings_breaks_the_hold() -> None:
    # dry from the first evening on; on the second day a shower at noon is gone by the evening
    layer = Layer(thickness_m=0.10, drain_half_time_h=0)
    et0_mm = np.full(72, 0.5)
    rain_mm = np.zeros(72)
    rain_mm[36] = 6.0
    result = run(layer, et0_mm, rain_mm, 0.04, step_h=1)
    assert (result.moisture_wb_frac[0] <= 0.04).all()
    assert first_dry_day(result, DryTarget(0.04)).tolist() == [0]
    assert first_dry_day(result, DryTarget(0.04, hold_d=2)).tolist() == [2]


def by_hour(day_mm: float) -> list[float]:
    """A day's sum, none of it at night; so is ET0 by the sun's path."""
    return [day_mm / 12 if 6 <= hour < 18 else 0.0 for hour in range(24)]


def test_hours_without_rain_or_turns_add_up_to_their_day() -> None:
    # drained already, so that the order of draining and sun within the day makes no difference
    layer = Layer(drain_half_time_h=0)
    start = theta(layer, layer.theta_fc_frac)
    days = run(layer, [6.0, 3.0, 8.0], [0.0] * 3, start)
    hours = run(layer, by_hour(6.0) + by_hour(3.0) + by_hour(8.0), [0.0] * 72, start, step_h=1)
    assert hours.water_mm[0] == pytest.approx(days.water_mm[0], abs=1e-9)
    assert hours.evaporated_mm[0] == pytest.approx(days.evaporated_mm[0], abs=1e-9)


def test_draining_by_the_hour_is_draining_by_the_day() -> None:
    layer = Layer(thickness_m=0.40, drain_half_time_h=7)
    hours = run(layer, [0.0] * 72, [0.0] * 72, 0.15, step_h=1)
    days = run(layer, [0.0] * 3, [0.0] * 3, 0.15)
    assert hours.water_mm[0] == pytest.approx(days.water_mm[0], abs=1e-9)


def test_nothing_dries_at_night_and_no_dew_falls() -> None:
    layer = Layer(drain_half_time_h=0)
    start = theta(layer, layer.theta_fc_frac)
    result = run(layer, [0.0] * 12, [0.0] * 12, start, step_h=2)
    assert result.evaporated_mm.sum() == 0
    assert result.water_mm[0, 0] == pytest.approx(result.initial_mm[0])


def test_turns_stand_at_their_hours() -> None:
    turning = Turning((2, 0, 1), depth_m=0.2, from_h=8, until_h=18)
    assert np.flatnonzero(turning.by_step(1)).tolist() == [8, 13, 56]
    assert turning.by_step(24).tolist() == [2, 0, 1]
    assert turning.by_step(6).tolist() == [0, 1, 1, 0] + [0] * 4 + [0, 1, 0, 0]
    with pytest.raises(ValueError, match="from_h < until_h"):
        Turning((1,), 0.2, from_h=9, until_h=9)


def test_nothing_happens_before_the_layer_is_spread() -> None:
    weather = ([0.4] * 72, [0.1] * 72)
    late = run(Layer(), *weather, step_h=1, start_step=30)
    alone = run(Layer(), [0.0] * 6 + [0.4] * 42, [0.0] * 6 + [0.1] * 42, step_h=1, start_step=6)
    assert late.water_mm[0, 0] == late.initial_mm[0]
    assert late.rain_mm[0, 0] == 0
    assert late.water_mm[0, 1:].tolist() == alone.water_mm[0].tolist()
    assert abs(late.imbalance_mm[0]) < 1e-9


def test_a_faster_pad_is_more_sun() -> None:
    weather = np.full(20, 5.0)
    faster = run(Layer(), weather, weather * 0, rate_frac=np.array([1.3]))
    sunnier = run(Layer(), weather * 1.3, weather * 0)
    assert faster.water_mm[0] == pytest.approx(sunnier.water_mm[0], abs=1e-12)


@SETTINGS
@given(layer=layers, weather=weather_mm, step_h=st.sampled_from([1, 3, 24]))
def test_evaporation_never_takes_more_heat_than_kc_et0_has(
    layer: Layer, weather: list[tuple[float, float]], step_h: int
) -> None:
    # latent heat 2.45 MJ a kg (FAO-56 eq. 2-1); 1 mm is 1 kg a m²
    et0_mm, rain_mm = (np.repeat(c, 24 // step_h) for c in zip(*weather, strict=True))
    turning = Turning((2,) * len(weather), depth_m=0.25)
    result = run(layer, et0_mm, rain_mm, turning=turning, step_h=step_h)
    used_mj_m2 = 2.45 * result.evaporated_mm[0]
    given_mj_m2 = 2.45 * layer.kc_bare * et0_mm.reshape(len(weather), -1).sum(axis=1)
    assert (used_mj_m2 <= given_mj_m2 + 1e-9).all()
    assert abs(result.imbalance_mm[0]) < 1e-6


def test_a_very_thin_layer_dries_at_the_full_rate_to_its_end() -> None:
    layer = Layer(thickness_m=0.03, drain_half_time_h=0, kc_bare=1.0)
    assert layer.falling_mm(np.array([0.12])).tolist() == [0]
    for falling_stage in ("exact", "daily"):
        result = run(layer, [2.0] * 3, [0.0] * 3, theta(layer, 0.12), falling_stage=falling_stage)
        assert result.evaporated_mm[0] == pytest.approx([2.0, 1.0, 0.0])


def test_a_step_that_does_not_close_raises() -> None:
    # beyond 2^53 a float has no millimetres left: what runs off cannot add up to what fell
    with pytest.raises(MassBalanceError):
        run(Layer(), [5.0], [3e17])


@pytest.mark.parametrize(
    ("settings_", "message"),
    [
        ({"thickness_m": 0.0}, "thickness_m"),
        ({"dry_bulk_density_kg_m3": 100.0}, "no sand's"),
        ({"theta_fc_frac": 0.03}, "theta_wp < theta_fc"),
        ({"theta_fc_frac": 0.5}, "theta_fc < theta_sat"),
        ({"evaporation_depth_m": 0.0}, "evaporation_depth_m"),
        ({"rew_mm": -1.0}, "cannot be negative"),
    ],
)
def test_a_layer_that_cannot_be_is_refused(settings_: dict[str, float], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        Layer(**settings_)


def test_weather_that_cannot_be_is_refused() -> None:
    with pytest.raises(ValueError, match="et0_mm is negative or not known"):
        run(Layer(), [-1.0], [0.0])
    with pytest.raises(ValueError, match="rain_mm is negative or not known"):
        run(Layer(), [1.0], [np.nan])
    with pytest.raises(ValueError, match="differ in shape"):
        run(Layer(), [1.0, 2.0], [0.0])
    with pytest.raises(ValueError, match="not members by days"):
        run(Layer(), [], [])
    with pytest.raises(ValueError, match="step_h 6 and 3 steps"):
        run(Layer(), [1.0] * 3, [0.0] * 3, step_h=6)
    with pytest.raises(ValueError, match="step_h 7 and"):
        run(Layer(), [1.0] * 24, [0.0] * 24, step_h=7)
    with pytest.raises(ValueError, match="n_turns has 1 days"):
        run(Layer(), [1.0, 2.0], [0.0, 0.0], turning=Turning((1,), 0.2))


def test_each_member_may_have_a_field_capacity_of_its_own() -> None:
    weather = ([[4.0] * 10] * 2, [[0.0] * 10] * 2)
    capacities = np.array([0.09, 0.14])
    both = run(Layer(), *weather, theta_fc_frac=capacities).moisture_wb_frac
    for member, capacity_frac in enumerate(capacities):
        alone = run(Layer(theta_fc_frac=capacity_frac), [4.0] * 10, [0.0] * 10).moisture_wb_frac
        assert both[member].tolist() == alone[0].tolist()
    with pytest.raises(ValueError, match="theta_fc_frac is not between"):
        run(Layer(), *weather, theta_fc_frac=np.array([0.09, 0.5]))


def test_turning_and_targets_that_cannot_be_are_refused() -> None:
    with pytest.raises(ValueError, match="n_turns"):
        Turning((-1,), 0.2)
    with pytest.raises(ValueError, match="depth_m"):
        Turning((1,), 0.0)
    with pytest.raises(ValueError, match="moisture_wb_frac"):
        DryTarget(5.0)
    with pytest.raises(ValueError, match="hold_d"):
        DryTarget(0.05, hold_d=0)
