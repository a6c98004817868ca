"""Work that falls due at a pen's visit to the parlor."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

from equipment.site.models import Place, PlaceKind
from schedules.rounds.models import BedWindow, PenVisit
from schedules.work.calc.drafts import Draft, Late
from schedules.work.calc.spans import Span, at_least
from schedules.work.facts import Facts
from schedules.work.models import StandingOrder

from .common import make_draft


def draft_pen_visit(order: StandingOrder, facts: Facts) -> Iterator[Draft]:
    """One for each visit and place, known by the milking's local date and slot."""
    rule = order.trigger_rule
    slots = rule.get("milkings")
    for place in facts.places_of(order):
        for visit in facts.visits_of_pen.get(facts.pen_of.get(place.pk, 0), []):
            milking = visit.milking
            if slots is not None and milking.slot not in slots:
                continue
            span = visit_span(rule, visit, _windows(place, visit, facts))
            yield make_draft(
                facts,
                order,
                place,
                f"{place.key}/{milking.local_date}/{milking.slot}",
                span,
                local_date=milking.local_date,
                late=Late.EXPIRE,
                visit_id=visit.pk,
            )


def _windows(place: Place, visit: PenVisit, facts: Facts) -> list[BedWindow]:
    """Bed windows that bound work at a place: its own, its alley's, or all of the pen."""
    by_bed = facts.windows_of_visit.get(visit.pk, {})
    if place.kind == PlaceKind.BED_GROUP:
        return [by_bed[place.pk]] if place.pk in by_bed else []
    beds = facts.beds_on_alley.get(place.pk, []) if place.kind == PlaceKind.ALLEY else []
    return [by_bed[pk] for pk in beds if pk in by_bed] or list(by_bed.values())


def visit_span(rule: dict[str, float | str], visit: PenVisit, windows: list[BedWindow]) -> Span:
    """Window of work at a visit. One that never opens lasts a minute: too short to plan."""
    within, length = rule["within"], timedelta(minutes=float(rule.get("length_min", 0)))
    if within == "before":
        return at_least(visit.called_at - length, visit.called_at)
    if within == "after":
        return at_least(visit.last_back_at, visit.last_back_at + length)
    if within == "away":
        return at_least(visit.first_out_at, visit.last_back_at)
    if within == "usable" and windows:
        return _envelope([(w.usable_from, w.usable_until) for w in windows])
    if windows:
        return _envelope([(w.opens_at, w.closes_at) for w in windows])
    return at_least(visit.last_out_at, visit.first_back_at)


def _envelope(spans: list[tuple[datetime, datetime]]) -> Span:
    """From the first opening to the last closing, of those that open at all."""
    spans = [span for span in spans if span[1] > span[0]] or spans
    return at_least(min(start for start, _ in spans), max(end for _, end in spans))
