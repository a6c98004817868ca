"""Brings work orders to what the standing orders want: makes, moves, takes back, records as missed.

Only `produce` uses it, inside its transaction and its turn.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import astuple, dataclass
from datetime import date, datetime
from functools import cached_property
from typing import Any

from equipment.site.models import Actor
from equipment.site.services import service_actor

from .calc.drafts import REST, Draft, Late, Need, origin_key, settle_late
from .calc.spans import Span, at_least
from .facts import Facts
from .models import Cause, Dependency, Outcome, StandingOrder, Status, Trigger, WorkOrder

Values = dict[str, Any]

BATCH = 1000
OPENED: Values = {
    "status": Status.NEEDS_ACTION,
    "outcome": "",
    "reason": "",
    "n_left": None,
    "ended_at": None,
    "ended_by_id": None,
}
GONE = {
    Trigger.PEN_VISIT: Cause.VISIT_GONE,
    Trigger.BATCH_STAGE: Cause.BATCH_MOVED_ON,
    Trigger.METER: Cause.NOT_DUE_YET,
    Trigger.AFTER: Cause.LEADER_GONE,
}


@dataclass
class Counts:
    """What one pass over the standing orders did to work orders."""

    n_made: int = 0
    n_moved: int = 0
    n_cancelled: int = 0
    n_missed: int = 0
    n_revived: int = 0

    @property
    def n_all(self) -> int:
        return sum(astuple(self))


class Reconciler:
    """Compares drafts with the rows there are, level by level, and writes the difference."""

    def __init__(self, facts: Facts, until: datetime) -> None:
        self.facts = facts
        self.until = until
        self.counts = Counts()
        self.dates: set[date] = set()

    @cached_property
    def _service(self) -> Actor:
        return service_actor(self.facts.site.pk)

    def bring_to(self, orders: Collection[StandingOrder], drafts: Iterable[Draft]) -> None:
        """Make the work orders of these standing orders what the drafts say."""
        if not orders:
            return
        asked = {draft.key: draft for draft in drafts}
        rows = self._rows(orders, asked)
        asked |= {d.key: d for d in _rests(rows.values(), asked)}
        settled = {draft.key: draft for draft in settle_late(asked.values(), self.facts.now)}
        self._insert([d for d in settled.values() if d.key not in rows and self._is_new(asked, d)])
        wanted = {row.pk: self._wanted(row, settled.get(row.natural_key)) for row in rows.values()}
        self._change(rows.values(), wanted)
        self._connect([d for d in settled.values() if d.needs and not d.is_missed])

    def _rows(
        self, orders: Iterable[StandingOrder], asked: Collection[str]
    ) -> dict[str, WorkOrder]:
        """Rows that are still untouched, and those the drafts speak of: 2 queries."""
        mine = WorkOrder.objects.filter(site=self.facts.site)
        untouched = mine.filter(standing_order__in=orders, status=Status.NEEDS_ACTION)
        rows = {row.natural_key: row for row in untouched}
        missing = [key for key in asked if key not in rows]
        rows |= {row.natural_key: row for row in mine.filter(natural_key__in=missing)}
        return rows

    def _is_new(self, asked: Mapping[str, Draft], settled: Draft) -> bool:
        """Whether work without a row is to be made: not what had passed before anybody asked."""
        draft = asked[settled.key]
        newest = self.facts.newest.get(draft.values["standing_order_id"])
        return draft.span.start < self.until and (
            draft.is_standing
            or draft.span.end > self.facts.now
            or (newest is not None and draft.span.start > newest)  # an outage left it out
        )

    def _insert(self, drafts: list[Draft]) -> None:
        """Add rows; what another transaction added meanwhile is left as it is."""
        rows = [self._build(draft) for draft in drafts]
        WorkOrder.objects.bulk_create(rows, batch_size=BATCH, ignore_conflicts=True)
        self.counts.n_made += len(drafts)
        self.counts.n_missed += sum(draft.is_missed for draft in drafts)
        self.dates.update(draft.local_date for draft in drafts)

    def _build(self, draft: Draft) -> WorkOrder:
        closing = self._missed(draft) if draft.is_missed else {}
        return WorkOrder(
            site_id=self.facts.site.pk,
            natural_key=draft.key,
            updated_at=self.facts.now,
            **_row_values(draft),
            **closing,
        )

    def _missed(self, draft: Draft) -> Values:
        return self._closed(Outcome.MISSED, n_left=draft.n_stalls or None)

    def _closed(self, outcome: Outcome, reason: str = "", n_left: int | None = None) -> Values:
        return {
            "status": Status.CANCELLED,
            "outcome": outcome,
            "reason": reason,
            "n_left": n_left,
            "ended_at": self.facts.now,
            "ended_by_id": self._service.pk,
        }

    def _wanted(self, row: WorkOrder, draft: Draft | None) -> Values:
        """What a row should hold; empty to leave it alone, as all that people touched is."""
        if row.status == Status.NEEDS_ACTION:
            if draft is None:
                return self._taken_back(row)
            return self._missed(draft) if draft.is_missed else _row_values(draft)
        if draft is None or draft.is_missed or not self._is_ours(row):
            return {}
        return {**OPENED, **_row_values(draft)}

    def _is_ours(self, row: WorkOrder) -> bool:
        """Whether the service itself closed it: its cause may come back."""
        return row.status == Status.CANCELLED and row.ended_by_id == self._service.pk

    def _taken_back(self, row: WorkOrder) -> Values:
        order = self.facts.orders[row.standing_order_id or 0]
        if order.retired_at is not None:
            return self._closed(Outcome.NOT_NEEDED, Cause.ORDER_RETIRED)
        if row.starts_after >= self.until:
            return {}  # not looked so far ahead
        return self._closed(Outcome.NOT_NEEDED, self._gone(row, Trigger(order.trigger)))

    def _gone(self, row: WorkOrder, trigger: Trigger) -> Cause:
        """Why work with its cause gone is not needed: a pen to be bedded may lack sand instead."""
        if trigger == Trigger.PEN_VISIT and row.batch_id and self.facts.oldest_released is None:
            return Cause.BATCH_MOVED_ON
        return GONE.get(trigger, Cause.RULE_CHANGED)

    def _change(self, rows: Collection[WorkOrder], wanted: Mapping[int, Values]) -> None:
        """Write what differs, on rows that nobody moved since they were read."""
        differing = {row.pk: _difference(row, wanted[row.pk]) for row in rows}
        differing = {pk: values for pk, values in differing.items() if values}
        seen = {row.pk: row.version for row in rows}
        rows = WorkOrder.objects.filter(pk__in=list(differing)).order_by("pk")
        locked = rows.select_for_update(no_key=True)
        changed = [row for row in locked if row.version == seen[row.pk]] if differing else []
        for row in changed:
            self._apply(row, differing[row.pk])
        names = {name.removesuffix("_id") for row in changed for name in differing[row.pk]}
        # All of them are there, so this updates; bulk_update takes several times as long,
        # since it asks for a branch a row and column.
        WorkOrder.objects.bulk_create(
            changed,
            batch_size=BATCH,
            update_conflicts=True,
            unique_fields=["id"],
            update_fields=sorted(names | {"version", "updated_at"}),
        )

    def _apply(self, row: WorkOrder, values: Values) -> None:
        self._count(values)
        self.dates |= {row.local_date, values.get("local_date", row.local_date)}
        for name, value in values.items():
            setattr(row, name, value)
        row.version += 1
        row.updated_at = self.facts.now

    def _count(self, values: Values) -> None:
        if values.get("outcome") == Outcome.MISSED:
            self.counts.n_missed += 1
        elif values.get("outcome") == Outcome.NOT_NEEDED:
            self.counts.n_cancelled += 1
        elif values.get("status") == Status.NEEDS_ACTION:
            self.counts.n_revived += 1
        else:
            self.counts.n_moved += 1

    def _connect(self, drafts: list[Draft]) -> None:
        """Write what each untouched work order waits on (DEPENDS-ON, RFC 9253): 3 queries."""
        if not drafts:
            return
        keys = {d.key for d in drafts} | {need.on_key for d in drafts for need in d.needs}
        rows = WorkOrder.objects.filter(site=self.facts.site, natural_key__in=keys)
        ids = dict(rows.values_list("natural_key", "pk"))
        wanted = {
            (ids[draft.key], ids[need.on_key]): need
            for draft in drafts
            for need in draft.needs
            if draft.key in ids and need.on_key in ids
        }
        self._write_needs(wanted)

    def _write_needs(self, wanted: Mapping[tuple[int, int], Need]) -> None:
        waiting = {work_order_id for work_order_id, _on_id in wanted}
        there = {
            (row.work_order_id, row.on_id): row
            for row in Dependency.objects.filter(work_order__in=waiting)
        }
        made = [
            Dependency(site_id=self.facts.site.pk, work_order_id=pair[0], on_id=pair[1], **said)
            for pair, said in ((pair, _need_values(need)) for pair, need in wanted.items())
            if pair not in there
        ]
        Dependency.objects.bulk_create(made, batch_size=BATCH, ignore_conflicts=True)
        stale = [row.pk for pair, row in there.items() if pair not in wanted]
        if stale:
            Dependency.objects.filter(pk__in=stale).delete()
        for pair, row in there.items():
            said = _need_values(wanted[pair]) if pair in wanted else {}
            if _difference(row, said):
                Dependency.objects.filter(pk=row.pk).update(**said)


def _row_values(draft: Draft) -> Values:
    return {
        "place_id": draft.place_id,
        "local_date": draft.local_date,
        "starts_after": draft.span.start,
        "due_at": draft.span.end,
        **draft.values,
    }


def _difference(row: Any, values: Mapping[str, Any]) -> Values:
    return {name: value for name, value in values.items() if getattr(row, name) != value}


def _need_values(need: Need) -> Values:
    return {
        "relation": need.relation,
        "gap_min": need.gap_min,
        "gap_max_min": need.gap_max_min,
    }


def _rests(rows: Iterable[WorkOrder], asked: Mapping[str, Draft]) -> list[Draft]:
    """What was carried over moves and expires with the gap it was carried to."""
    return [
        Draft(
            key=row.natural_key,
            series=row.natural_key,
            place_id=row.place_id,
            local_date=row.local_date,
            span=_rest_span(row, asked.get(origin_key(row.natural_key))),
            late=Late.EXPIRE,
            n_stalls=row.n_left or 0,
            values={"standing_order_id": row.standing_order_id},
        )
        for row in rows
        if REST in row.natural_key
    ]


def _rest_span(row: WorkOrder, origin: Draft | None) -> Span:
    return at_least(row.starts_after, origin.span.end if origin else row.due_at)
