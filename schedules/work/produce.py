"""Standing orders -> work orders: each exactly once, moved or taken back when its cause does."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator
from datetime import datetime, timedelta

from django.db.models import Min

from equipment.site.models import ChangeCursor, Site
from equipment.site.writes import site_write

from .calc.drafts import REST, Draft
from .closing import close_recorded
from .facts import Facts
from .models import StandingOrder, Status, Trigger, WorkOrder
from .reconcile import Counts, Reconciler
from .triggers import draft_all
from .triggers.after import draft_after

CONSUMER = "work"
DAYS_AHEAD = 14  # work orders are made so far ahead


def materialise(
    *,
    site_id: int,
    now: datetime,
    days: int = DAYS_AHEAD,
    triggers: Collection[str] | None = None,
    standing_order_ids: Collection[int] | None = None,
) -> Counts:
    """Make, move and take back work orders until `days` from now; a few dozen queries.

    `triggers` or `standing_order_ids` narrow it to some standing orders and what follows them.
    Called twice it changes nothing the second time. Work under way or closed is not touched.
    Tells of what it did by one change, `work.made`, with the local dates concerned.
    """
    with site_write(site_id, now) as write:
        take_turn(site_id)
        close_recorded(write, now)
        site = Site.objects.get(pk=site_id)
        everything = {order.pk: order for order in StandingOrder.objects.filter(site=site)}
        chosen = _choose(everything, triggers, standing_order_ids)
        until = now + timedelta(days=days)
        facts = Facts(site, chosen, now, until + timedelta(days=1))
        work = Reconciler(facts, until)
        first = [order for order in chosen if order.trigger != Trigger.AFTER]
        work.bring_to(first, draft_all(_in_use(first), facts))
        for level in _levels(chosen):
            work.bring_to(level, _draft_level(level, facts))
        if work.counts.n_all:
            write.change("work.made", dates=sorted(map(str, work.dates)))
    return work.counts


def take_turn(site_id: int) -> None:
    """Let one transaction at a time make a site's work; the next one then sees what this one did.

    Without it two ticks could both be right about the work to make, and the one that read an
    older timetable could commit last. That work is made once is the unique key's doing, not this.
    """
    ChangeCursor.objects.get_or_create(site_id=site_id, consumer=CONSUMER)
    ChangeCursor.objects.select_for_update(no_key=True).get(site_id=site_id, consumer=CONSUMER)


def _in_use(orders: Iterable[StandingOrder]) -> list[StandingOrder]:
    return [order for order in orders if order.retired_at is None]


def _choose(
    everything: dict[int, StandingOrder],
    triggers: Collection[str] | None,
    standing_order_ids: Collection[int] | None,
) -> list[StandingOrder]:
    """Standing orders asked for, and all that follow them."""
    chosen = {
        order.key
        for order in everything.values()
        if (triggers is None or order.trigger in triggers)
        and (standing_order_ids is None or order.pk in standing_order_ids)
    }
    followers = [order for order in everything.values() if order.trigger == Trigger.AFTER]
    grew = True
    while grew:
        more = {o.key for o in followers if o.trigger_rule["standing_order"] in chosen} - chosen
        chosen |= more
        grew = bool(more)
    return [order for order in everything.values() if order.key in chosen]


def _levels(chosen: list[StandingOrder]) -> Iterator[list[StandingOrder]]:
    """Followers in the order of what they follow: each level rests on the rows of those before."""
    waiting = {order.key: order for order in chosen if order.trigger == Trigger.AFTER}
    while waiting:
        level = [o for o in waiting.values() if o.trigger_rule["standing_order"] not in waiting]
        if not level:  # a circle; the farm file refuses one
            return
        for order in level:
            del waiting[order.key]
        yield level


def _leaders(level: list[StandingOrder], facts: Facts) -> dict[str, list[WorkOrder]]:
    """What the standing orders of a level follow, by its key: 2 queries."""
    untouched = WorkOrder.objects.filter(standing_order__in=level, status=Status.NEEDS_ACTION)
    oldest = untouched.aggregate(on=Min("local_date"))["on"] or facts.today
    followed = {order.trigger_rule["standing_order"] for order in level}
    rows = (
        WorkOrder.objects.filter(
            site=facts.site,
            standing_order__key__in=followed,
            local_date__gte=min(oldest, facts.today) - timedelta(days=1),
            starts_after__lt=facts.until,
        )
        .exclude(status=Status.CANCELLED)
        .exclude(natural_key__contains=REST)
        .select_related("standing_order", "place")
        .order_by("starts_after", "pk")
    )
    by_key: dict[str, list[WorkOrder]] = defaultdict(list)
    for row in rows:
        by_key[row.standing_order.key if row.standing_order else ""].append(row)
    return by_key


def _draft_level(level: list[StandingOrder], facts: Facts) -> Iterator[Draft]:
    leaders = _leaders(level, facts)
    for order in _in_use(level):
        yield from draft_after(order, facts, leaders[order.trigger_rule["standing_order"]])
