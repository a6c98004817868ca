"""Work content: minutes a stall, loads an hour, as done work has it. Of jobs and machines alone:
no row that is read here says who did it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, fields
from datetime import datetime, timedelta
from enum import StrEnum
from math import isnan
from statistics import geometric_mean
from typing import Any

import numpy as np
from django.db.models import Count, F, Max, Min, OuterRef, Subquery, Sum, Window
from django.db.models.functions import MD5, Coalesce, RowNumber

from equipment.barns.models import Alley
from equipment.machines.figures import output_of, practice_of
from equipment.machines.models import Machine
from equipment.machines.queries import machines_of
from equipment.sandyard.models import Bay
from schedules.sand.models import AccountKind, SandMove

from .amounts import stalls_in
from .calc.content import MACHINE_PRIOR, Learned, learn, loads_h, unit_min
from .calc.reports import Said
from .models import Outcome, Question, Report, StandingOrder, WorkOrder

RECORD = timedelta(days=90)  # of one season; common practice, no source
MOST_JOBS = 100  # of a kind, by lot over the record: more say little more, and take time
LEAST_JOBS = 5  # fewer show nothing; common practice, no source
LEAST_SPAN = timedelta(minutes=1)  # start and end told at once: when it was told, not how long
LEAST_CYCLE = timedelta(seconds=15)  # no bucket is filled and dumped faster; FM 5-434, ch. 5
DONE = (Outcome.DONE, Outcome.PART)
RATES = ("per_stall_min", "per_m_min", "per_m2_min", "per_t_min", "per_cow_min")


class WhyNot(StrEnum):
    """Why nothing is learned for a standing order."""

    FROM_SERVICE = "from_service"  # the service item says how long
    GIVEN_TIME = "given_time"  # it lasts as long as cows or water take, whoever does it
    SEVERAL_RATES = "several_rates"  # one record cannot part two rates
    NO_DEFAULT = "no_default"  # nothing to begin with
    FEW_JOBS = "few_jobs"
    BASE_TOO_LONG = "base_too_long"  # most jobs were over before the base was


@dataclass(frozen=True, slots=True)
class MachineContent:
    """What a kind of work takes with one machine, drawn to what it takes with all."""

    machine: Machine
    learned: Learned


@dataclass(frozen=True, slots=True)
class OrderContent:
    """What is learned of one standing order: `key` is the number of its duration that is meant.

    `n_left_out` jobs said nothing of it: they were over before the base was.
    """

    order: StandingOrder
    key: str
    learned: Learned | None
    why_not: WhyNot | None
    n_jobs: int
    n_left_out: int
    machines: tuple[MachineContent, ...]


@dataclass(frozen=True, slots=True)
class LoadContent:
    """Loads an hour of one machine at one kind of work.

    Drawn to what the machine should do where that `is_reckoned`, else to the mean of its kind.
    """

    order: StandingOrder
    machine: Machine
    learned: Learned
    is_reckoned: bool


@dataclass(frozen=True, slots=True)
class WorkContent:
    """What work done within `RECORD` has taken."""

    orders: tuple[OrderContent, ...]
    loads: tuple[LoadContent, ...]


@dataclass(frozen=True, slots=True)
class _Sizes:
    """How big places and batches are."""

    length_m: Mapping[int, float]
    area_m2: Mapping[int, float]
    dry_t: Mapping[int, float]


@dataclass(frozen=True, slots=True)
class _Job:
    """One piece of done work, as columns: how long, how much, how many people, what machine."""

    pk: int
    standing_order_id: int
    place_id: int
    batch_id: int | None
    used_id: int | None
    started_at: datetime
    ended_at: datetime
    outcome: str
    n_people: int
    amount: str
    n_left: int | None
    n_cows: int | None
    loads: int

    @property
    def minutes(self) -> float:
        return (self.ended_at - self.started_at) / timedelta(minutes=1)

    def n_units(self, key: str, sizes: _Sizes) -> float:
        """Count what was done of it; 0 where that is on no record."""
        if key == "per_stall_min":
            return stalls_in(self.amount) - (self.n_left or 0)
        if self.outcome == Outcome.PART:
            return 0
        return {
            "base_min": 1.0,
            "per_m_min": sizes.length_m.get(self.place_id, 0.0),
            "per_m2_min": sizes.area_m2.get(self.place_id, 0.0),
            "per_t_min": sizes.dry_t.get(self.batch_id or 0, 0.0),
            "per_cow_min": float(self.n_cows or 0),
        }[key]


def work_content(site_id: int, now: datetime) -> WorkContent:
    """Learn what work takes from what was done in the last quarter of a year: 8 queries."""
    since = now - RECORD
    orders = list(
        StandingOrder.objects.filter(site_id=site_id, retired_at=None).order_by("priority", "key")
    )
    machines = {machine.pk: machine for machine in machines_of(site_id)}
    jobs: dict[int, list[_Job]] = defaultdict(list)
    for job in _jobs(site_id, since):
        jobs[job.standing_order_id].append(job)
    sizes = _sizes(site_id)
    paces = _paces(site_id, since, [job for group in jobs.values() for job in group])
    return WorkContent(
        orders=tuple(_order_content(o, jobs[o.pk], sizes, machines) for o in orders),
        loads=tuple(_load_contents(site_id, orders, paces, machines)),
    )


def content_of(site_id: int, standing_order_id: int, now: datetime) -> OrderContent | None:
    """What is learned of one standing order in use; None where there is none: 8 queries."""
    every = work_content(site_id, now).orders
    return next((found for found in every if found.order.pk == standing_order_id), None)


def rounded(value: float) -> float:
    """Round a learned figure as far as it is known: to three figures."""
    return float(f"{value:.3g}")


def _jobs(site_id: int, since: datetime) -> list[_Job]:
    """Work that was begun and done, with the machine that was told, else planned: 1 query.

    Of a kind with many jobs `MOST_JOBS` by lot, the same ones again next time: by turns it might
    always be the same machine's.
    """
    told = Report.objects.filter(work_order=OuterRef("pk"), machine__isnull=False).order_by("-id")
    planned = WorkOrder.objects.filter(  # the plan's rows, by their own name for us
        pk=OuterRef("pk"), assignment__claims__machine__isnull=False
    )
    rows = (
        WorkOrder.objects.filter(
            site_id=site_id,
            standing_order__isnull=False,
            outcome__in=DONE,
            ended_at__gte=since,
            started_at__lte=F("ended_at") - LEAST_SPAN,
        )
        .exclude(needs_decision=Question.REPORTS_DIFFER)
        .annotate(
            n_cows=F("visit__n_cows"),
            used_id=Coalesce(
                Subquery(told.values("machine_id")[:1]),
                Subquery(planned.values("assignment__claims__machine_id")[:1]),
            ),
        )
        .alias(
            lot=Window(RowNumber(), partition_by="standing_order_id", order_by=MD5("natural_key"))
        )
        .filter(lot__lte=MOST_JOBS)
    )
    columns: list[Any] = [column.name for column in fields(_Job)]
    return [_Job(**row) for row in rows.values(*columns)]


def _sizes(site_id: int) -> _Sizes:
    """Sizes of places, and what lanes gave to each batch, which moves whole: 3 queries."""
    moves = SandMove.objects.filter(site_id=site_id, source__kind=AccountKind.LANE)
    came = moves.order_by().values_list("batch_id").annotate(kg=Sum("dry_kg"))
    return _Sizes(
        length_m=dict(Alley.objects.filter(site_id=site_id).values_list("pk", "length_m")),
        area_m2=dict(Bay.objects.filter(site_id=site_id).values_list("pk", "area_m2")),
        dry_t={batch_id: kg / 1000 for batch_id, kg in came},
    )


def learned_key(order: StandingOrder) -> tuple[str, WhyNot | None]:
    """Which number of its duration a record can teach, or why none."""
    duration, rule = order.duration, order.trigger_rule
    if duration.get("from_service_item"):
        return "", WhyNot.FROM_SERVICE
    if rule.get("within") == "gate" or rule.get("during"):
        return "", WhyNot.GIVEN_TIME
    rates = [name for name in RATES if duration.get(name)]
    if len(rates) > 1:
        return "", WhyNot.SEVERAL_RATES
    key = rates[0] if rates else "base_min"
    return (key, None) if duration.get(key) else ("", WhyNot.NO_DEFAULT)


def _order_content(
    order: StandingOrder,
    jobs: Iterable[_Job],
    sizes: _Sizes,
    machines: Mapping[int, Machine],
) -> OrderContent:
    key, why_not = learned_key(order)
    if why_not:
        return OrderContent(order, key, None, why_not, 0, 0, ())
    by_machine, n_left_out = _unit_minutes(order, key, jobs, sizes)
    all_min = [each for group in by_machine.values() for each in group]
    n_jobs = len(all_min)
    if why_not := _too_little(n_jobs, n_left_out):
        return OrderContent(order, key, None, why_not, n_jobs, n_left_out, ())
    learned = learn(all_min, order.duration[key])
    of_machines = tuple(
        MachineContent(machine, learn(by_machine[pk], learned.value, MACHINE_PRIOR))
        for pk, machine in machines.items()
        if len(by_machine.get(pk, ())) >= LEAST_JOBS
    )
    return OrderContent(order, key, learned, None, n_jobs, n_left_out, of_machines)


def _too_little(n_jobs: int, n_left_out: int) -> WhyNot | None:
    """Why a record teaches nothing: too short, or the base hides most of it."""
    if n_left_out >= max(n_jobs, LEAST_JOBS):
        return WhyNot.BASE_TOO_LONG
    return WhyNot.FEW_JOBS if n_jobs < LEAST_JOBS else None


def _unit_minutes(
    order: StandingOrder, key: str, jobs: Iterable[_Job], sizes: _Sizes
) -> tuple[dict[int | None, list[float]], int]:
    """Person-minutes a unit of each job by machine, and how many were over before the base was.

    The base is each job's whole and not shared, as `rules.minutes_for` has it.
    """
    is_base = key == "base_min"
    sized = [(job, n) for job in jobs if (n := job.n_units(key, sizes)) > 0]
    each_min = unit_min(
        np.array([job.minutes for job, _n in sized]),
        np.array([n for _job, n in sized]),
        1.0 if is_base else np.array([float(job.n_people) for job, _n in sized]),
        0.0 if is_base else order.duration.get("base_min", 0.0),
    )
    found: dict[int | None, list[float]] = defaultdict(list)
    for (job, _n), each in zip(sized, np.atleast_1d(each_min).tolist(), strict=True):
        if not isnan(each):
            found[job.used_id].append(each)
    n_left_out = len(sized) - sum(map(len, found.values()))
    return found, n_left_out


def _load_contents(
    site_id: int,
    orders: Iterable[StandingOrder],
    paces: Mapping[int, Mapping[int, list[float]]],
    machines: Mapping[int, Machine],
) -> Iterator[LoadContent]:
    """Loads an hour by kind of work and machine: 1 query."""
    practice = practice_of(site_id)
    for order in orders:
        of_kind: dict[str, list[float]] = defaultdict(list)
        found = {pk: each for pk, each in paces.get(order.pk, {}).items() if pk in machines}
        for pk, each in found.items():
            of_kind[machines[pk].kind] += each
        for pk, machine in machines.items():
            if len(found.get(pk, ())) < LEAST_JOBS:
                continue
            output = output_of(machine, practice)
            default = output.loads_h if output else geometric_mean(of_kind[machine.kind])
            yield LoadContent(order, machine, learn(found[pk], default), output is not None)


def _paces(
    site_id: int, since: datetime, jobs: Iterable[_Job]
) -> dict[int, dict[int, list[float]]]:
    """Loads an hour of each job that counted them, by standing order and machine: 1 query.

    One with a load taken back says nothing: which load that was only a person knows.
    """
    counted = {job.pk: job for job in jobs if job.loads}
    groups = list(
        Report.objects.filter(site_id=site_id, kind=Said.LOAD, work_order__ended_at__gte=since)
        .order_by()
        .values_list("work_order_id", "machine_id")
        .annotate(n=Count("id"), first=Min("at"), last=Max("at"))
    )
    told: dict[int, int] = defaultdict(int)
    for pk, _machine_id, n, _first, _last in groups:
        told[pk] += n
    found: dict[int, dict[int, list[float]]] = defaultdict(lambda: defaultdict(list))
    for pk, machine_id, n, first, last in groups:
        job = counted.get(pk)
        if job is None or told[pk] != job.loads:
            continue
        used_id = machine_id or job.used_id
        if used_id and n >= 2 and last - first >= (n - 1) * LEAST_CYCLE:
            pace = loads_h((last - first) / timedelta(minutes=1), n)
            found[job.standing_order_id][used_id].append(float(pace))
    return found
