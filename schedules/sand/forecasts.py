"""Forecasts of the batches on the pads, stored as they were reckoned."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import date, datetime, timedelta
from enum import StrEnum

import numpy as np
from django.db.models import QuerySet

from equipment.sandyard.models import SandPractice
from equipment.site.calc.local_time import local_date_of
from equipment.site.models import Site
from equipment.site.writes import site_write
from equipment.weather.calc.members import ClimateHistory, WeatherMembers, resample_years
from equipment.weather.models import WeatherDay
from equipment.weather.queries import recorded_days

from .calc import pad
from .calc.dates import DateDistribution, PileRule, ready_dates
from .calc.drying import DryTarget
from .calc.forecast import DryForecast as Reckoned
from .calc.forecast import forecast_dry
from .calc.layer import Floats, Layer, drained_moisture_wb_frac
from .models import Batch, BatchStep, DryForecast, MoistureTest, Stage
from .services import practice_of

HORIZON_D = 60
N_DOTS = 20
QUANTILES = (0.1, 0.5, 0.9)


def layer_of(practice: SandPractice) -> Layer:
    """Give the farm's layer on a pad from its settings."""
    return Layer(
        thickness_m=practice.layer_depth_m,
        dry_bulk_density_kg_m3=practice.bulk_density_kg_m3,
        theta_fc_frac=practice.field_capacity_frac,
        theta_wp_frac=practice.wilting_point_frac,
        evaporation_depth_m=practice.evaporation_depth_m,
        rew_mm=practice.rew_mm,
        kc_bare=practice.pad_kc,
    )


class WhyNone(StrEnum):
    """Why a batch on a pad has no forecast."""

    NO_WEATHER = "no_weather"
    NO_PAST_YEAR = "no_past_year"  # not one past year has all of these days
    BAD_SERIES = "bad_series"


class NoForecastError(Exception):
    """That nothing can be forecast, and nothing is invented."""

    def __init__(self, why: WhyNone) -> None:
        super().__init__(why)
        self.why = why


def forecast_all(*, site_id: int, at: datetime) -> int:
    """Forecast every batch on a pad; stores those that have news. Gives how many were stored.

    Needs at least one past year of weather; without it nothing is forecast, what was said before
    stays, and `why_none` tells the reason.
    """
    site = Site.objects.get(id=site_id)
    weather = _recorded(site, at)
    stored = 0
    with site_write(site_id, at) as write:
        for batch in _drying(site_id):
            row = _forecast(site, batch, weather, at)
            if row is not None and _is_news(row):
                row.save()
                stored += 1
                write.change("batch.forecast", batch.pk)
    return stored


def why_none(site: Site, at: datetime) -> dict[int, WhyNone]:
    """Tell of each batch on a pad that cannot be forecast now, why: 2 queries."""
    weather, found = _recorded(site, at), {}
    for batch in _drying(site.pk):
        try:
            _pad_weather(site, batch, weather, at, _random(site, batch, at))
        except NoForecastError as error:
            found[batch.pk] = error.why
    return found


def _recorded(site: Site, at: datetime) -> list[WeatherDay]:
    return list(recorded_days(site.pk, local_date_of(at, site.zone)))


def _drying(site_id: int) -> QuerySet[Batch]:
    return Batch.objects.filter(site_id=site_id, stage=Stage.DRYING, ended_at=None)


def _is_news(row: DryForecast) -> bool:
    last = DryForecast.objects.filter(batch_id=row.batch_id).order_by("-made_at", "-id").first()
    fields = ("dry_on_p10", "dry_on_p50", "dry_on_p90", "ready_on_p50", "dots", "detail")
    return last is None or any(getattr(last, f) != getattr(row, f) for f in fields)


def _forecast(
    site: Site, batch: Batch, weather: Sequence[WeatherDay], at: datetime
) -> DryForecast | None:
    practice = practice_of(site.pk)
    today = local_date_of(at, site.zone)
    spread_on = local_date_of(batch.stage_since, site.zone)
    rng = _random(site, batch, at)
    try:
        on_pad = _pad_weather(site, batch, weather, at, rng)
    except NoForecastError:
        return None  # `why_none` tells the page
    reckoned = forecast_dry(
        _spread_batch(batch, practice, spread_on, today, site),
        on_pad,
        _tests(batch, spread_on, site),
        rng,
    )
    row = _row(batch, practice, reckoned, at)
    row.n_members, row.et0_method = on_pad.members.n_members, weather[-1].et0_method
    row.detail |= {"n_days_filled": on_pad.n_filled, **_moisture_tonight(reckoned, today)}
    return row


def _random(site: Site, batch: Batch, at: datetime) -> np.random.Generator:
    """Draw the same all day, so that only news changes a forecast."""
    return np.random.default_rng([batch.pk, local_date_of(at, site.zone).toordinal()])


def _pad_weather(
    site: Site,
    batch: Batch,
    weather: Sequence[WeatherDay],
    at: datetime,
    rng: np.random.Generator,
) -> pad.PadWeather:
    """Join what was recorded since spreading to members from the first unrecorded day on."""
    if not weather:
        raise NoForecastError(WhyNone.NO_WEATHER)
    today = local_date_of(at, site.zone)
    spread_on = local_date_of(batch.stage_since, site.zone)
    et0_mm, rain_mm = _observed(weather, spread_on, today)
    n_certain = pad.first_unknown(et0_mm, rain_mm)
    members = _members(
        _climate(weather),
        spread_on + timedelta(days=n_certain),
        et0_mm.size - n_certain + HORIZON_D,
        rng,
    )
    return pad.PadWeather(et0_mm, rain_mm, members)


def _climate(weather: Sequence[WeatherDay]) -> ClimateHistory:
    try:
        return ClimateHistory(
            np.array([d.on for d in weather], dtype="datetime64[D]"),
            np.array([d.et0_mm for d in weather]),
            np.array([d.rain_mm for d in weather]),
        )
    except ValueError as error:
        raise NoForecastError(WhyNone.BAD_SERIES) from error


def _members(
    climate: ClimateHistory, start_on: date, horizon_d: int, rng: np.random.Generator
) -> WeatherMembers:
    try:
        return resample_years(climate, start_on, horizon_d, rng)
    except ValueError as error:
        raise NoForecastError(WhyNone.NO_PAST_YEAR) from error


def _moisture_tonight(reckoned: Reckoned, today: date) -> dict[str, object]:
    """What the layer's mean moisture is expected to be by the end of today."""
    day = (today - reckoned.dry.origin_on).days
    low, likely, high = (round(float(reckoned.moisture_quantile(q)[day]), 4) for q in QUANTILES)
    return {"moisture_on": today.isoformat(), "moisture_wb_frac": [low, likely, high]}


def _spread_batch(
    batch: Batch, practice: SandPractice, spread_on: date, today: date, site: Site
) -> pad.SpreadBatch:
    layer = layer_of(practice)
    turns = Counter(
        local_date_of(step.at, site.zone)
        for step in BatchStep.objects.filter(batch=batch, kind="turned", at__gte=batch.stage_since)
    )
    past = tuple(turns[spread_on + timedelta(days=k)] for k in range((today - spread_on).days))
    return pad.SpreadBatch(
        layer=layer,
        target=DryTarget(practice.dry_moisture_wb_frac, practice.dry_hold_d),
        spread_on=spread_on,
        moisture_wb_frac=_moisture_as_spread(batch, practice, layer),
        past_turns=past,
        planned_turns_d=round(practice.turns_per_d),
        turned_depth_m=practice.turned_depth_m,
    )


def _moisture_as_spread(batch: Batch, practice: SandPractice, layer: Layer) -> float:
    """Give what is left of the scooped moisture after draining on the slab."""
    drained_h = (batch.stage_since - (batch.closed_at or batch.opened_at)).total_seconds() / 3600
    return drained_moisture_wb_frac(layer, practice.scooped_moisture_wb_frac, max(drained_h, 0.0))


def _tests(batch: Batch, spread_on: date, site: Site) -> list[pad.MoistureTest]:
    rows = MoistureTest.objects.filter(batch=batch, taken_at__gte=batch.stage_since)
    return [
        pad.MoistureTest(
            local_date_of(row.taken_at, site.zone), row.moisture_wb_frac, row.n_spots, row.depth_m
        )
        for row in rows.order_by("taken_at")
    ]


def _observed(weather: Sequence[WeatherDay], spread_on: date, today: date) -> tuple[Floats, Floats]:
    """Give ET0 and rain of the days from spreading to yesterday; NaN where nobody recorded one."""
    by_day = {d.on: (d.et0_mm, d.rain_mm) for d in weather}
    days = [spread_on + timedelta(days=n) for n in range((today - spread_on).days)]
    rows = np.array([by_day.get(on, (np.nan, np.nan)) for on in days]).reshape(-1, 2)
    return rows[:, 0], rows[:, 1]


def _row(batch: Batch, practice: SandPractice, reckoned: Reckoned, at: datetime) -> DryForecast:
    rule = PileRule(practice.pile_close_d, batch.cure_d)
    ready = ready_dates(reckoned.dry, rule, opened_on=_open_pile_on(batch.site_id))
    dry_on, ready_on = _three(reckoned.dry), _three(ready)
    return DryForecast(
        site_id=batch.site_id,
        batch=batch,
        made_at=at,
        dry_on_p10=dry_on[0],
        dry_on_p50=dry_on[1],
        dry_on_p90=dry_on[2],
        ready_on_p10=ready_on[0],
        ready_on_p50=ready_on[1],
        ready_on_p90=ready_on[2],
        dots=[dot.isoformat() if dot else "" for dot in reckoned.dry.dots(N_DOTS)],
        detail={
            "n_effective": round(reckoned.n_effective, 1),
            "restarted_on": reckoned.restarted_on.isoformat() if reckoned.restarted_on else None,
            "imbalance_mm": float(np.abs(reckoned.run.imbalance_mm).max()),
        },
    )


def _open_pile_on(site_id: int) -> date | None:
    """Give the local date on which the pile that still takes sand was begun."""
    pile = (
        Batch.objects.filter(site_id=site_id, stage=Stage.CURING, closed_at=None, ended_at=None)
        .select_related("site")
        .order_by("opened_at")
        .last()
    )
    return local_date_of(pile.opened_at, pile.site.zone) if pile else None


def _three(dates: DateDistribution) -> tuple[date | None, date | None, date | None]:
    low, likely, high = (dates.quantile(q) for q in QUANTILES)
    return low, likely, high
