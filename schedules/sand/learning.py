"""What finished batches teach: how good their forecasts were, and how fast their bays dry."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np
from django.db.models import QuerySet

from equipment.site.calc.local_time import local_date_of
from equipment.site.calc.scores import crps, hit_share, rank_pit
from equipment.site.models import Site

from .calc.forecast import see_rate
from .calc.rate import UNKNOWN_PAD, PadRate, SeenRate, learn_rate
from .models import Batch, BatchStep, DryForecast, DryRate, DryScore, MoistureTest, Stage
from .services import practice_of
from .yard import Yard, tests_of

HORIZON_D = 60  # of a forecast; a date beyond it is scored as its end


def score_forecasts(site: Site, at: datetime) -> None:
    """Score the forecasts of batches that a person has told dry since; once each.

    Told is the day of the first test at or below the farm's target, else of the pick-up: neither is
    before the layer was dry. Forecasts made on that day or later foretold nothing.
    """
    zone, target_frac = site.zone, practice_of(site.pk).dry_moisture_wb_frac
    unscored = DryForecast.objects.filter(
        site=site, score=None, batch__steps__kind="picked_up", batch__ended_at__lte=at
    )
    told: dict[int, date] = {}
    rows = []
    for forecast in unscored.select_related("batch").distinct():
        if forecast.batch_id not in told:
            told[forecast.batch_id] = _told_dry_on(forecast.batch, target_frac, site)
        dry_on, made_on = told[forecast.batch_id], local_date_of(forecast.made_at, zone)
        if made_on < dry_on:
            rows.append(_score(forecast, dry_on, made_on))
    DryScore.objects.bulk_create(rows)


def _told_dry_on(batch: Batch, target_frac: float, site: Site) -> date:
    first = (
        MoistureTest.objects.filter(
            batch=batch, taken_at__gte=batch.stage_since, moisture_wb_frac__lte=target_frac
        )
        .order_by("taken_at")
        .first()
    )
    assert batch.ended_at is not None
    return local_date_of(first.taken_at if first else batch.ended_at, site.zone)


def _score(forecast: DryForecast, dry_on: date, made_on: date) -> DryScore:
    """Put a date beyond the horizon at its end, on both sides."""
    last = made_on + timedelta(days=HORIZON_D)
    days = np.array(
        [(date.fromisoformat(dot) if dot else last).toordinal() for dot in forecast.dots]
    )
    truth = float(min(dry_on, last).toordinal())
    return DryScore(
        site_id=forecast.site_id,
        forecast=forecast,
        dry_on=dry_on,
        crps_d=crps(days.astype(float), truth),
        pit=rank_pit(days.astype(float), truth, np.random.default_rng(forecast.pk)),
    )


@dataclass(frozen=True, slots=True)
class DryRecord:
    """How good the forecasts of a site have been."""

    n_forecasts: int
    n_batches: int
    crps_d: float
    hit_share: float


def dry_record(site_id: int) -> DryRecord | None:
    """Sum up the scores of a site; None before there is one: 1 query."""
    scores = list(
        DryScore.objects.filter(site_id=site_id).values_list("forecast__batch", "crps_d", "pit")
    )
    if not scores:
        return None
    batches, crps_d, pits = zip(*scores, strict=True)
    return DryRecord(
        n_forecasts=len(scores),
        n_batches=len(set(batches)),
        crps_d=float(np.mean(crps_d)),
        hit_share=hit_share(np.array(pits)),
    )


def learn_rates(yard: Yard) -> None:
    """Ask each batch that has left its bay since, once, how fast it dried there."""
    rows = []
    for batch in _finished(yard.site.pk):
        spread = BatchStep.objects.filter(batch=batch, kind="spread").order_by("at").last()
        if spread is None or spread.place_id is None:
            continue
        seen = _see(yard, batch)
        rows.append(
            DryRate(
                site=yard.site,
                batch=batch,
                bay_id=spread.place_id,
                log_rate=seen.log_rate if seen else None,
                log_sd=seen.log_sd if seen else None,
            )
        )
    DryRate.objects.bulk_create(rows)


def _finished(site_id: int) -> QuerySet[Batch]:
    return Batch.objects.filter(
        site_id=site_id, stage=Stage.DRYING, ended_at__isnull=False, rate=None
    ).order_by("pk")


def _see(yard: Yard, batch: Batch) -> SeenRate | None:
    """Ask a batch of which tests, weather and work are all on record; any other tells nothing."""
    tests = tests_of(yard, batch)
    if not tests:
        return None
    spread_on, until = yard.spread_on(batch), tests[-1].on + timedelta(days=1)
    et0_mm, rain_mm = yard.observed(spread_on, until)
    spread = yard.spread_batch(batch, UNKNOWN_PAD, until)
    is_worked = sum(spread.past_turns) > 0 or spread.planned_turns_d == 0
    if np.isnan(et0_mm).any() or np.isnan(rain_mm).any() or not is_worked:
        return None
    return see_rate(
        spread,
        tests,
        np.random.default_rng(batch.pk),
        et0_mm=et0_mm,
        rain_mm=rain_mm,
        latitude_deg=yard.site.latitude_deg,
    )


def rates_of(site_id: int) -> dict[int | None, PadRate]:
    """Give what each bay's batches have taught, by the bay's place: 1 query."""
    seen: dict[int | None, list[SeenRate]] = {}
    told = DryRate.objects.filter(site_id=site_id, log_sd__isnull=False).order_by("pk")
    for bay_id, log_rate, log_sd in told.values_list("bay_id", "log_rate", "log_sd"):
        seen.setdefault(bay_id, []).append(SeenRate(log_rate or 0.0, log_sd or 0.0))
    return {bay_id: learn_rate(batches) for bay_id, batches in seen.items()}
