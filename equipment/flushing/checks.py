"""Whether each flush is what practice asks for, and what frost asks for: reads."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from equipment.weather.queries import recorded_days

from . import calc
from .lengths import flush_of
from .models import FlushTimer
from .queries import flush_water_of, read_timers


@dataclass(frozen=True, slots=True)
class FlushCheck:
    """One timer's flush as the equations have it, against practice."""

    timer: FlushTimer
    flush: calc.AlleyFlush
    shortfalls: tuple[calc.Shortfall, ...]
    regime: calc.Regime


def flush_checks(site_id: int) -> list[FlushCheck]:
    """Every timer in use against both practices: 1 query."""
    found = []
    for timer in read_timers(site_id):
        flush = flush_of(timer)
        shortfalls, regime = calc.find_shortfalls(flush), calc.regime_of(flush)
        found.append(FlushCheck(timer, flush, shortfalls, regime))
    return found


@dataclass(frozen=True, slots=True)
class Frost:
    """What the farm's rules ask for, by the lowest air of the last recorded day."""

    rule: calc.FrostRule
    limits: calc.FrostLimits
    on: date | None
    tmin_degc: float | None


def frost_of(site_id: int, before: date) -> Frost:
    """Go by the last day recorded before a date, as heat rest does: 2 queries.

    Without any record no rule is known to hold.
    """
    water = flush_water_of(site_id)
    limits = calc.FrostLimits(water.drain_below_degc, water.no_flush_below_degc)
    last = recorded_days(site_id, before).reverse().first()
    if last is None:
        return Frost(calc.FrostRule.NONE, limits, None, None)
    return Frost(calc.frost_rule(last.tmin_degc, limits), limits, last.on, last.tmin_degc)
