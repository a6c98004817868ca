"""Work that falls due by the calendar, by hours since it was last done, or by the weather."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

from equipment.site.calc.local_time import local_date_of, resolve
from equipment.site.calc.recurrence import elapsed_dues
from schedules.work.calc.drafts import Draft
from schedules.work.calc.spans import lasting
from schedules.work.facts import Facts, Turn
from schedules.work.models import StandingOrder
from schedules.work.rules import read_clock

from .common import late_of, make_draft

DAYS_LATER = {"rain_mm": 1}  # rain is read in the morning after; heat and frost are forecast


def draft_calendar(order: StandingOrder, facts: Facts) -> Iterator[Draft]:
    """One for each instance and place, known by its local date and place in the day."""
    rule, late = order.trigger_rule, late_of(order)
    found = facts.expand(rule, facts.since(order))
    for place in facts.places_of(order):
        for one in found:
            tail = f"{place.key}/{one.local_date}/{one.slot}"
            span = lasting(one.at, h=rule["window_h"])
            yield make_draft(facts, order, place, tail, span, local_date=one.local_date, late=late)


def draft_hours_since(order: StandingOrder, facts: Facts) -> Iterator[Draft]:
    """The next turn at each place and those foreseen after it, known by their number."""
    rule, late = order.trigger_rule, late_of(order)
    for place in facts.places_of(order):
        turn = facts.turns.get((order.pk, place.pk), Turn())
        dues = elapsed_dues(
            every_h=rule["hours"],
            last_done_at=_counted_from(turn, rule["hours"], facts.now),
            n_done=turn.n_closed,
            now=_next_full_hour(facts.now),
            before=facts.until,
        )
        for due in dues:
            span = lasting(due.at, h=rule["window_h"])
            day = local_date_of(due.at, facts.zone)
            tail = f"{place.key}/{due.cycle}"
            yield make_draft(
                facts,
                order,
                place,
                tail,
                span,
                local_date=day,
                late=late,
                is_standing=True,
                cycle=due.cycle,
            )


def _counted_from(turn: Turn, hours: float, now: datetime) -> datetime:
    """What was never done is due when the farm first asked for it."""
    if turn.base_at is not None:
        return turn.base_at
    return (turn.open_since or now) - timedelta(hours=hours)


def _next_full_hour(now: datetime) -> datetime:
    """Turns foreseen after an overdue one move once an hour, not with every look at the clock."""
    return now.replace(minute=0, second=0, microsecond=0) + timedelta(hours=1)


def draft_weather(order: StandingOrder, facts: Facts) -> Iterator[Draft]:
    """One for each day whose weather passes the threshold, and place."""
    rule, late = order.trigger_rule, late_of(order)
    later = timedelta(days=rule.get("days_later", DAYS_LATER.get(rule["measure"], 0)))
    days = sorted({day.on for day in facts.weather if _passes(rule, getattr(day, rule["measure"]))})
    since = facts.since(order)
    for on in days:
        at = resolve(datetime.combine(on + later, read_clock(rule["at_local"])), facts.zone)
        if not since <= at < facts.until:
            continue
        span = lasting(at, h=rule["window_h"])
        for place in facts.places_of(order):
            tail = f"{place.key}/{on}"
            yield make_draft(facts, order, place, tail, span, local_date=on + later, late=late)


def _passes(rule: dict[str, float], value: float) -> bool:
    return value >= rule["at_least"] if "at_least" in rule else value <= rule["at_most"]
