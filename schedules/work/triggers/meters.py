"""Services that fall due by a machine's meter or its calendar."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta

from equipment.machines.models import Machine
from equipment.machines.queries import ItemDue
from equipment.site.calc.local_time import day_bounds
from schedules.work.calc.drafts import Draft, Late
from schedules.work.calc.spans import Span
from schedules.work.facts import Facts
from schedules.work.models import StandingOrder

from .common import make_draft


def draft_meter(order: StandingOrder, facts: Facts) -> Iterator[Draft]:
    """One for each machine, service item and cycle that is due within so many days.

    It is made so early, and no earlier: the date still moves with each reading. The machine
    stands still for it, so that no other machine is asked for.
    """
    rule = order.trigger_rule
    kinds, items = rule.get("machine_kinds"), rule.get("service_items")
    before = timedelta(days=rule["due_within_d"])
    for view in facts.machines:
        if kinds is not None and view.machine.kind not in kinds:
            continue
        for one in view.dues:
            on = one.due.due_on
            wanted = items is None or one.item.key in items
            if on is not None and wanted and on - before <= facts.today:
                yield _draft(order, facts, view.machine, one, (on - before, on))


def _draft(
    order: StandingOrder, facts: Facts, machine: Machine, one: ItemDue, days: tuple[date, date]
) -> Draft:
    first, on = days
    item, cycle = one.item, one.due.cycle
    key = f"{machine.key}/{item.key}"
    return make_draft(
        facts,
        order,
        machine.home,
        "",
        Span(day_bounds(first, facts.zone)[0], day_bounds(on, facts.zone)[1]),
        key=f"{key}/{cycle}",
        series=key,
        local_date=on,
        late=Late.EXTEND,
        is_standing=True,
        service_item_min=item.duration_min,
        title=item.title or order.title,
        skill=item.skill or order.skill,
        machine_kinds=[],
        for_machine_id=machine.pk,
        service_item_id=item.pk,
        cycle=cycle,
    )
