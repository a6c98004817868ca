"""Work that falls due at a pen's visit to the parlor."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

from equipment.site.models import Place, PlaceKind
from schedules.rounds.models import BedWindow, Milking, PenVisit
from schedules.work.calc.drafts import Draft, Late
from schedules.work.calc.spans import Span, at_least
from schedules.work.facts import Facts
from schedules.work.models import StandingOrder
from schedules.work.rules import WEEKDAYS

from .common import make_draft


def draft_pen_visit(order: StandingOrder, facts: Facts) -> Iterator[Draft]:
    """One for each visit and place, known by the milking's local date and slot.

    What brings sand into a pen takes it from the batch that goes next; without one there is none.
    """
    rule = order.trigger_rule
    sand = _sand_for(rule, facts)
    if sand is None:
        return
    for place in facts.places_of(order):
        for visit in facts.visits_of_pen.get(facts.pen_of.get(place.pk, 0), []):
            milking = visit.milking
            if not _is_asked(rule, milking):
                continue
            windows = _windows(place, visit, facts)
            span = visit_span(rule, visit, windows, place.kind)
            if sand:
                span = _ahead_of_cows(span, visit, windows)
            yield make_draft(
                facts,
                order,
                place,
                f"{place.key}/{milking.local_date}/{milking.slot}",
                span,
                local_date=milking.local_date,
                late=Late.EXPIRE,
                visit_id=visit.pk,
                **sand,
            )


def _is_asked(rule: dict[str, Any], milking: Milking) -> bool:
    """Whether the rule is for a milking of that number and local weekday."""
    day = WEEKDAYS[milking.local_date.weekday()]
    return milking.slot in rule.get("milkings", [milking.slot]) and day in rule.get(
        "weekdays", WEEKDAYS
    )


def _sand_for(rule: dict[str, Any], facts: Facts) -> dict[str, Any] | None:
    """Batch and step of work that beds a pen; nothing for other work, None where no sand is."""
    if "step" not in rule:
        return {}
    batch = facts.oldest_released
    return {"batch_id": batch.pk, "batch_step": rule["step"]} if batch else None


def _ahead_of_cows(span: Span, visit: PenVisit, windows: list[BedWindow]) -> Span:
    """End early enough that a machine that drives the whole pen is out before its first cow.

    A row behind an inner gate stays open longer, but the way to it leads past the cows. The time
    kept free before rows close is kept free here too.
    """
    kept = max((w.closes_at - w.usable_until for w in windows), default=timedelta(0))
    return at_least(span.start, min(span.end, visit.first_back_at - kept))


def _windows(place: Place, visit: PenVisit, facts: Facts) -> list[BedWindow]:
    """Bed windows that bound work at a place: its own, its alley's, or all of the pen."""
    by_bed = facts.windows_of_visit.get(visit.pk, {})
    if place.kind == PlaceKind.BED_GROUP:
        return [by_bed[place.pk]] if place.pk in by_bed else []
    beds = facts.beds_on_alley.get(place.pk, []) if place.kind == PlaceKind.ALLEY else []
    return [by_bed[pk] for pk in beds if pk in by_bed] or list(by_bed.values())


def visit_span(
    rule: dict[str, float | str], visit: PenVisit, windows: list[BedWindow], kind: str
) -> Span:
    """Window of work at a visit. One that never opens lasts a minute: too short to plan.

    Work in an alley needs all rows along it empty; work in a pen goes from row to row.
    """
    length = timedelta(minutes=float(rule.get("length_min", 0)))
    whole = {
        "before": (visit.called_at - length, visit.called_at),
        "gate": (visit.first_back_at - length, visit.first_back_at),
        "after": (visit.last_back_at, visit.last_back_at + length),
        "away": (visit.first_out_at, visit.last_back_at),
    }.get(str(rule["within"]))
    if whole is not None:
        return at_least(*whole)
    spans = [
        (w.usable_from, w.usable_until) if rule["within"] == "usable" else (w.opens_at, w.closes_at)
        for w in windows
    ]
    if not spans:
        return at_least(visit.last_out_at, visit.first_back_at)
    return _common(spans) if kind == PlaceKind.ALLEY else _envelope(spans)


def _envelope(spans: list[tuple[datetime, datetime]]) -> Span:
    """From the first opening to the last closing, of those that open at all."""
    spans = [span for span in spans if span[1] > span[0]] or spans
    return at_least(min(start for start, _ in spans), max(end for _, end in spans))


def _common(spans: list[tuple[datetime, datetime]]) -> Span:
    """From the last opening to the first closing, also of those that never open: cows are there."""
    return at_least(max(start for start, _ in spans), min(end for _, end in spans))
