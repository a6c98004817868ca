"""Ready sand that runs short before the next batch is ready."""

from __future__ import annotations

import math
from datetime import date, datetime, timedelta

import numpy as np

from equipment.site.calc.local_time import day_bounds, local_date_of, resolve
from equipment.site.queries import site_of
from schedules.outlook.supply import batches_ahead
from schedules.sand.forecasts import Option
from schedules.sand.models import Batch, DryForecast, Stage
from schedules.sand.queries import bedded_kg

from .calc.sand import Coming, Missed, first_missed
from .found import MORNING, Answer, Found
from .models import AlertKind, AnswerCode

LEAD_D = 7  # from order to sand where the farm does not say; common practice, no source
MOST_LESS_FRAC = 0.2  # beds kept with less are no answer; common practice, no source
SOON_D = 7  # what must be decided later than within a week is not told yet


def look_for_sand(site_id: int, now: datetime) -> list[Found]:
    """Find the first batch that misses the day it is needed, if that is to be decided within a
    week: about 12 queries. Sand bedded since midnight counts as there: the day's use takes it.
    """
    site = site_of(site_id)
    today = local_date_of(now, site.zone)
    ahead, batches, own = batches_ahead(site, now)
    use_kg = [float(kg) for kg in np.median(ahead.use_kg, axis=0)]
    coming = [Coming(one.batch_id, one.dry_kg, one.ready_d) for one in batches]
    morning_kg = ahead.opening_kg + bedded_kg(site_id, day_bounds(today, site.zone)[0], now)
    missed = first_missed(morning_kg, ahead.safety_kg, use_kg, coming)
    lead_d = LEAD_D if own.buy_lead_d is None else own.buy_lead_d
    if missed is None or missed.needed_d - lead_d > SOON_D or sum(use_kg) <= 0:
        return []
    batch = Batch.objects.filter(pk=missed.key).first() if missed.key else None
    decide_on = today + timedelta(days=max(missed.needed_d - lead_d, 0))
    return [
        Found(
            kind=AlertKind.SAND,
            subject=f"batch-{missed.key or 'none'}",
            place_id=batch.place_id if batch else None,
            due_at=resolve(datetime.combine(decide_on, MORNING), site.zone),
            facts={
                **_facts(missed, today, ahead.n_days),
                "number": batch.number if batch else None,
                "truck_kg": own.truck_kg,
                "lead_d": lead_d,
                "late_d": max(lead_d - missed.needed_d, 0),
            },
        )
    ]


def _facts(missed: Missed, today: date, n_days: int) -> dict[str, object]:
    """Write it in whole tonnes and per cents, so that it stays the same while nothing moves."""
    is_seen = missed.ready_d < n_days
    ready_on = today + timedelta(days=int(missed.ready_d)) if is_seen else None
    return {
        "batch": missed.key,
        "needed_on": (today + timedelta(days=missed.needed_d)).isoformat(),
        "ready_on": ready_on.isoformat() if ready_on else None,
        "gap_d": int(missed.ready_d) - missed.needed_d if is_seen else None,
        "short_kg": 1000 * math.ceil(missed.short_kg / 1000),
        "use_frac": round(missed.use_frac, 2),
    }


def answer_sand(_site_id: int, found: Found, _now: datetime) -> list[Answer]:
    """Buy what lacks; turn the layer more if that closes the gap; else bed with less: 1 query."""
    facts = found.facts
    buy = Answer(
        AnswerCode.BUY_SAND,
        {
            "n_trucks": math.ceil(facts["short_kg"] / facts["truck_kg"]),
            "mass_kg": facts["short_kg"],
            "order_by": found.due_at.isoformat(),
            "needed_on": facts["needed_on"],
            "late_d": facts["late_d"],
        },
    )
    less = Answer(
        AnswerCode.USE_LESS, {"use_frac": facts["use_frac"], "until_on": facts["ready_on"]}
    )
    return [buy, *_turn_more(found), *([less] if facts["use_frac"] <= MOST_LESS_FRAC else [])]


def _turn_more(found: Found) -> list[Answer]:
    """One more turn a day, where the newest forecast says that it saves the days that lack."""
    rows = DryForecast.objects.filter(batch_id=found.facts["batch"], batch__stage=Stage.DRYING)
    last = rows.order_by("-made_at", "-id").first()
    options = last.detail.get("options", []) if last and found.facts["gap_d"] else []
    return [
        Answer(
            AnswerCode.TURN_MORE, {"saved_d": option["saved_d"][1], "turns_d": option["turns_d"]}
        )
        for option in options
        if option["code"] == Option.ONE_MORE_TURN and option["saved_d"][1] >= found.facts["gap_d"]
    ]
