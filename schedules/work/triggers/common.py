"""What the drafts of all triggers have in common."""

from __future__ import annotations

from datetime import date
from typing import Any

from equipment.site.models import Place
from schedules.work.amounts import amount_of
from schedules.work.calc.drafts import Draft, Late, Need
from schedules.work.calc.spans import Span
from schedules.work.facts import Facts, Measure
from schedules.work.models import LateRule, StandingOrder
from schedules.work.rules import minutes_for

NOTHING = Measure()


def late_of(order: StandingOrder) -> Late:
    """What a standing order itself says of late work."""
    return Late.EXTEND if order.late_rule == LateRule.RUN_ONCE else Late.MISS


def make_draft(
    facts: Facts,
    order: StandingOrder,
    place: Place,
    tail: str,
    span: Span,
    *,
    local_date: date,
    late: Late,
    key: str = "",
    series: str = "",
    needs: tuple[Need, ...] = (),
    is_standing: bool = False,
    dry_t: float = 0,
    service_item_min: float = 0,
    **values: Any,
) -> Draft:
    """Build the draft of a standing order at a place; `tail` ends its natural key."""
    measure = facts.measures.get(place.pk, NOTHING)
    n_stalls = measure.n_stalls if "per_stall_min" in order.duration else 0
    minutes = minutes_for(
        order.duration,
        n_stalls=measure.n_stalls,
        length_m=measure.length_m,
        area_m2=measure.area_m2,
        n_cows=measure.n_cows,
        dry_t=dry_t,
        n_people=order.n_people,
        service_item_min=service_item_min,
    )
    return Draft(
        key=key or f"{order.key}/{tail}",
        series=series or f"{order.key}/{place.key}",
        place_id=place.pk,
        local_date=local_date,
        span=span,
        late=late,
        n_stalls=n_stalls,
        needs=needs,
        is_standing=is_standing,
        values={
            "standing_order_id": order.pk,
            "title": order.title,
            "amount": amount_of(n_stalls),
            "duration_min": minutes,
            "skill": order.skill,
            "machine_kinds": order.machine_kinds,
            "n_people": order.n_people,
            "priority": order.priority,
            **values,
        },
    )
