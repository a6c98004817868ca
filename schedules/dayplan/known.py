"""What people know of a plan, and what of a new one still stands: what a change is told against."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

from crews.roster.models import Shift
from crews.roster.queries import working_shifts
from equipment.machines.queries import usable_machine_ids
from schedules.work.models import WorkOrder

from .build import DayFacts
from .calc.solution import Assignment as Planned
from .models import Assignment, DaySearch
from .told import as_planned, from_document


@dataclass(frozen=True, slots=True)
class KnownPlan:
    """The plan that a new one is to take the place of.

    `replaceable` are the untouched orders that were not given by hand, `known` who has them;
    `told` is what people know of them and of what was taken off or given by hand since the last
    plan, `by_hand_now` the latter as it stands.
    """

    replaceable: frozenset[int]
    by_hand: frozenset[int]
    known: tuple[Planned, ...]
    told: tuple[Planned, ...]
    by_hand_now: tuple[Planned, ...]


def known_plan(free: Collection[int], search: DaySearch) -> KnownPlan:
    """Read what people know of some untouched orders: 5 queries."""
    given = Assignment.objects.filter(work_order_id__in=free, is_by_hand=True)
    by_hand = frozenset(given.values_list("work_order_id", flat=True))
    replaceable = frozenset(free) - by_hand
    known = _planned(replaceable)
    return KnownPlan(
        replaceable=replaceable,
        by_hand=by_hand,
        known=tuple(known),
        told=(*known, *_dropped(known, search, free)),
        by_hand_now=tuple(_planned(by_hand & jobs_of(search))),
    )


def _planned(order_ids: Collection[int]) -> list[Planned]:
    rows = Assignment.objects.filter(work_order_id__in=order_ids).prefetch_related("claims")
    return [as_planned(row) for row in rows]


def _dropped(
    known: Iterable[Planned], search: DaySearch, order_ids: Collection[int]
) -> list[Planned]:
    """Give what was taken off or given by hand before: people know it still."""
    jobs = {given.job for given in known}
    dropped = [from_document(document) for document in search.dropped]
    return [d for d in dropped if d.people and d.job not in jobs and int(d.job) in order_ids]


def jobs_of(search: DaySearch) -> set[int]:
    """Work orders of which the search remembers who had them. No query."""
    return {document["work_order"] for document in search.dropped}


@dataclass(frozen=True, slots=True)
class Standing:
    """What a plan rests on, as it is now: people on shift, machines in use, windows."""

    usable: frozenset[int]
    shifts: Sequence[Shift]
    orders: dict[int, WorkOrder]

    def holds(self, given: Planned) -> bool:
        """Whether an assignment rests on what is still so."""
        order = self.orders.get(int(given.job))
        return (
            order is not None
            and self._has_machine(given, order)
            and all(self._covers(int(person), given) for person in given.people)
            and order.starts_after <= given.start
            and given.end <= order.due_at
        )

    def _has_machine(self, given: Planned, order: WorkOrder) -> bool:
        if given.machine is None or order.for_machine_id is not None:
            return True
        return int(given.machine) in self.usable

    def _covers(self, worker_id: int, given: Planned) -> bool:
        mine = (s for s in self.shifts if s.worker_id == worker_id)
        return any(s.starts_at <= given.start and given.end <= s.ends_at for s in mine)


def standing(site_id: int, facts: DayFacts, orders: Iterable[WorkOrder] | None = None) -> Standing:
    """Read what the plan of some facts rests on: 3 queries, 2 where the orders are at hand."""
    horizon = facts.problem.horizon
    if orders is None:
        ids = [int(key) for key in facts.orders]
        orders = WorkOrder.objects.filter(site_id=site_id, id__in=ids)
    return Standing(
        usable=frozenset(usable_machine_ids(site_id)),
        shifts=list(working_shifts(site_id, horizon.start, horizon.end)),
        orders={order.pk: order for order in orders},
    )


def new_of(old: Iterable[Planned], new: Iterable[Planned]) -> list[Planned]:
    """Give what is in `new` and not quite so in `old`."""
    before = {_what(given) for given in old}
    return [given for given in new if _what(given) not in before]


def _what(given: Planned) -> tuple[object, ...]:
    return given.job, given.people, given.machine, given.start, given.end
