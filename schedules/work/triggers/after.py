"""Work that falls due by other work: one for each work order it follows, at the same place."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator
from dataclasses import replace

from schedules.work.calc.drafts import Draft, Need
from schedules.work.calc.spans import Leader, Span, follower_span
from schedules.work.facts import Facts
from schedules.work.models import StandingOrder, WorkOrder

from .common import late_of, make_draft

KEY_MAX = 160
DIGEST = 32


def leader_of(row: WorkOrder) -> Leader:
    """The work order that goes first, as calc reads it."""
    return Leader(
        Span(row.starts_after, row.due_at), row.duration_min, row.started_at, row.ended_at
    )


def span_after(order: StandingOrder, leader: WorkOrder) -> Span:
    """Window of the work of a standing order that follows this work order."""
    rule = order.trigger_rule
    gap_min = rule.get("gap_min", 0)
    return follower_span(leader_of(leader), rule["relation"], gap_min, rule["window_min"])


def draft_after(
    order: StandingOrder, facts: Facts, leaders: Iterable[WorkOrder]
) -> Iterator[Draft]:
    """One for each work order that this one follows; `leaders` come with place and order."""
    rule = order.trigger_rule
    need = Need("", rule["relation"], rule.get("gap_min", 0), rule.get("gap_max_min"))
    for leader in leaders:
        yield make_draft(
            facts,
            order,
            leader.place,
            _tail(order, leader),
            span_after(order, leader),
            local_date=leader.local_date,
            late=late_of(order),
            needs=(replace(need, on_key=leader.natural_key),),
            visit_id=leader.visit_id,
            batch_id=leader.batch_id,
            for_machine_id=leader.for_machine_id,
        )


def _tail(order: StandingOrder, leader: WorkOrder) -> str:
    """What tells one turn from another: all of the leader's key but its standing order."""
    first = leader.standing_order
    tail = leader.natural_key.removeprefix(f"{first.key}/" if first else "")
    room = KEY_MAX - len(order.key) - 1
    if len(tail) <= room:
        return tail
    digest = hashlib.sha256(tail.encode()).hexdigest()[:DIGEST]
    return f"{tail[: room - DIGEST - 1]}~{digest}"
