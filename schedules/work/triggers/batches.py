"""Work that falls due by the stage a batch of sand is in."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any

from equipment.site.calc.local_time import local_date_of, resolve
from schedules.sand.models import Batch, Stage
from schedules.work.calc.drafts import Draft, Late, Need
from schedules.work.calc.spans import Span, day_spans, lasting
from schedules.work.facts import Facts
from schedules.work.models import StandingOrder
from schedules.work.rules import read_clock

from .common import late_of, make_draft

Found = tuple[int, date, Span]  # n-th, local date, window
MORNING = "07:00"  # when a step falls due whose rule names a day and no hour


NEEDS = {"piled": "tested"}  # a layer is picked up on a test, not on a forecast


def chain_steps(drafts: Iterable[Draft]) -> Iterator[Draft]:
    """Let a batch's steps wait on those that must come before them (work-catalogue 2c)."""
    drafts = list(drafts)
    keys = {(d.values["batch_id"], d.values["batch_step"]): d.key for d in drafts}
    for draft in drafts:
        first = NEEDS.get(draft.values["batch_step"], "")
        on_key = keys.get((draft.values["batch_id"], first))
        yield replace(draft, needs=(Need(on_key, "FINISHTOSTART"),)) if on_key else draft


def draft_batch_stage(order: StandingOrder, facts: Facts) -> Iterator[Draft]:
    """The step that each batch in the stage waits for, or its turns, known by their number."""
    rule = order.trigger_rule
    find = _turns if "times_per_d" in rule else _step
    for batch in _waiting(rule, facts):
        for found in find(order, batch, facts):
            yield _draft(order, batch, facts, found)


def _waiting(rule: dict[str, Any], facts: Facts) -> list[Batch]:
    """Batches in the stage that the step is for, and not past it.

    A draining batch or a pile that is still being filled has not begun its hours or its days: it
    waits for nothing but to be closed.
    """
    step = rule["step"]
    if rule["stage"] == Stage.RELEASED:  # the oldest goes first, the next one after it
        return [facts.oldest_released] if facts.oldest_released else []
    batches = [
        batch
        for batch in facts.batches
        if batch.stage == rule["stage"] and _is_filling(batch) == (step == "pile_closed")
    ]
    if step == "tested":
        return [batch for batch in batches if not _is_dry_by_test(batch, facts)]
    return batches


def _is_filling(batch: Batch) -> bool:
    return batch.closed_at is None and batch.stage in (Stage.DRAINING, Stage.CURING)


def _is_dry_by_test(batch: Batch, facts: Facts) -> bool:
    tests = facts.tests[batch.pk]
    return bool(tests) and tests[-1].moisture_wb_frac <= facts.practice.dry_moisture_wb_frac


def _number(rule: dict[str, Any], batch: Batch, facts: Facts) -> int:
    """Which time a single step is: only a test is done again in the same stage."""
    return len(facts.tests[batch.pk]) + 1 if rule["step"] == "tested" else 1


def _draft(order: StandingOrder, batch: Batch, facts: Facts, found: Found) -> Draft:
    number, day, span = found
    is_turn = "times_per_d" in order.trigger_rule
    assert batch.place is not None  # the query asks for it
    return make_draft(
        facts,
        order,
        batch.place,
        f"batch-{batch.number}/{number}",
        span,
        local_date=day,
        late=late_of(order) if is_turn else Late.EXTEND,
        series=f"{order.key}/batch-{batch.number}",
        is_standing=not is_turn,
        dry_t=facts.batch_dry_t[batch.pk],
        batch_id=batch.pk,
        batch_step=order.trigger_rule["step"],
    )


def _step(order: StandingOrder, batch: Batch, facts: Facts) -> Iterator[Found]:
    rule = order.trigger_rule
    at = _step_at(rule, batch, facts)
    if at is not None and at < facts.until:
        number = _number(rule, batch, facts)
        yield number, local_date_of(at, facts.zone), lasting(at, h=rule["window_h"])


def _step_at(rule: dict[str, Any], batch: Batch, facts: Facts) -> datetime | None:
    if "after_h" in rule:
        return batch.stage_since + timedelta(hours=rule["after_h"])
    on = _step_on(rule, batch, facts)
    if on is None:
        return None
    clock = read_clock(rule.get("at_local", MORNING))
    return max(batch.stage_since, resolve(datetime.combine(on, clock), facts.zone))


def _step_on(rule: dict[str, Any], batch: Batch, facts: Facts) -> date | None:
    if "after_d" in rule:
        since = local_date_of(batch.stage_since, facts.zone)
        return since + timedelta(days=rule["after_d"])
    forecast = facts.forecasts.get(batch.pk)
    if rule["when"] == "dry":
        return forecast.dry_on_p50 if forecast else None
    return batch.ready_on or (forecast.ready_on_p50 if forecast else None)


def _turns(order: StandingOrder, batch: Batch, facts: Facts) -> Iterator[Found]:
    """So many a day from the stage's start until it is expected to end."""
    rule = order.trigger_rule
    first = local_date_of(batch.stage_since, facts.zone)
    day = max(first, local_date_of(facts.since(order), facts.zone))
    last = _last_day(batch, facts)
    hours = read_clock(rule["from_local"]), read_clock(rule["until_local"])
    while day <= last:
        spans = day_spans(day, rule["times_per_d"], *hours, facts.zone)
        for slot, span in enumerate(spans):
            if span.start >= batch.stage_since:
                yield (day - first).days * rule["times_per_d"] + slot + 1, day, span
        day += timedelta(days=1)


def _last_day(batch: Batch, facts: Facts) -> date:
    forecast = facts.forecasts.get(batch.pk)
    horizon = local_date_of(facts.until, facts.zone)
    if forecast is None or forecast.dry_on_p50 is None or batch.stage != "drying":
        return horizon
    return min(horizon, max(forecast.dry_on_p50, facts.today))
