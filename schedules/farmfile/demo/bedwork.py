"""Rows of beds groomed in the last weeks: the record from which minutes a stall are learned."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import datetime, time, timedelta
from itertools import cycle

import numpy as np

from crews.people.models import Worker
from equipment.barns.models import BedGroup
from equipment.machines.models import Machine
from equipment.site.calc.local_time import local_date_of, resolve
from equipment.site.farmfields import Values
from equipment.site.models import Actor, Site
from schedules.work.amounts import amount_of
from schedules.work.calc.reports import Said
from schedules.work.models import Outcome, Report, StandingOrder, Status, WorkOrder
from schedules.work.rules import minutes_for

HISTORY_D = 28
LEAVES_D = 2  # what today's plan looks back on is not invented
FIRST = time(6, 30)
APART = timedelta(minutes=45)
LOG_SD = 0.2  # of one job about the middle one


def groom_beds(site: Site, entries: Iterable[Values], at: datetime) -> None:
    """Write the jobs of four weeks with what was told of them, once."""
    if WorkOrder.objects.filter(site=site).exists():
        return
    actors = {w.key: w.actor for w in Worker.objects.filter(site=site).select_related("actor")}
    machines = {machine.key: machine for machine in Machine.objects.filter(site=site)}
    for seed, entry in enumerate(entries):
        order = StandingOrder.objects.get(site=site, key=entry["standing_order"])
        by, used = actors[entry["by"]], [machines[key] for key in entry["machines"]]
        jobs = list(_jobs(order, entry, np.random.default_rng(seed), (by, at)))
        WorkOrder.objects.bulk_create(jobs)
        Report.objects.bulk_create(_reports(jobs, by, used))


def _jobs(
    order: StandingOrder, entry: Values, rng: np.random.Generator, said: tuple[Actor, datetime]
) -> Iterator[WorkOrder]:
    """Rows in turn, each as many times the order's minutes as the entry and chance have it."""
    by, at = said
    rows = BedGroup.objects.filter(site=order.site, place__key__in=order.target["keys"])
    beds = cycle(rows.select_related("place").order_by("pk"))
    today = local_date_of(at, order.site.zone)
    for back in range(HISTORY_D, LEAVES_D - 1, -1):
        day = today - timedelta(days=back)
        for n in range(entry["jobs_a_day"]):
            row = next(beds)
            began = resolve(datetime.combine(day, FIRST), order.site.zone) + n * APART
            minutes = minutes_for(order.duration, n_stalls=row.n_stalls, n_people=order.n_people)
            took = minutes * entry["times"] * rng.lognormal(0, LOG_SD)
            yield WorkOrder(
                site=order.site,
                natural_key=f"{order.key}/{row.place.key}/{day}/1",
                standing_order=order,
                title=order.title,
                amount=amount_of(row.n_stalls),
                place=row.place,
                local_date=day,
                starts_after=began,
                due_at=began + 2 * APART,
                duration_min=minutes,
                skill=order.skill,
                machine_kinds=order.machine_kinds,
                n_people=order.n_people,
                priority=order.priority,
                status=Status.COMPLETED,
                outcome=Outcome.DONE,
                started_at=began,
                started_by=by,
                ended_at=began + timedelta(minutes=took),
                ended_by=by,
                updated_at=began + timedelta(minutes=took),
            )


def _reports(jobs: Iterable[WorkOrder], by: Actor, used: list[Machine]) -> Iterator[Report]:
    """Say of each job that it began and was done, with the machines in turn."""
    in_turn = cycle(used or [None])
    for job in jobs:
        machine = next(in_turn)
        for said, told_at in ((Said.STARTED, job.started_at), (Said.DONE, job.ended_at)):
            assert told_at is not None  # every job here was begun and done
            yield Report(
                site=job.site, work_order=job, kind=said, at=told_at, by=by, machine=machine
            )
