"""The dry date: spread by weather and sand, narrowed by a test, never made surer than it is."""

import dataclasses
from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest

from equipment.weather.calc.days import days_from
from equipment.weather.calc.et0 import reference_et
from equipment.weather.calc.generator import HIGH_PLAINS, generate_weather
from equipment.weather.calc.members import ClimateHistory, WeatherMembers, resample_years
from schedules.sand.calc.dates import DateDistribution
from schedules.sand.calc.drying import DryTarget, simulate_drying
from schedules.sand.calc.forecast import DryForecast, days_saved, forecast_dry, see_rate
from schedules.sand.calc.layer import Layer
from schedules.sand.calc.pad import MoistureTest, PadWeather, SpreadBatch
from schedules.sand.calc.rate import SeenRate, learn_rate
from tests.schedules.sand.shares import share_by

SPREAD_ON = date(2026, 2, 15)  # cool enough that a layer takes a week or two
HORIZON_D = 60
OBSERVED_ET0_MM = 2.0
LATITUDE_DEG = HIGH_PLAINS.latitude_deg


def made_history() -> ClimateHistory:
    weather = generate_weather(date(2006, 1, 1), 365 * 20, np.random.default_rng(11))
    et0_mm = reference_et(weather, HIGH_PLAINS).et0_mm
    return ClimateHistory(weather.day, et0_mm, weather.rain_mm)


HISTORY = made_history()


def members_from(on: date, n_members: int = 20) -> WeatherMembers:
    rng = np.random.default_rng(3)
    return resample_years(HISTORY, on, HORIZON_D, rng, n_members=n_members)


def steady(on: date, et0_mm: float, n_members: int = 4) -> WeatherMembers:
    """Members without any difference between them."""
    shape = (n_members, HORIZON_D)
    return WeatherMembers(on, np.full(shape, et0_mm), np.zeros(shape), days_from(on, n_members))


def batch(**changes: Any) -> SpreadBatch:
    settings: dict[str, Any] = {
        "layer": Layer(thickness_m=0.30),
        "target": DryTarget(0.035),
        "spread_on": SPREAD_ON,
        "moisture_wb_frac": 0.08,
        "moisture_sd_frac": 0.012,
        "planned_turns_d": 1,
        "turned_depth_m": 0.30,
    }
    return SpreadBatch(**(settings | changes))


def pad_weather(n_observed: int, members: WeatherMembers | None = None) -> PadWeather:
    observed_mm = np.full(n_observed, OBSERVED_ET0_MM)
    on = SPREAD_ON + timedelta(days=n_observed)
    return PadWeather(observed_mm, observed_mm * 0, members or members_from(on), LATITUDE_DEG)


def forecast(
    tests: list[MoistureTest], n_observed: int = 2, seed: int = 5, **options: Any
) -> DryForecast:
    members = options.pop("members", None)
    return forecast_dry(
        batch(past_turns=(1,) * n_observed, **options),
        pad_weather(n_observed, members),
        tests,
        np.random.default_rng(seed),
        n_each=20,
    )


def width_d(dist: DateDistribution) -> int:
    """Days between the 10 % and the 90 % date; the horizon stands for what lies past it."""
    edge = dist.origin_on + timedelta(days=HORIZON_D)
    low, high = (dist.quantile(q) or edge for q in (0.1, 0.9))
    return (high - low).days


def spread_d(dist: DateDistribution) -> float:
    """Standard deviation, which a width in whole days hides."""
    offset_d = np.where(dist.offset_d < 0, HORIZON_D, dist.offset_d)
    mean_d = dist.weight @ offset_d
    return float(np.sqrt(dist.weight @ (offset_d - mean_d) ** 2))


def reading_if(
    made: DryForecast, particle: int, n_observed: int = 2, **options: Any
) -> MoistureTest:
    """What a test would read today if this particle were the truth."""
    around = made.moisture_wb_frac[particle, n_observed - 1 : n_observed + 1]
    on = SPREAD_ON + timedelta(days=n_observed)
    return MoistureTest(on, float(around.mean()), **options)


def test_without_tests_every_particle_counts_alike() -> None:
    made = forecast([])
    assert made.weight.tolist() == [1 / 400] * 400
    assert made.n_effective == pytest.approx(400)
    assert made.restarted_on is None
    assert np.abs(made.run.imbalance_mm).max() < 1e-6


def test_same_seed_gives_the_same_dates() -> None:
    assert forecast([]).dry.dots() == forecast([]).dry.dots()
    assert forecast([], seed=5).weight.size == forecast([], seed=6).weight.size


def test_an_exactly_matching_test_narrows_the_dates() -> None:
    before = forecast([], members=steady(SPREAD_ON + timedelta(days=2), OBSERVED_ET0_MM))
    median = int(np.argsort(before.moisture_wb_frac[:, 2])[before.weight.size // 2])
    test = reading_if(before, median, n_spots=12)
    after = forecast([test], members=steady(SPREAD_ON + timedelta(days=2), OBSERVED_ET0_MM))
    assert width_d(after.dry) < width_d(before.dry)
    assert after.n_effective < before.n_effective
    today = after.moisture_wb_frac[:, 1:3].mean(axis=1)
    assert (after.weight * today).sum() == pytest.approx(test.moisture_wb_frac, abs=0.002)


def test_more_spots_narrow_more() -> None:
    before = forecast([], members=steady(SPREAD_ON + timedelta(days=2), OBSERVED_ET0_MM))
    spreads = []
    for n_spots in (1, 3, 20):
        test = reading_if(before, 7, n_spots=n_spots)
        after = forecast([test], members=steady(SPREAD_ON + timedelta(days=2), OBSERVED_ET0_MM))
        moisture = after.moisture_wb_frac[:, 2]
        mean = (after.weight * moisture).sum()
        spreads.append((after.weight * (moisture - mean) ** 2).sum())
    assert spreads == sorted(spreads, reverse=True)


def test_over_many_truths_a_test_does_not_widen_the_80_percent_range_on_average() -> None:
    # Bayes: the expected variance after a test is no more than before (law of total variance)
    before = forecast([])
    rng = np.random.default_rng(17)
    widths = []
    for truth in rng.choice(before.weight.size, 80, replace=False):
        exact = reading_if(before, int(truth), n_spots=4)
        read = float(np.clip(exact.moisture_wb_frac + rng.normal() * exact.sd_frac, 0, 0.5))
        after = forecast([MoistureTest(exact.on, read, n_spots=4)])
        widths.append(width_d(after.dry))
    assert np.mean(widths) <= width_d(before.dry)


def test_dates_after_a_test_cover_the_truth_about_as_often_as_they_say() -> None:
    # the truth is drawn from the same beliefs; of 80 draws 80 % intervals must hold 64 or so
    truths = forecast([], seed=99)
    rng = np.random.default_rng(23)
    n_inside = 0
    picks = rng.choice(truths.weight.size, 80, replace=False)
    for truth in picks:
        exact = reading_if(truths, int(truth), n_spots=4)
        read = float(np.clip(exact.moisture_wb_frac + rng.normal() * exact.sd_frac, 0, 0.5))
        dry = forecast([MoistureTest(exact.on, read, n_spots=4)]).dry
        low, high = dry.quantile(0.1), dry.quantile(0.9)
        assert low is not None
        offset_d = int(truths.dry.offset_d[truth])
        day = SPREAD_ON + timedelta(days=offset_d)
        n_inside += low <= day and (high is None or day <= high)
    # whole dates make the interval a little wide; binomial spread of 80 at 0.8 is 4.5 %
    assert n_inside / 80 > 0.68


def test_a_wet_reading_moves_the_dates_back_and_a_dry_one_forward() -> None:
    middle = forecast([]).dry.quantile(0.5)
    on = SPREAD_ON + timedelta(days=2)
    wet = forecast([MoistureTest(on, 0.085, n_spots=5)]).dry.quantile(0.5)
    dry = forecast([MoistureTest(on, 0.050, n_spots=5)]).dry.quantile(0.5)
    assert middle is not None
    assert wet is not None
    assert dry is not None
    assert dry < middle < wet


def test_a_reading_nobody_expected_begins_anew_with_its_own_spread() -> None:
    on = SPREAD_ON + timedelta(days=2)
    flooded = forecast([MoistureTest(on, 0.20, n_spots=5)])
    assert flooded.restarted_on == on
    assert flooded.n_effective == pytest.approx(400)
    assert flooded.moisture_wb_frac[:, 2].mean() == pytest.approx(0.20, abs=0.002)
    assert share_by(flooded.dry, on) == 0
    assert flooded.moisture_wb_frac.shape == (400, 2 + HORIZON_D)
    assert np.abs(flooded.run.imbalance_mm).max() < 1e-6


def test_a_bone_dry_reading_nobody_expected_is_dry_on_its_day() -> None:
    on = SPREAD_ON + timedelta(days=2)
    made = forecast([MoistureTest(on, 0.005, n_spots=5)])
    assert made.restarted_on == on
    assert made.dry.quantile(0.9) == on


def test_a_sample_of_the_top_is_compared_with_the_top() -> None:
    # nothing is turned, so the surface is drier than the layer: what the model expects of the top
    # would be a surprise of the whole
    on = SPREAD_ON + timedelta(days=5)

    def after(*tests: MoistureTest) -> DryForecast:
        still = batch(planned_turns_d=0)
        return forecast_dry(still, pad_weather(5), tests, np.random.default_rng(5), n_each=20)

    top_wb_frac = float(np.median(after().run.moisture_of_top_wb_frac(0.05)[:, 5]))
    top = after(MoistureTest(on, top_wb_frac, 5, depth_m=0.05))
    whole = after(MoistureTest(on, top_wb_frac, 5))
    assert top.restarted_on is None
    assert top.n_effective > 100
    assert whole.restarted_on == on


def test_a_test_on_the_day_of_spreading_uses_the_start() -> None:
    made = forecast([MoistureTest(SPREAD_ON, 0.075, n_spots=5)], n_observed=0)
    assert made.n_effective < 400
    assert made.restarted_on is None


def test_two_tests_weigh_more_than_one() -> None:
    on = SPREAD_ON + timedelta(days=2)
    first, second = MoistureTest(SPREAD_ON, 0.078, 3), MoistureTest(on, 0.066, 3)
    assert forecast([first, second]).n_effective < forecast([first]).n_effective
    assert forecast([first, second]).dry.dots() == forecast([second, first]).dry.dots()


def test_a_day_nobody_recorded_has_each_members_own_weather() -> None:
    members = members_from(SPREAD_ON + timedelta(days=1))
    gap = np.array([2.0, np.nan, 3.0])
    weather = PadWeather(gap, gap * 0, members, LATITUDE_DEG)
    et0_mm, rain_mm = weather.particles(2)
    assert (weather.n_observed, weather.n_certain, weather.n_filled) == (3, 1, 1)
    assert et0_mm.shape == rain_mm.shape == (40, 1 + HORIZON_D)
    assert set(et0_mm[:, 0]) == {2.0}
    assert et0_mm[:, 1].tolist() == np.repeat(members.et0_mm[:, 0], 2).tolist()
    assert set(et0_mm[:, 2]) == {3.0}
    assert et0_mm[:, 3:].tolist() == np.repeat(members.et0_mm[:, 2:], 2, axis=0).tolist()
    made = forecast_dry(batch(), weather, [], np.random.default_rng(1))
    assert made.moisture_wb_frac.shape[1] == 1 + HORIZON_D


def test_a_gap_widens_the_dates() -> None:
    known = forecast([], n_observed=6)
    unknown_mm = np.array([OBSERVED_ET0_MM] + 5 * [np.nan])
    ahead = members_from(SPREAD_ON + timedelta(days=1))
    gap = PadWeather(unknown_mm, unknown_mm * 0, ahead, LATITUDE_DEG)
    turned = batch(past_turns=(1,) * 6)
    made = forecast_dry(turned, gap, [], np.random.default_rng(5), n_each=20)
    assert spread_d(made.dry) > spread_d(known.dry)


def test_moisture_quantiles_are_ordered_and_begin_near_the_start() -> None:
    made = forecast([])
    low, middle, high = (made.moisture_quantile(q) for q in (0.1, 0.5, 0.9))
    assert (low <= middle).all()
    assert (middle <= high).all()
    assert 0.05 < middle[0] < 0.08


def test_turns_planned_bring_the_date_forward() -> None:
    by = SPREAD_ON + timedelta(days=14)
    left, worked = (
        share_by(forecast([], n_observed=0, planned_turns_d=n, target=DryTarget(0.04)).dry, by)
        for n in (0, 3)
    )
    assert worked > left + 0.2


def test_what_does_not_fit_together_is_refused() -> None:
    with pytest.raises(ValueError, match="members begin on"):
        forecast_dry(batch(), pad_weather(2, members_from(SPREAD_ON)), [], np.random.default_rng(1))
    with pytest.raises(ValueError, match="test on 2026-02-14"):
        forecast([MoistureTest(date(2026, 2, 14), 0.05)])
    with pytest.raises(ValueError, match="test on 2026-02-18"):
        forecast([MoistureTest(date(2026, 2, 18), 0.05)])
    short = WeatherMembers(SPREAD_ON, np.ones((2, 1)), np.ones((2, 1)), days_from(SPREAD_ON, 2))
    with pytest.raises(ValueError, match="2 days or more"):
        forecast_dry(batch(), pad_weather(0, short), [], np.random.default_rng(1))


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"moisture_wb_frac": 5.0}, "moisture_wb_frac"),
        ({"n_spots": 0}, "n_spots"),
        ({"method_sd_frac": 0.0}, "method_sd_frac"),
    ],
)
def test_a_test_that_cannot_be_is_refused(changes: dict[str, Any], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        dataclasses.replace(MoistureTest(SPREAD_ON, 0.05), **changes)


def test_a_batch_that_cannot_be_is_refused() -> None:
    with pytest.raises(ValueError, match="moisture_wb_frac"):
        batch(moisture_wb_frac=8.0)
    with pytest.raises(ValueError, match="spreads"):
        batch(capacity_sd_frac=-0.1)
    with pytest.raises(ValueError, match="differ in length"):
        PadWeather(np.zeros(2), np.zeros(1), steady(SPREAD_ON, 4.0), LATITUDE_DEG)


def test_one_test_is_the_conjugate_normal_by_hand() -> None:
    # no sun, no rain, drier than field capacity: the layer stays as spread, so a test of it is the
    # normal mean with known variance. Prior 4.0 % ± 0.5, test 4.6 % ± sqrt(1.0²/4 + 0.3²) = 0.583:
    # precision 1/0.25 + 1/0.34 = 6.941; mean (4.0 · 4 + 4.6 · 2.941) / 6.941 = 4.254 %, sd 0.3796
    calm = steady(SPREAD_ON, 0.0)
    nothing = np.array([])
    made = forecast_dry(
        batch(moisture_wb_frac=0.040, moisture_sd_frac=0.005, capacity_sd_frac=0.0),
        PadWeather(nothing, nothing, calm, LATITUDE_DEG),
        [MoistureTest(SPREAD_ON, 0.046, n_spots=4)],
        np.random.default_rng(1),
        n_each=5_000,
    )
    moisture = made.moisture_wb_frac[:, -1]
    mean = made.weight @ moisture
    assert mean == pytest.approx(0.04254, abs=0.0001)
    assert np.sqrt(made.weight @ (moisture - mean) ** 2) == pytest.approx(0.003796, rel=0.02)


def test_a_test_in_the_evening_is_compared_with_a_drier_layer_than_one_in_the_morning() -> None:
    on = SPREAD_ON + timedelta(days=2)
    morning, evening = (
        forecast([MoistureTest(on, 0.066, n_spots=9, at_h=at_h)]) for at_h in (6.0, 20.0)
    )
    mean = [float(made.weight @ made.moisture_wb_frac[:, 2]) for made in (morning, evening)]
    assert mean[1] > mean[0]


def test_a_layer_spread_at_night_misses_the_sun_of_its_day() -> None:
    moisture = [
        forecast([], n_observed=1, spread_h=hour).moisture_quantile(0.5)[0] for hour in (0, 12, 20)
    ]
    assert moisture == sorted(moisture)
    assert moisture[2] > moisture[0]


def test_one_more_turn_is_judged_on_the_same_weather_sand_and_tests() -> None:
    made = forecast([MoistureTest(SPREAD_ON, 0.08, 3)], n_observed=0)
    assert made.dry_if(made.batch).offset_d.tolist() == made.dry.offset_d.tolist()
    more = made.dry_if(dataclasses.replace(made.batch, planned_turns_d=3))
    assert more.weight.tolist() == made.weight.tolist()
    saved_d = days_saved(made.dry, more, HORIZON_D)
    assert (saved_d >= 0).all()
    assert saved_d[2] >= 1


def test_a_thinner_layer_is_dry_sooner() -> None:
    made = forecast([], n_observed=0)
    thin = dataclasses.replace(made.batch, layer=Layer(thickness_m=0.2))
    saved_d = days_saved(made.dry, made.dry_if(thin), HORIZON_D)
    assert saved_d[0] >= 0
    assert saved_d[1] >= 1


def test_days_saved_are_counted_pair_by_pair() -> None:
    weight = np.array([0.25, 0.5, 0.25])
    before = DateDistribution(SPREAD_ON, np.array([5, 9, -1]), weight)
    after = DateDistribution(SPREAD_ON, np.array([6, 7, 4]), weight)
    assert days_saved(before, after, 60).tolist() == [-1, 2, 56]
    with pytest.raises(ValueError, match="same particles"):
        days_saved(before, DateDistribution(SPREAD_ON, np.array([1]), np.ones(1)), 60)


def test_what_the_tests_did_can_be_told() -> None:
    wet = forecast([MoistureTest(SPREAD_ON + timedelta(days=2), 0.085, n_spots=5)])
    assert wet.dry_untested.dots() == forecast([]).dry.dots()
    assert wet.dry_untested.quantile(0.5) < wet.dry.quantile(0.5)  # type: ignore[operator]


def readings_of(rate: float, rng: np.random.Generator) -> list[MoistureTest]:
    """Tests on six days of a layer whose pad dries at a known rate."""
    sand = batch(past_turns=(1,) * 12)
    truth = simulate_drying(
        sand.layer,
        initial_moisture_wb_frac=0.08,
        et0_mm=np.full(12, 3.0),
        rain_mm=np.zeros(12),
        turning=sand.turning(12),
        rate_frac=rate,
    ).moisture_wb_frac[0]
    days = range(2, 8)
    readings = [MoistureTest(SPREAD_ON + timedelta(days=d), truth[d], 9, at_h=24) for d in days]
    noise = rng.normal(size=len(readings))
    return [
        dataclasses.replace(r, moisture_wb_frac=r.moisture_wb_frac + k * r.sd_frac)
        for r, k in zip(readings, noise, strict=True)
    ]


def seen(tests: list[MoistureTest], **changes: Any) -> SeenRate | None:
    return see_rate(
        batch(past_turns=(1,) * 12, **changes),
        tests,
        np.random.default_rng(3),
        et0_mm=np.full(12, 3.0),
        rain_mm=np.zeros(12),
        latitude_deg=LATITUDE_DEG,
    )


@pytest.mark.parametrize("rate", [0.8, 1.0, 1.25])
def test_a_batch_of_known_rate_tells_it(rate: float) -> None:
    rng = np.random.default_rng(8)
    found = [seen(readings_of(rate, rng)) for _ in range(6)]
    told = [s for s in found if s is not None]
    assert len(told) >= 4
    off = [(s.log_rate - np.log(rate)) / s.log_sd for s in told]
    assert max(map(abs, off)) < 3
    learned = learn_rate(told)
    assert abs(learned.log_mean - np.log(rate)) < 2 * learned.log_sd


def test_tests_that_tell_nothing_teach_nothing() -> None:
    assert seen([]) is None
    assert seen([MoistureTest(SPREAD_ON, 0.08, 3)]) is None  # as spread: no sun has been on it
    assert seen([MoistureTest(SPREAD_ON + timedelta(days=3), 0.30, 9)]) is None  # a flood
