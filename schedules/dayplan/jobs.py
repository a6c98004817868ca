"""Open work orders as jobs of the day-plan problem, each with what it waits on and where it was."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta

from crews.roster.models import Shift
from crews.roster.queries import crews_of_pens
from equipment.barns.models import BedGroup
from equipment.site.models import HoldSubject, Site
from schedules.work.models import Dependency, Status, WorkOrder

from .calc import problem as p
from .calc import resources as r
from .calc.solution import Reason, ReasonCode
from .models import Assignment, Claim
from .queries import span_taken


class JobList:
    """Turns open work orders into jobs; what cannot be asked for is kept with its reason."""

    def __init__(
        self,
        site: Site,
        keys: dict[int, str],
        orders: Sequence[WorkOrder],
        shifts: Sequence[Shift],
        *,
        held: dict[str, set[int]],
        now: datetime,
    ) -> None:
        self.site, self.keys, self.orders, self.held = site, keys, orders, held
        self.now = now
        self.alleys = dict(BedGroup.objects.filter(site=site).values_list("place_id", "alley_id"))
        self.needs = _needs_of([o.pk for o in orders])
        self.plans = {
            a.work_order_id: a
            for a in Assignment.objects.filter(work_order_id__in=[o.pk for o in orders])
            .select_related("work_order")
            .prefetch_related("claims")
        }
        self.crews = self._crews(shifts)
        self.made: list[p.Job] = []
        self.unaskable: dict[int, Reason] = {}

    def add_all(self, *, people_ids: set[str], machine_ids: set[str]) -> None:
        """Make the jobs, dependencies first, so that what waits on a left-out one is left out."""
        self.people_ids, self.machine_ids = people_ids, machine_ids
        by_id = {o.pk: o for o in self.orders}
        open_ids = set(by_id)
        waiting = list(self.orders)
        done: set[int] = set()
        while waiting:
            ready = [o for o in waiting if self._on_open(o, open_ids) <= done]
            for order in ready or waiting:
                self._add(order, by_id)
                done.add(order.pk)
            waiting = [o for o in waiting if o.pk not in done]

    def _on_open(self, order: WorkOrder, open_ids: set[int]) -> set[int]:
        return {need.on_id for need in self.needs.get(order.pk, ())} & open_ids

    def _add(self, order: WorkOrder, by_id: dict[int, WorkOrder]) -> None:
        window = self._window(order)
        if refused := self._refusal(order, by_id):
            self.unaskable[order.pk] = refused
        elif window is None:
            facts = {"needs_min": order.duration_min, "has_min": 0.0}
            self.unaskable[order.pk] = Reason(ReasonCode.WINDOW_TOO_SHORT, facts)
        else:
            self.made.append(self._job(order, window, by_id))

    def _refusal(self, order: WorkOrder, by_id: dict[int, WorkOrder]) -> Reason | None:
        if order.status == Status.IN_PROCESS:
            return None
        pen_id = order.place.parent_id or order.place_id
        if pen_id in self.held[HoldSubject.PEN] or order.place_id in self.held[HoldSubject.PEN]:
            return Reason(ReasonCode.PEN_HELD)
        if order.batch_id in self.held[HoldSubject.BATCH]:
            return Reason(ReasonCode.BATCH_HELD)
        for need in self.needs.get(order.pk, ()):
            open_elsewhere = need.on.status in (Status.NEEDS_ACTION, Status.IN_PROCESS)
            if open_elsewhere and (need.on_id not in by_id or need.on_id in self.unaskable):
                return Reason(ReasonCode.PREDECESSOR_LEFT_OUT, {"jobs": (str(need.on_id),)})
        return None

    def _window(self, order: WorkOrder) -> r.Interval | None:
        """Give the order's window, not before what it waits on has ended and its gap has passed."""
        starts = [order.starts_after]
        for need in self.needs.get(order.pk, ()):
            ended = need.on.ended_at
            if ended is not None and need.relation.startswith("FINISH"):
                starts.append(ended + timedelta(minutes=need.gap_min))
        start = max(starts)
        return r.Interval(start, order.due_at) if start < order.due_at else None

    def _job(self, order: WorkOrder, window: r.Interval, by_id: dict[int, WorkOrder]) -> p.Job:
        rule = order.standing_order
        plan = self.plans.get(order.pk)
        booking = self._booking(plan)
        is_fact = order.status == Status.IN_PROCESS or bool(plan and plan.is_by_hand)
        pen_id = order.place.parent_id or order.place_id
        return p.Job(
            id=str(order.pk),
            kind=rule.key if rule else "service",
            place=self.keys[order.place_id],
            windows=(window,),
            duration_min=order.duration_min,
            n_people=order.n_people,
            skills=(order.skill,) if order.skill else (),
            machine_kinds=tuple(order.machine_kinds),
            machine_ids=(str(order.for_machine_id),) if order.for_machine_id else (),
            needs_driver=order.for_machine_id is None,
            priority=order.priority,
            depends_on=tuple(self._dependencies(order, by_id)),
            locked=booking if is_fact else None,
            previous=booking,
            preferred_crew=self.crews.get((pen_id, _shift_hour(window.start))),
            bucket=_bucket(order),
            is_daylight_only=bool(rule and rule.is_daylight_only),
            effort=r.Effort(rule.effort) if rule else None,
            occupies=self._occupies(order),
        )

    def _occupies(self, order: WorkOrder) -> tuple[str, ...]:
        """A machine in a row of beds takes up the alley along it."""
        alley_id = self.alleys.get(order.place_id)
        if alley_id is None or not order.machine_kinds:
            return ()
        return (self.keys[alley_id],)

    def _booking(self, plan: Assignment | None) -> p.Booking | None:
        """Give where the last plan has it; a person or machine that is gone is no booking."""
        if plan is None:
            return None
        claims: list[Claim] = list(plan.claims.all())
        people = tuple(str(c.worker_id) for c in claims if c.worker_id)
        machine = next((str(c.machine_id) for c in claims if c.machine_id), None)
        if not people or not set(people) <= self.people_ids:
            return None
        if machine is not None and machine not in self.machine_ids:
            return None
        return p.Booking(people, machine, *span_taken(plan, self.now))

    def _dependencies(
        self, order: WorkOrder, by_id: dict[int, WorkOrder]
    ) -> Iterable[p.Dependency]:
        for need in self.needs.get(order.pk, ()):
            if need.on_id in by_id:
                yield p.Dependency(
                    str(need.on_id), p.Relation(need.relation), need.gap_min, need.gap_max_min
                )

    def _crews(self, shifts: Sequence[Shift]) -> dict[tuple[int, int], str]:
        """Crew that has a pen, by pen and whole hour since the epoch."""
        crews = crews_of_pens(self.site.pk, {s.local_date for s in shifts})
        found: dict[tuple[int, int], str] = {}
        spans = {(s.pattern_id, s.local_date, s.starts_at, s.ends_at) for s in shifts}
        for pattern_id, day, starts_at, ends_at in spans:
            for (pattern, pen_id, on), crew_id in crews.items():
                if pattern == pattern_id and on == day:
                    for hour in range(_shift_hour(starts_at), _shift_hour(ends_at)):
                        found[(pen_id, hour)] = str(crew_id)
        return found


def _shift_hour(at: datetime) -> int:
    return int(at.timestamp() // 3600)


def _bucket(order: WorkOrder) -> r.Bucket | None:
    """Say what a bucket touches: clean sand where the rule asks a clean one, else no matter."""
    rule = order.standing_order
    if rule is None or not order.machine_kinds:
        return None
    return r.Bucket.CLEAN if rule.needs_clean_bucket else r.Bucket.DIRTY


def _needs_of(order_ids: Sequence[int]) -> dict[int, list[Dependency]]:
    found: dict[int, list[Dependency]] = defaultdict(list)
    for need in Dependency.objects.filter(work_order_id__in=order_ids).select_related("on"):
        found[need.work_order_id].append(need)
    return found
