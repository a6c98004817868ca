"""When a layer will be dry: weather members and what is not known of the sand, weighed by tests."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from equipment.weather.calc.subdaily import N_HOURS, draw_storms, sun_shares
from schedules.sand.calc.dates import BEYOND, DateDistribution
from schedules.sand.calc.drying import DryingRun, first_dry_day, simulate_drying
from schedules.sand.calc.layer import Floats
from schedules.sand.calc.pad import MoistureTest, PadWeather, SpreadBatch
from schedules.sand.calc.rate import SeenRate, without_prior

# Below this share of particles that still count, the tests speak against the model
EFFECTIVE_MIN_FRAC = 0.02
# Of a finished batch, whose weather is all known; so many must still count for its rate to be read
N_PARTICLES, N_EFFECTIVE_MIN = 2000, 20


@dataclass(frozen=True, slots=True)
class Particles:
    """What might be true of a layer and its weather, hour by hour.

    Parameters
    ----------
    et0_mm, rain_mm : ndarray, shape (n_particles, n_hours)
        From local midnight of the day of spreading. [mm]
    start_wb_frac, capacity_frac, log_rate : ndarray, shape (n_particles,)
        Moisture as spread, field capacity by volume, logarithm of evaporation over kc · ET0.
    sun : ndarray, shape (n_days, 24)
        Share of each day's evaporation that falls into each hour.
    """

    et0_mm: Floats
    rain_mm: Floats
    start_wb_frac: Floats
    capacity_frac: Floats
    log_rate: Floats
    sun: Floats


@dataclass(frozen=True, slots=True)
class DryForecast:
    """When a layer is expected dry, and how wet it is until then.

    Parameters
    ----------
    batch : SpreadBatch
        What was forecast.
    dry : DateDistribution
        Of the day by whose end the layer is dry.
    dry_untested : DateDistribution
        The same as it would be without any test.
    moisture_wb_frac : ndarray, shape (n_particles, n_days)
        Mean moisture of the layer at each day's end, from `dry.origin_on` on.
    weight : ndarray, shape (n_particles,)
        What each counts after the tests, sum 1.
    restarted_on : date or None
        Day of the test that no particle could match, so that the forecast begins anew there.
    run : DryingRun
        Water balance behind it; of the days after `restarted_on` where there is one.
    particles : Particles
        What it was made of.
    """

    batch: SpreadBatch
    dry: DateDistribution
    dry_untested: DateDistribution
    moisture_wb_frac: Floats
    weight: Floats
    restarted_on: date | None
    run: DryingRun
    particles: Particles

    @property
    def n_effective(self) -> float:
        """1 / Σ weight²: how many particles carry the forecast."""
        return _effective(self.weight)

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

    def dry_if(self, batch: SpreadBatch) -> DateDistribution:
        """Tell when it would be dry if it were worked or spread otherwise.

        Parameters
        ----------
        batch : SpreadBatch
            `batch` with other turns, or another layer.

        Returns
        -------
        DateDistribution
            On the same weather, sand and pad, weighed by the same tests: particle k of one is
            particle k of the other, so that days saved can be told one by one.
        """
        return _judge(batch, self.particles, self.weight, self.restarted_on)[1]


def days_saved(before: DateDistribution, after: DateDistribution, horizon_d: int) -> Floats:
    """Tell what a change saves, as 10 %, median and 90 % over the same particles.

    Parameters
    ----------
    before, after : DateDistribution
        Of the same origin, particles and weights.
    horizon_d : int
        Stands for a date beyond it. [d]

    Returns
    -------
    ndarray, shape (3,)
        Days by which it is dry earlier; negative is later. [d]

    Raises
    ------
    ValueError
        The two are not of the same particles.

    Notes
    -----
    Valid: distributions of one forecast; where both lie beyond the horizon a particle saves 0.
    Checked: tests/schedules/sand/test_forecast.py::test_days_saved_are_counted_pair_by_pair

    References
    ----------
    Arithmetic; pairs of common members, so that the weather's spread does not hide the difference.
    """
    if before.offset_d.shape != after.offset_d.shape or before.origin_on != after.origin_on:
        raise ValueError("before and after are not of the same particles")
    came, would = (
        np.where(dates.offset_d == BEYOND, horizon_d, dates.offset_d) for dates in (before, after)
    )
    saved_d = (came - would).astype(float)
    order = np.argsort(saved_d, kind="stable")
    reached = np.cumsum(before.weight[order])
    return np.array([saved_d[order][np.searchsorted(reached, q - 1e-12)] for q in (0.1, 0.5, 0.9)])


def forecast_dry(
    batch: SpreadBatch,
    weather: PadWeather,
    tests: Sequence[MoistureTest],
    rng: np.random.Generator,
    *,
    n_each: int = 16,
) -> DryForecast:
    """Forecast when a layer is dry, hour by hour.

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
        The distribution and what carries it. [d]

    Raises
    ------
    ValueError
        Members do not begin where the known days end or reach no further than today, or a test is
        of another day than from spreading to today.

    Notes
    -----
    Each particle is one weather member with one draw of the moisture as spread and of the sand's
    field capacity (both normal), and of the pad's rate (lognormal about kc · ET0). A day's ET0
    follows the sun, its rain falls as one storm at an hour drawn for each particle.

    Bayes by importance weights of the particles, without resampling: a test multiplies each weight
    by the normal likelihood of what was measured given what the particle shows at the sampled depth
    at that hour (between the day's start and its end by the sun that has passed); the standard
    deviation is that of the mean over the spots with the method's own error. Tests tell of the sand
    and the pad, not of the weather to come, so a test narrows the dates down to what the weather
    leaves open.

    Where fewer than `EFFECTIVE_MIN_FRAC` of the particles still count, the tests contradict the
    model (a flooded pad, a wrong thickness) and a few lucky particles would look more certain than
    they are. Then the latest test stands alone: the layer starts anew at the end of that day with
    the measured moisture and its spread, the same at all depths.

    Valid: what `simulate_drying` and the members hold; frozen sand dries like wet sand.
    Checked: tests/schedules/sand/test_forecast.py::test_one_test_is_the_conjugate_normal_by_hand,
    test_dates_after_a_test_cover_the_truth_about_as_often_as_they_say

    References
    ----------
    Gordon, Salmond, Smith, "Novel approach to nonlinear/non-Gaussian Bayesian state estimation",
    IEE Proceedings F 140(2), 1993, 107-113, for weights and their effective number (from memory).
    """
    _require_joined(batch, weather, tests)
    et0_mm, rain_mm = weather.particles(n_each)
    particles = _draw(batch, et0_mm, rain_mm, weather.latitude_deg, rng)
    even = np.full(et0_mm.shape[0], 1 / et0_mm.shape[0])
    first, untested = _judge(batch, particles, even, None)
    weight = _weights(first, particles, batch, tests)
    if tests and _effective(weight) < EFFECTIVE_MIN_FRAC * weight.size:
        latest = max(tests, key=lambda test: (test.on, test.at_h))
        return _restart(batch, latest, particles, (first, untested), rng)
    dry = DateDistribution(batch.spread_on, untested.offset_d, weight)
    return DryForecast(batch, dry, untested, first.moisture_wb_frac, weight, None, first, particles)


def see_rate(
    batch: SpreadBatch,
    tests: Sequence[MoistureTest],
    rng: np.random.Generator,
    *,
    et0_mm: Floats,
    rain_mm: Floats,
    latitude_deg: float,
) -> SeenRate | None:
    """Ask the tests of a batch that is finished how fast its pad dried it.

    Parameters
    ----------
    batch : SpreadBatch
        With its past turns; its `rate` is the prior, and is taken out of the answer.
    tests : sequence of MoistureTest
        All of this spreading.
    rng : numpy.random.Generator
        Draws the particles.
    et0_mm, rain_mm : ndarray, shape (n_days,)
        Recorded from the day of spreading on; at least to the last test. [mm]
    latitude_deg : float
        North positive. [°]

    Returns
    -------
    SeenRate or None
        None where the tests told nothing of the rate, or contradict the model. [-]

    Notes
    -----
    Particles and weights as in `forecast_dry`; mean and spread of the weighed log rates, less the
    prior's share.

    Valid: a rate that tests can see: a layer tested only while it drains tells nothing.
    Checked: tests/schedules/sand/test_forecast.py::test_a_batch_of_known_rate_tells_it

    References
    ----------
    As `forecast_dry`; the normal form after the weights is an approximation.
    """
    many = np.ones((N_PARTICLES, 1))
    particles = _draw(batch, many * et0_mm, many * rain_mm, latitude_deg, rng)
    weight = _weights(_run(batch, particles, None), particles, batch, tests)
    if not tests or _effective(weight) < N_EFFECTIVE_MIN:
        return None
    mean = float(weight @ particles.log_rate)
    sd = float(np.sqrt(weight @ (particles.log_rate - mean) ** 2))
    return without_prior(mean, sd, batch.rate.log_mean, batch.rate.batch_log_sd)


def _draw(
    batch: SpreadBatch,
    et0_mm: Floats,
    rain_mm: Floats,
    latitude_deg: float,
    rng: np.random.Generator,
) -> Particles:
    """Draw what is not known; what falls outside of sand's is set to its edge."""
    n, n_days = et0_mm.shape
    layer = batch.layer
    edge = 0.05 * (layer.theta_sat_frac - layer.theta_wp_frac)
    capacity = layer.theta_fc_frac + batch.capacity_sd_frac * rng.standard_normal(n)
    rate_draws = rng.standard_normal((n,))
    start = _moistures(batch.moisture_wb_frac, batch.moisture_sd_frac, n, rng)
    sun = sun_shares(batch.spread_on, n_days, latitude_deg)
    storms = draw_storms((n, n_days), rng)
    return Particles(
        et0_mm=(et0_mm[:, :, None] * sun).reshape(n, -1),
        rain_mm=storms.hourly_mm(rain_mm).reshape(n, -1),
        start_wb_frac=start,
        capacity_frac=np.clip(capacity, layer.theta_wp_frac + edge, layer.theta_sat_frac - edge),
        log_rate=batch.rate.log_mean + batch.rate.batch_log_sd * rate_draws,
        sun=sun,
    )


def _moistures(mean: float, sd: float, n: int, rng: np.random.Generator) -> Floats:
    drawn: Floats = np.clip(mean + sd * rng.standard_normal(n), 0.001, 0.5)
    return drawn


def _run(batch: SpreadBatch, particles: Particles, restarted_on: date | None) -> DryingRun:
    """Follow the particles from the spreading on, or from the midnight after a restart."""
    start_step = batch.spread_h
    if restarted_on is not None:
        start_step = ((restarted_on - batch.spread_on).days + 1) * N_HOURS
    return simulate_drying(
        batch.layer,
        initial_moisture_wb_frac=particles.start_wb_frac,
        et0_mm=particles.et0_mm,
        rain_mm=particles.rain_mm,
        turning=batch.turning(particles.sun.shape[0]),
        theta_fc_frac=particles.capacity_frac,
        rate_frac=np.exp(particles.log_rate),
        step_h=1,
        start_step=start_step,
    )


def _judge(
    batch: SpreadBatch, particles: Particles, weight: Floats, restarted_on: date | None
) -> tuple[DryingRun, DateDistribution]:
    """Run, and find the dry days; of a restart from its day on, since before it was not dry."""
    run = _run(batch, particles, restarted_on)
    from_day = (restarted_on - batch.spread_on).days if restarted_on else 0
    dry_d = first_dry_day(run, batch.target, from_day)
    return run, DateDistribution(batch.spread_on, dry_d, weight)


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
    run: DryingRun, particles: Particles, batch: SpreadBatch, tests: Sequence[MoistureTest]
) -> Floats:
    log_weight = np.zeros(particles.start_wb_frac.size)
    for test in tests:
        depth_m = test.depth_m or batch.layer.thickness_m
        evenings = run.moisture_of_top_wb_frac(depth_m)
        index = (test.on - batch.spread_on).days
        morning = evenings[:, index - 1] if index else particles.start_wb_frac
        from_h = 0 if index else batch.spread_h
        passed = _passed_frac(particles.sun[index], from_h, test.at_h)
        expected = morning + passed * (evenings[:, index] - morning)
        log_weight -= ((test.moisture_wb_frac - expected) / test.sd_frac) ** 2 / 2
    unscaled = np.exp(log_weight - log_weight.max())
    weight: Floats = unscaled / unscaled.sum()
    return weight


def _passed_frac(sun: Floats, from_h: int, at_h: float) -> float:
    """Tell the share of a day's sun, from an hour on, that has passed by another."""
    hours = np.arange(N_HOURS)
    lit = sun * (hours >= from_h)
    whole = float(lit.sum())
    passed = float((lit * np.clip(at_h - hours, 0, 1)).sum())
    return passed / whole if whole > 0 else 0.0


def _effective(weight: Floats) -> float:
    return float(1 / (weight**2).sum())


def _restart(
    batch: SpreadBatch,
    test: MoistureTest,
    particles: Particles,
    believed: tuple[DryingRun, DateDistribution],
    rng: np.random.Generator,
) -> DryForecast:
    """Begin anew at the end of the test's day; until then what was believed before it stands."""
    first, untested = believed
    n_particles = particles.start_wb_frac.size
    index = (test.on - batch.spread_on).days
    measured = _moistures(test.moisture_wb_frac, test.sd_frac, n_particles, rng)
    anew = replace(particles, start_wb_frac=measured)
    run, dry = _judge(batch, anew, untested.weight, test.on)
    moisture = run.moisture_wb_frac
    moisture[:, :index] = first.moisture_wb_frac[:, :index]
    return DryForecast(batch, dry, untested, moisture, dry.weight, test.on, run, anew)
