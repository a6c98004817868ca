"""Forecasts of the batches on the pads, stored as they were reckoned."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta
from enum import StrEnum

import numpy as np
from django.db.models import QuerySet

from equipment.site.calc.local_time import local_date_of
from equipment.site.models import Site
from equipment.site.writes import site_write
from equipment.weather.calc.members import (
    BadSeriesError,
    NoPastWindowError,
    resample_years,
)
from equipment.weather.queries import climate_of, recorded_days, with_forecast

from .calc import pad
from .calc.dates import DateDistribution, PileRule, ready_dates
from .calc.forecast import DryForecast as Reckoned
from .calc.forecast import days_saved, forecast_dry
from .calc.rate import UNKNOWN_PAD, PadRate
from .learning import HORIZON_D, learn_rates, rates_of, score_forecasts
from .models import Batch, DryForecast, Stage
from .services import practice_of
from .yard import Yard, tests_of

N_DOTS = 20
QUANTILES = (0.1, 0.5, 0.9)
THIN_FRAC = 0.8  # of the farm's layer: as much sand then takes a quarter more ground


class Option(StrEnum):
    """What would buy days on a pad."""

    ONE_MORE_TURN = "one_more_turn"
    THINNER = "thinner"


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

    Learns first from what has finished: scores of old forecasts, rates of the bays. Needs at least
    one past year of weather; without it nothing is forecast, what was said before stays, and
    `why_none` tells the reason.
    """
    site = Site.objects.get(id=site_id)
    stored = 0
    with site_write(site_id, at) as write:
        score_forecasts(site, at)
        try:
            yard = _yard(site, at)
        except NoForecastError:
            return 0  # `why_none` tells the page
        learn_rates(yard)
        rates = rates_of(site_id)
        for batch in _drying(site_id):
            row = _forecast(yard, batch, rates.get(batch.place_id, UNKNOWN_PAD))
            if row is not None and _is_news(row):
                row.save()
                stored += 1
                write.change("batch.forecast", batch.pk)
    return stored


def why_none(site: Site, at: datetime) -> dict[int, WhyNone]:
    """Tell of each batch on a pad that cannot be forecast now, why: 3 queries."""
    found = {}
    for batch in _drying(site.pk):
        try:
            _pad_weather(_yard(site, at), batch)
        except NoForecastError as error:
            found[batch.pk] = error.why
    return found


def _drying(site_id: int) -> QuerySet[Batch]:
    return Batch.objects.filter(site_id=site_id, stage=Stage.DRYING, ended_at=None)


def _is_news(row: DryForecast) -> bool:
    last = DryForecast.objects.filter(batch_id=row.batch_id).order_by("-made_at", "-id").first()
    fields = ("dry_on_p10", "dry_on_p50", "dry_on_p90", "ready_on_p50", "dots", "detail")
    return last is None or any(getattr(last, f) != getattr(row, f) for f in fields)


def _yard(site: Site, at: datetime) -> Yard:
    """Read what all batches of a site share, once: 2 queries."""
    weather = list(recorded_days(site.pk, local_date_of(at, site.zone)))
    if not weather:
        raise NoForecastError(WhyNone.NO_WEATHER)
    try:
        climate = climate_of(weather)
    except BadSeriesError as error:
        raise NoForecastError(WhyNone.BAD_SERIES) from error
    return Yard(site, practice_of(site.pk), climate, at, weather[-1].et0_method)


def _forecast(yard: Yard, batch: Batch, rate: PadRate) -> DryForecast | None:
    try:
        on_pad = _pad_weather(yard, batch)
    except NoForecastError:
        return None
    tests = tests_of(yard, batch)
    reckoned = forecast_dry(yard.spread_batch(batch, rate), on_pad, tests, yard.random(batch))
    row = _row(yard, batch, reckoned)
    row.n_members, row.et0_method = on_pad.members.n_members, yard.et0_method
    row.detail |= {
        "n_days_filled": on_pad.n_filled,
        "n_tests": len(tests),
        "untested": _iso(reckoned.dry_untested),
        "rate_frac": [round(share, 3) for share in rate.range_frac()],
        "n_rate_batches": rate.n_batches,
        "options": _options(reckoned),
        **_moisture_tonight(reckoned, yard.today),
    }
    return row


def _pad_weather(yard: Yard, batch: Batch) -> pad.PadWeather:
    """Join what was recorded since spreading to members from the first unrecorded day on."""
    spread_on = yard.spread_on(batch)
    et0_mm, rain_mm = yard.observed(spread_on, yard.today)
    n_certain = pad.first_unknown(et0_mm, rain_mm)
    horizon_d = et0_mm.size - n_certain + HORIZON_D
    start_on = spread_on + timedelta(days=n_certain)
    try:
        past = resample_years(yard.climate, start_on, horizon_d, yard.random(batch))
    except NoPastWindowError as error:
        raise NoForecastError(WhyNone.NO_PAST_YEAR) from error
    members = with_forecast(yard.site.pk, past, yard.random(batch))
    return pad.PadWeather(et0_mm, rain_mm, members, yard.site.latitude_deg)


def _options(reckoned: Reckoned) -> list[dict[str, object]]:
    """What one more turn a day, and a thinner layer, would have bought this batch."""
    batch = reckoned.batch
    thin = replace(batch.layer, thickness_m=round(THIN_FRAC * batch.layer.thickness_m, 3))
    changed = {
        Option.ONE_MORE_TURN: replace(batch, planned_turns_d=batch.planned_turns_d + 1),
        Option.THINNER: replace(batch, layer=thin),
    }
    options: list[dict[str, object]] = []
    for code, other in changed.items():
        dry = reckoned.dry_if(other)
        saved_d = days_saved(reckoned.dry, dry, reckoned.run.zone_mm.shape[1])
        options.append(
            {
                "code": code.value,
                "turns_d": other.planned_turns_d,
                "thickness_m": other.layer.thickness_m,
                "dry_on": _iso(dry),
                "saved_d": [int(days) for days in saved_d],
            }
        )
    return options


def _iso(dates: DateDistribution) -> list[str]:
    return [on.isoformat() if on else "" for on in _three(dates)]


def _moisture_tonight(reckoned: Reckoned, today: date) -> dict[str, object]:
    """What the layer's mean moisture is expected to be by the end of today."""
    day = (today - reckoned.dry.origin_on).days
    low, likely, high = (round(float(reckoned.moisture_quantile(q)[day]), 4) for q in QUANTILES)
    return {"moisture_on": today.isoformat(), "moisture_wb_frac": [low, likely, high]}


def _row(yard: Yard, batch: Batch, reckoned: Reckoned) -> DryForecast:
    rule = PileRule(yard.practice.pile_close_d, batch.cure_d)
    ready = ready_dates(reckoned.dry, rule, opened_on=_open_pile_on(batch.site_id))
    dry_on, ready_on = _three(reckoned.dry), _three(ready)
    return DryForecast(
        site_id=batch.site_id,
        batch=batch,
        made_at=yard.at,
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
