"""When a layer will be dry: weather members and what is not known of the sand, weighed by tests."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from schedules.sand.calc.dates import DateDistribution
from schedules.sand.calc.drying import DryingRun, first_dry_day, simulate_drying
from schedules.sand.calc.layer import Floats
from schedules.sand.calc.pad import MoistureTest, PadWeather, SpreadBatch

# Below this share of particles that still count, the tests speak against the model
EFFECTIVE_MIN_FRAC = 0.02


@dataclass(frozen=True, slots=True)
class DryForecast:
    """When a layer is expected dry, and how wet it is until then.

    Parameters
    ----------
    dry : DateDistribution
        Of the day by whose end the layer is dry.
    moisture_wb_frac : ndarray, shape (n_particles, n_days)
        Mean moisture of the layer at each day's end, from `dry.origin_on` on.
    weight : ndarray, shape (n_particles,)
        What each counts after the tests, sum 1.
    n_effective : float
        1 / Σ weight²: how many particles carry the forecast.
    restarted_on : date or None
        Day of the test that no particle could match, so that the forecast begins anew there.
    run : DryingRun
        Water balance behind it; of the days after `restarted_on` where there is one.
    """

    dry: DateDistribution
    moisture_wb_frac: Floats
    weight: Floats
    n_effective: float
    restarted_on: date | None
    run: DryingRun

    def moisture_quantile(self, q: float) -> Floats:
        """Tell a quantile of the moisture, day by day.

        Parameters
        ----------
        q : float
            0 to 1.

        Returns
        -------
        ndarray, shape (n_days,)
            Mean moisture of the layer by wet mass.
        """
        order = np.argsort(self.moisture_wb_frac, axis=0)
        reached = np.cumsum(self.weight[order], axis=0) >= q - 1e-12
        row = np.take_along_axis(order, reached.argmax(axis=0)[None, :], axis=0)
        return np.asarray(np.take_along_axis(self.moisture_wb_frac, row, axis=0)[0], dtype=float)


def forecast_dry(
    batch: SpreadBatch,
    weather: PadWeather,
    tests: Sequence[MoistureTest],
    rng: np.random.Generator,
    *,
    n_each: int = 16,
) -> DryForecast:
    """Forecast when a layer is dry.

    Parameters
    ----------
    batch : SpreadBatch
        The sand, its start and the work on it.
    weather : PadWeather
        Known days and members.
    tests : sequence of MoistureTest
        All of this spreading up to today, in any order.
    rng : numpy.random.Generator
        Draws the particles.
    n_each : int
        Particles a member.

    Returns
    -------
    DryForecast
        The distribution and what carries it.

    Raises
    ------
    ValueError
        Members do not begin where the known days end or reach no further than today, or a test is
        of another day than from spreading to today.

    Notes
    -----
    Each particle is one weather member with one draw of the moisture as spread and of the sand's
    field capacity (both normal), and of the pad's rate (lognormal about kc · ET0). A test
    multiplies each weight by the normal likelihood of what was measured given what the particle
    shows at the sampled depth, midway between the day's start and its end; the standard deviation
    is that of the mean over the spots with the method's own error. Tests tell of the sand and the
    pad, not of the weather to come, so a test narrows the dates down to what the weather leaves
    open.

    Where fewer than `EFFECTIVE_MIN_FRAC` of the particles still count, the tests contradict the
    model (a flooded pad, a wrong thickness) and a few lucky particles would look more certain than
    they are. Then the latest test stands alone: the layer starts anew at the end of that day with
    the measured moisture and its spread, the same at all depths.

    References
    ----------
    Gordon, Salmond, Smith, "Novel approach to nonlinear/non-Gaussian Bayesian state estimation",
    IEE Proceedings F 140(2), 1993, 107-113, for weights and their effective number (from memory).
    """
    _require_joined(batch, weather, tests)
    particles = _draw(batch, weather, n_each, rng)
    run = _run(batch, particles, 0)
    weight = _weights(run, particles.start_wb_frac, batch, tests)
    if tests and _effective(weight) < EFFECTIVE_MIN_FRAC * weight.size:
        return _restart(batch, max(tests, key=lambda test: test.on), particles, run, rng)
    return _forecast(batch, run, run.moisture_wb_frac, weight, None)


@dataclass(frozen=True, slots=True)
class _Particles:
    demand_mm: Floats  # ET0 at the pad's rate, (n_particles, n_days)
    rain_mm: Floats
    start_wb_frac: Floats  # (n_particles,)
    capacity_frac: Floats


def _draw(
    batch: SpreadBatch, weather: PadWeather, n_each: int, rng: np.random.Generator
) -> _Particles:
    """Draw what is not known; what falls outside of sand's is set to its edge."""
    et0_mm, rain_mm = weather.particles(n_each)
    n = et0_mm.shape[0]
    layer = batch.layer
    edge = 0.05 * (layer.theta_sat_frac - layer.theta_wp_frac)
    capacity = layer.theta_fc_frac + batch.capacity_sd_frac * rng.standard_normal(n)
    rate = np.exp(rng.standard_normal(n) * batch.rate_sd_frac)
    return _Particles(
        demand_mm=et0_mm * rate[:, None],
        rain_mm=rain_mm,
        start_wb_frac=_moistures(batch.moisture_wb_frac, batch.moisture_sd_frac, n, rng),
        capacity_frac=np.clip(capacity, layer.theta_wp_frac + edge, layer.theta_sat_frac - edge),
    )


def _moistures(mean: float, sd: float, n: int, rng: np.random.Generator) -> Floats:
    drawn: Floats = np.clip(mean + sd * rng.standard_normal(n), 0.001, 0.5)
    return drawn


def _run(batch: SpreadBatch, particles: _Particles, first_day: int) -> DryingRun:
    turning = batch.turning(particles.demand_mm.shape[1])
    return simulate_drying(
        batch.layer,
        initial_moisture_wb_frac=particles.start_wb_frac,
        et0_mm=particles.demand_mm,
        rain_mm=particles.rain_mm,
        turning=turning,
        theta_fc_frac=particles.capacity_frac,
        start_step=first_day,
    )


def _require_joined(batch: SpreadBatch, weather: PadWeather, tests: Sequence[MoistureTest]) -> None:
    today_on = batch.spread_on + timedelta(days=weather.n_observed)
    unknown_on = batch.spread_on + timedelta(days=weather.n_certain)
    if weather.members.start_on != unknown_on:
        raise ValueError(f"members begin on {weather.members.start_on}, not on {unknown_on}")
    if weather.n_certain + weather.members.horizon_d < weather.n_observed + 2:
        raise ValueError("members must look ahead 2 days or more")
    for test in tests:
        if not batch.spread_on <= test.on <= today_on:
            raise ValueError(f"test on {test.on} is not from {batch.spread_on} to {today_on}")


def _weights(
    run: DryingRun, start_wb_frac: Floats, batch: SpreadBatch, tests: Sequence[MoistureTest]
) -> Floats:
    log_weight = np.zeros(start_wb_frac.size)
    for test in tests:
        depth_m = test.depth_m or batch.layer.thickness_m
        evenings = run.moisture_of_top_wb_frac(depth_m)
        index = (test.on - batch.spread_on).days
        morning = evenings[:, index - 1] if index else start_wb_frac
        midday = (morning + evenings[:, index]) / 2
        log_weight -= ((test.moisture_wb_frac - midday) / test.sd_frac) ** 2 / 2
    unscaled = np.exp(log_weight - log_weight.max())
    weight: Floats = unscaled / unscaled.sum()
    return weight


def _effective(weight: Floats) -> float:
    return float(1 / (weight**2).sum())


def _restart(
    batch: SpreadBatch,
    test: MoistureTest,
    particles: _Particles,
    first_run: DryingRun,
    rng: np.random.Generator,
) -> DryForecast:
    """Begin anew at the end of the test's day."""
    n_particles = particles.start_wb_frac.size
    index = (test.on - batch.spread_on).days
    measured = _moistures(test.moisture_wb_frac, test.sd_frac, n_particles, rng)
    run = _run(batch, replace(particles, start_wb_frac=measured), index + 1)
    moisture = run.moisture_wb_frac
    moisture[:, :index] = first_run.moisture_wb_frac[:, :index]
    return _forecast(batch, run, moisture, np.full(n_particles, 1 / n_particles), test.on)


def _forecast(
    batch: SpreadBatch,
    run: DryingRun,
    moisture_wb_frac: Floats,
    weight: Floats,
    restarted_on: date | None,
) -> DryForecast:
    """Judge from the restart on: before it the test says not dry."""
    from_day = (restarted_on - batch.spread_on).days if restarted_on else 0
    dry_d = first_dry_day(run, batch.target, from_day)
    dry = DateDistribution(batch.spread_on, dry_d, weight)
    return DryForecast(dry, moisture_wb_frac, weight, _effective(weight), restarted_on, run)
