"""From the farm's rows to one day-plan problem: everything the plan rests on, read once."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta

from crews.people.models import WorkerSkill
from crews.roster.models import Shift
from crews.roster.queries import working_shifts
from equipment.machines.models import Machine
from equipment.machines.queries import machines_of, usable_machine_ids
from equipment.site.calc import heat_rest
from equipment.site.calc.local_time import local_date_of, resolve
from equipment.site.calc.sun import daylight
from equipment.site.models import HoldSubject, Place, PlaceKind, Site
from equipment.site.queries import open_holds
from equipment.weather.heat import heat_of_day
from schedules.work.models import Status, WorkOrder

from .calc import problem as p
from .calc import resources as r
from .calc.solution import Reason
from .closures import closures_of
from .jobs import JobList
from .lastuse import LastUse, last_uses
from .models import PlanPractice
from .queries import practice_of

HORIZON = timedelta(hours=26)  # a rolling day: the night runs into the morning
EXCLUSIVE = (PlaceKind.ALLEY, PlaceKind.BAY, PlaceKind.LANE, PlaceKind.TANK)
HEAT_FROM, HEAT_UNTIL = time(12), time(18)  # the hot part of a day; common practice, no source


@dataclass(frozen=True, slots=True)
class DayFacts:
    """What a solve was made of, and orders that cannot even be asked for, with their reasons.

    `aside` has the latter's jobs, for whoever gives them by hand.
    """

    problem: p.Problem
    orders: dict[str, WorkOrder]
    unaskable: dict[int, Reason]
    aside: dict[int, p.Job]


def build_day(site_id: int, now: datetime) -> DayFacts:
    """Make the problem of the next 26 hours: 32 queries for any amount of work."""
    site = Site.objects.get(id=site_id)
    start, end = now, now + HORIZON
    shifts = list(working_shifts(site_id, start, end))
    machines = list(machines_of(site_id))
    places = list(Place.objects.filter(site_id=site_id))
    keys = {place.pk: place.key for place in places}
    orders = _open_orders(site_id, start, end)
    held = _held_ids(site_id)
    people = _people(site, shifts, _start_place(places), start, end)
    practice = practice_of(site_id)
    jobs = JobList(site, keys, orders, shifts, held=held, now=now, practice=practice)
    jobs.add_all(people_ids={x.id for x in people}, machine_ids={str(m.pk) for m in machines})
    problem = p.Problem(
        horizon=r.Interval(start, end),
        places=(
            *(r.Place(x.key, x.x_m, x.y_m, is_exclusive=x.kind in EXCLUSIVE) for x in places),
            *jobs.watch_places,
        ),
        people=tuple(people),
        machines=tuple(_machines(site_id, machines, keys, start, end)),
        jobs=tuple(jobs.made),
        blocks=tuple(
            r.Block(keys[c.place_id], c.start, c.end, c.why)
            for c in closures_of(site_id, start, end)
        ),
        daylight=tuple(_daylight(site, start, end)),
        walk_m_min=site.walk_speed_m_min,
        weights=_weights(practice),
    )
    return DayFacts(problem, {str(o.pk): o for o in orders}, jobs.unaskable, jobs.aside)


def _weights(practice: PlanPractice) -> p.Weights:
    return p.Weights(
        change_per_job=practice.change_price,
        off_crew_per_job=practice.off_crew_price,
        overtime_per_min=practice.overtime_price,
        balance_per_min=practice.balance_price,
    )


def _open_orders(site_id: int, start: datetime, end: datetime) -> list[WorkOrder]:
    return list(
        WorkOrder.objects.filter(
            site_id=site_id,
            status__in=[Status.NEEDS_ACTION, Status.IN_PROCESS],
            starts_after__lt=end,
        )
        .exclude(status=Status.NEEDS_ACTION, due_at__lte=start)
        .select_related("place__parent", "standing_order", "batch")
        .order_by("id")
    )


def _held_ids(site_id: int) -> dict[str, set[int]]:
    held: dict[str, set[int]] = defaultdict(set)
    for kind in (HoldSubject.PEN, HoldSubject.BATCH):
        held[kind] = set(open_holds(site_id, kind).values_list("subject_id", flat=True))
    return held


def _start_place(places: Sequence[Place]) -> str:
    """Where people stand when a shift begins: the yard, the shop, the parlor, or anywhere."""
    for kind in (PlaceKind.YARD, PlaceKind.SHOP, PlaceKind.PARLOR):
        found = next((x.key for x in places if x.kind == kind and x.retired_at is None), None)
        if found:
            return found
    return places[0].key


# People and machines ----------------------------------------------------------------------------


def _people(
    site: Site, shifts: Sequence[Shift], start_place: str, start: datetime, end: datetime
) -> list[r.Person]:
    skills = _skills(site, end)
    rests = _heat_rests(site, start, end)
    by_worker: dict[int, list[Shift]] = defaultdict(list)
    for shift in shifts:
        by_worker[shift.worker_id].append(shift)
    return [
        r.Person(
            id=str(worker_id),
            start_place=start_place,
            shifts=tuple(r.Shift(s.starts_at, s.ends_at) for s in mine),
            crew=str(mine[0].worker.crew_id) if mine[0].worker.crew_id else None,
            breaks=tuple(b for s in mine for b in _breaks(s)),
            skills=tuple(skills.get(worker_id, ())),
            heat_rests=tuple(rests),
        )
        for worker_id, mine in by_worker.items()
    ]


def _breaks(shift: Shift) -> Iterable[r.Interval]:
    for rest in shift.pattern.breaks:
        begins = shift.starts_at + timedelta(minutes=rest["after_min"])
        yield r.Interval(begins, begins + timedelta(minutes=rest["length_min"]))


def _skills(site: Site, end: datetime) -> dict[int, list[r.Skill]]:
    """Skills each worker holds today, with the instant they lapse."""
    today = local_date_of(end - HORIZON, site.zone)
    found: dict[int, list[r.Skill]] = defaultdict(list)
    rows = WorkerSkill.objects.filter(site=site, from_on__lte=today).exclude(until_on__lte=today)
    for worker_id, key, until_on in rows.values_list("worker_id", "skill__key", "until_on"):
        lapses = None
        if until_on is not None:
            lapses = resolve(datetime.combine(until_on, time(0)), site.zone)
        found[worker_id].append(r.Skill(key, lapses))
    return found


def _heat_rests(site: Site, start: datetime, end: datetime) -> list[r.HeatRest]:
    """Rest owed in the hot hours of today, by its forecast or the last recorded days.

    Without weather nothing is reckoned, and the farm's own heat plan and local law govern in any
    case.
    """
    today = local_date_of(start, site.zone)
    heat = heat_of_day(site.pk, today)
    if heat is None or not heat.is_hot_for_people:
        return []
    light, moderate, heavy = (_rest_min(heat.rests[effort]) for effort in heat_rest.Effort)
    spans = []
    for day in {today, local_date_of(end, site.zone)}:
        begins = resolve(datetime.combine(day, HEAT_FROM), site.zone)
        ends = resolve(datetime.combine(day, HEAT_UNTIL), site.zone)
        spans.append(r.HeatRest(begins, ends, light, moderate, heavy))
    return sorted(spans, key=lambda x: x.start)


def _rest_min(found: heat_rest.WorkRest) -> int:
    """Give rest an hour; where the table says caution, all of it: a lead decides by law."""
    return 60 if found.rest_min_per_h is None else found.rest_min_per_h


def _machines(
    site_id: int, machines: Sequence[Machine], keys: Mapping[int, str], now: datetime, end: datetime
) -> Iterable[r.Machine]:
    """Machines as they stand: where work last had them, what their bucket last touched."""
    whole = r.Interval(now, end)
    usable = usable_machine_ids(site_id)
    uses = last_uses(site_id, now)
    for m in machines:
        use = uses.get(m.pk, LastUse())
        yield r.Machine(
            id=str(m.pk),
            kind=m.kind,
            start_place=keys[use.place_id or m.home_id],
            speed_m_min=m.travel_m_min,
            available=(whole,),
            holds=() if m.pk in usable else (whole,),
            driver_skill=m.driver_skill or None,
            hookup_min=2,
            last_bucket=use.bucket,
        )


# When there is light --------------------------------------------------------------------------


def _daylight(site: Site, start: datetime, end: datetime) -> Iterable[r.Interval]:
    day, last = local_date_of(start, site.zone), local_date_of(end, site.zone)
    while day <= last:
        sun = daylight(day, site.latitude_deg, site.longitude_deg, site.zone)
        if sun is not None:
            yield r.Interval(*sun)
        day += timedelta(days=1)
