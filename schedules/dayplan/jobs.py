"""Open work orders as jobs of the day-plan problem, each with what it waits on and where it was."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from crews.people.models import Worker
from crews.roster.models import Shift
from crews.roster.queries import crews_of_pens
from equipment.barns.models import Alley, BedGroup
from equipment.flushing.queries import runs_between
from equipment.site.models import HoldSubject, Site
from schedules.work.models import Dependency, Report, Status, WorkOrder
from schedules.work.rules import DURING_FLUSH

from .calc import problem as p
from .calc import resources as r
from .calc.robust import slack_for
from .calc.solution import Reason, ReasonCode
from .lastuse import bucket_of
from .models import Assignment, Claim, PlanPractice
from .queries import span_taken

# Beds may come before or after it: that somebody holds the gate is what counts.
HELD_ANY_TIME_MIN = 24 * 60.0
SPREAD_FRAC = 0.2  # sd of what work takes over what is planned; common practice, no source


class JobList:
    """Turns open work orders into jobs; what cannot be asked for is kept with its reason.

    Set aside with it is its job without what it waits on: a person may give it by hand anyway.
    """

    def __init__(
        self,
        site: Site,
        keys: dict[int, str],
        orders: Sequence[WorkOrder],
        shifts: Sequence[Shift],
        *,
        held: dict[str, set[int]],
        now: datetime,
        practice: PlanPractice,
    ) -> None:
        self.practice = practice
        self.site, self.keys, self.orders, self.held = site, keys, orders, held
        self.now = now
        self.alleys = dict(BedGroup.objects.filter(site=site).values_list("place_id", "alley_id"))
        self.alleys_of_pen: dict[int | None, list[int]] = defaultdict(list)
        for alley in Alley.objects.filter(site=site).order_by("pk"):
            self.alleys_of_pen[alley.pen_id].append(alley.pk)
        self.groomed = {
            (o.visit_id, self.alleys.get(o.place_id)) for o in orders if o.machine_kinds
        }
        self.needs = _needs_of([o.pk for o in orders])
        self.plans = {
            a.work_order_id: a
            for a in Assignment.objects.filter(
                work_order_id__in=[o.pk for o in orders]
            ).prefetch_related("claims")
        }
        self.crews = self._crews(shifts)
        self.worker_of = dict(Worker.objects.filter(site=site).values_list("actor_id", "pk"))
        said = Report.objects.filter(work_order__in=orders, machine__isnull=False).order_by("at")
        self.ran_on = dict(said.values_list("work_order_id", "machine_id"))
        self.gates = {o.visit_id: o for o in orders if _within(o) == "gate"}
        self.runs = self._runs_watched()
        self.watch_places: list[r.Place] = []
        self.made: list[p.Job] = []
        self.unaskable: dict[int, Reason] = {}
        self.aside: dict[int, p.Job] = {}

    def add_all(self, *, people_ids: set[str], machine_ids: set[str]) -> None:
        """Make the jobs, dependencies first, so that what waits on a left-out one is left out."""
        self.people_ids, self.machine_ids = people_ids, machine_ids
        by_id = {o.pk: o for o in self.orders}
        open_ids = set(by_id)
        waiting = sorted(self.orders, key=lambda order: _within(order) != "gate")
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
        windows = self._windows(order)
        why = self._refusal(order, by_id) or self._no_window(order, windows)
        if why is None:
            self.made.append(self._job(order, windows, by_id))
        else:
            self.unaskable[order.pk] = why
            whole = (r.Interval(order.starts_after, order.due_at),)
            self.aside[order.pk] = replace(self._job(order, whole, by_id), depends_on=())

    def _no_window(self, order: WorkOrder, windows: tuple[r.Interval, ...]) -> Reason | None:
        if windows:
            return None
        if _watches_flush(order):
            return Reason(ReasonCode.NO_FLUSH_IN_WINDOW)
        facts = {"needs_min": order.duration_min, "has_min": 0.0}
        return Reason(ReasonCode.WINDOW_TOO_SHORT, facts)

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

    def _windows(self, order: WorkOrder) -> tuple[r.Interval, ...]:
        """Give when the order may be done: its window, or the flushes in it that are watched."""
        whole = self._window(order)
        if whole is None or order.status == Status.IN_PROCESS or not _watches_flush(order):
            return () if whole is None else (whole,)
        lasts = timedelta(minutes=order.duration_min)
        spans = [(s, max(e, s + lasts)) for s, e in self.runs[order.place_id]]
        return tuple(r.Interval(s, e) for s, e in spans if whole.start <= s and e <= whole.end)

    def _window(self, order: WorkOrder) -> r.Interval | None:
        """Give the order's window, not before what it waits on has ended and its gap has passed.

        Beds whose return gate nobody can hold close when the first cow would walk in.
        """
        starts = [order.starts_after]
        for need in self.needs.get(order.pk, ()):
            ended = need.on.ended_at
            if ended is not None and need.relation.startswith("FINISH"):
                starts.append(ended + timedelta(minutes=need.gap_min))
        start, end = max(starts), order.due_at
        gate = self._gate_of(order)
        if gate is not None and gate.pk in self.unaskable:
            end = min(end, gate.starts_after)
        return r.Interval(start, end) if start < end else None

    def _gate_of(self, order: WorkOrder) -> WorkOrder | None:
        """Give the open work that holds the gate behind which an order's beds are."""
        gate = self.gates.get(order.visit_id) if order.place_id in self.alleys else None
        return gate if gate is not None and order.due_at > gate.starts_after else None

    def _job(
        self, order: WorkOrder, windows: tuple[r.Interval, ...], by_id: dict[int, WorkOrder]
    ) -> p.Job:
        rule = order.standing_order
        plan = self.plans.get(order.pk)
        is_running = order.status == Status.IN_PROCESS
        booking = self._running(order, plan) if is_running else self._booking(plan)
        is_fact = is_running or bool(plan and plan.is_by_hand)
        pen_id = order.place.parent_id or order.place_id
        return p.Job(
            id=str(order.pk),
            kind=rule.key if rule else "service",
            place=self._place(order),
            windows=windows,
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
            preferred_crew=self.crews.get((pen_id, _shift_hour(windows[0].start))),
            bucket=bucket_of(rule) if order.machine_kinds else None,
            is_daylight_only=bool(rule and rule.is_daylight_only),
            effort=r.Effort(rule.effort) if rule else None,
            occupies=self._occupies(order),
            spread_frac=SPREAD_FRAC,
            due_at=None if is_fact else self._due_at(order, windows),
            late_per_min=self.practice.slack_price,
        )

    def _due_at(self, order: WorkOrder, windows: tuple[r.Interval, ...]) -> datetime | None:
        """Give by when the order should end, so that its window's end holds as likely as wanted.

        Of several windows none is its own: the plan chooses.
        """
        if len(windows) != 1:
            return None
        lasts = timedelta(minutes=order.duration_min)
        slack_min = slack_for(order.duration_min, SPREAD_FRAC, self.practice.keep_chance_frac)
        due_at = windows[0].end - timedelta(minutes=slack_min)
        return max(windows[0].start + lasts, due_at)

    def _place(self, order: WorkOrder) -> str:
        """Give the place; a flush is watched from a place beside it, that no water closes."""
        key = self.keys[order.place_id]
        if not _watches_flush(order):
            return key
        beside = f"{key}/beside"
        if beside not in {place.key for place in self.watch_places}:
            self.watch_places.append(r.Place(beside, order.place.x_m, order.place.y_m))
        return beside

    def _runs_watched(self) -> dict[int, list[tuple[datetime, datetime]]]:
        """Flush runs of the alleys in which one is to be watched: 1 query, 0 where none is."""
        watched = [o for o in self.orders if _watches_flush(o)]
        found: dict[int, list[tuple[datetime, datetime]]] = defaultdict(list)
        if watched:
            end = max(o.due_at for o in watched)
            runs = runs_between(self.site.pk, self.now, end)
            for run in runs.filter(alley_id__in={o.place_id for o in watched}):
                found[run.alley_id].append((run.starts_at, run.ends_at))
        return found

    def _occupies(self, order: WorkOrder) -> tuple[str, ...]:
        """A machine in a row of beds takes up the alley along it.

        One in a pen works from the alley where no other grooms at that visit; where there is none
        such, it has them all to itself.
        """
        if not order.machine_kinds:
            return ()
        along = self.alleys.get(order.place_id)
        every = [along] if along is not None else self.alleys_of_pen[order.place_id]
        free = [alley for alley in every if (order.visit_id, alley) not in self.groomed]
        taken = every if along is not None else free[:1] or every
        return tuple(self.keys[alley_id] for alley_id in taken)

    def _running(self, order: WorkOrder, plan: Assignment | None) -> p.Booking:
        """Give who is at work under way: whoever began it, with the others the plan gave it."""
        planned = self._booking(plan)
        began = str(self.worker_of.get(order.started_by_id or 0, ""))
        people = planned.people if planned else ()
        if began in self.people_ids and began not in people:
            people = (began, *people[1:])
        start, end = span_taken(order, plan, self.now)
        return p.Booking(people, self._machine_of(order, planned), start, end)

    def _machine_of(self, order: WorkOrder, planned: p.Booking | None) -> str | None:
        """Give the machine somebody said they run, else the planned one."""
        said = str(self.ran_on.get(order.pk, ""))
        return said if said in self.machine_ids else planned.machine if planned else None

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
        return p.Booking(people, machine, plan.starts_at, plan.ends_at)

    def _dependencies(
        self, order: WorkOrder, by_id: dict[int, WorkOrder]
    ) -> Iterable[p.Dependency]:
        for need in self.needs.get(order.pk, ()):
            if need.on_id in by_id:
                yield p.Dependency(
                    str(need.on_id), p.Relation(need.relation), need.gap_min, need.gap_max_min
                )
        gate = self._gate_of(order)
        if gate is not None and gate.pk not in self.unaskable:
            yield p.Dependency(str(gate.pk), p.Relation.START_TO_START, -HELD_ANY_TIME_MIN)

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


def _within(order: WorkOrder) -> object:
    """Say in which part of a pen's visit an order is; None for work of no visit."""
    rule = order.standing_order
    return rule.trigger_rule.get("within") if rule else None


def _watches_flush(order: WorkOrder) -> bool:
    rule = order.standing_order
    return rule is not None and rule.trigger_rule.get("during") == DURING_FLUSH


def _needs_of(order_ids: Sequence[int]) -> dict[int, list[Dependency]]:
    found: dict[int, list[Dependency]] = defaultdict(list)
    for need in Dependency.objects.filter(work_order_id__in=order_ids).select_related("on"):
        found[need.work_order_id].append(need)
    return found
