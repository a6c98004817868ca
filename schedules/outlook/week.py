"""The coming days: what they ask of people, machines and sand, against what is there.

Of jobs, shifts and machines alone: nothing that is read here names a person.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np

from crews.roster.queries import SkillHours, hours_by_skills
from crews.roster.short_heads import ShortHeads, short_heads
from equipment.machines.figures import is_routine, practice_of
from equipment.machines.queries import MachineView, machines_ahead
from equipment.site.calc.local_time import day_bounds, local_date_of
from equipment.site.models import Site
from equipment.weather.calc.signs import WeatherSign, signs_of
from equipment.weather.heat import heat_foretold
from equipment.weather.queries import forecast_days
from schedules.sand.calc.ahead import SandAhead
from schedules.work.demand import BUSY_FRAC
from schedules.work.week_need import DayNeed, needs_by_day

from .calc.cover import ANY, Kinds, Shortage, shortages, total_min
from .supply import ready_sand

N_DAYS = 7
MIDDLE = 0.5
ByDay = list[dict[Kinds, float]]
Lacks = tuple[Shortage, ...]  # of one day, the greatest first


@dataclass(frozen=True, slots=True)
class Amounts:
    """One resource on one day: what is asked and what is there, in one unit."""

    need: float
    have: float
    short: float

    @property
    def is_short(self) -> bool:
        """Whether it is to be told."""
        return self.short > 0


@dataclass(frozen=True, slots=True)
class Group:
    """Skills, or kinds of machine, with what work asks of them by day: minutes.

    `asked` is empty for all people together.
    """

    asked: frozenset[Kinds]
    days: tuple[Amounts, ...]


@dataclass(frozen=True, slots=True)
class OutMachine:
    """A machine that cannot be counted on: in service on these days, or (none) out of use."""

    name: str
    service_on: tuple[date, ...]


@dataclass(frozen=True, slots=True)
class WeekAhead:
    """The days from today on; the first is what is left of today.

    `people` are hours after what breaks, ways and waiting take; `people` and `machines` are
    minutes, `sand` kilograms. Sand is short below the safety stock. `skills` has names by key.
    """

    days: tuple[date, ...]
    people: tuple[Group, ...]
    people_short: tuple[Lacks, ...]
    heads_short: tuple[ShortHeads, ...]
    machines: tuple[Group, ...]
    machines_short: tuple[Lacks, ...]
    sand: tuple[Amounts, ...]
    out: tuple[OutMachine, ...]
    signs: tuple[tuple[WeatherSign, ...], ...]
    skills: dict[str, str]
    manned_h_d: float
    safety_kg: float
    is_anybody_on: bool


def week_ahead(site: Site, now: datetime) -> WeekAhead:
    """Give the coming seven days: 20 queries, up to 22 after a reading or without a forecast."""
    today = local_date_of(now, site.zone)
    days = tuple(today + timedelta(days=n) for n in range(N_DAYS))
    spans = [day_bounds(on, site.zone) for on in days]
    left_frac = (spans[0][1] - now) / (spans[0][1] - spans[0][0])
    needs = needs_by_day(site.pk, spans, now)
    shifts = hours_by_skills(site.pk, spans, now)
    ahead, own = ready_sand(site, now, N_DAYS, left_frac)
    manned_h_d = practice_of(site.pk).manned_h_d or own.loader_h_d
    views = machines_ahead(site)
    services = _services(views, days)
    people, people_short = _groups(_asked_of_people(needs), _people_min(shifts), is_all=True)
    machine_min = _machine_min(views, services, manned_h_d, days, left_frac)
    machines, machines_short = _groups(_asked_of_machines(needs), machine_min)
    return WeekAhead(
        days=days,
        people=people,
        people_short=people_short,
        heads_short=tuple(short_heads(site, today, today + timedelta(days=N_DAYS), now)),
        machines=machines,
        machines_short=machines_short,
        sand=_sand(ahead),
        out=_out(views, services),
        signs=_signs(site.pk, days),
        skills={need.skill: need.skill_name for need in needs if need.skill_name},
        manned_h_d=manned_h_d,
        safety_kg=ahead.safety_kg,
        is_anybody_on=bool(shifts),
    )


def _asked_of_people(needs: Iterable[DayNeed]) -> ByDay:
    found: ByDay = [defaultdict(float) for _n in range(N_DAYS)]
    for need in needs:
        found[need.n_day][frozenset([need.skill]) if need.skill else ANY] += need.person_min
    return found


def _asked_of_machines(needs: Iterable[DayNeed]) -> ByDay:
    found: ByDay = [defaultdict(float) for _n in range(N_DAYS)]
    for need in needs:
        if need.machine_kinds:
            found[need.n_day][need.machine_kinds] += need.machine_min
    return found


def _people_min(shifts: Iterable[SkillHours]) -> ByDay:
    """What people on shift can work, by skills held."""
    have: ByDay = [defaultdict(float) for _n in range(N_DAYS)]
    for shift in shifts:
        have[shift.n_day][shift.skills] += BUSY_FRAC * shift.shift_min
    return have


def _groups(
    asked: ByDay, have: ByDay, *, is_all: bool = False
) -> tuple[tuple[Group, ...], tuple[Lacks, ...]]:
    """Hold asked against there, and give each day's lacks.

    Groups are all together if wanted, else each choice of kinds that is asked for, and whatever
    lacks on some day.
    """
    lacks = tuple(shortages(need, there) for need, there in zip(asked, have, strict=True))
    shown = {lack.asked for of_day in lacks for lack in of_day}
    first: tuple[Group, ...] = ()
    if is_all:
        shown = {of for of in shown if ANY not in of}  # else that is all people
        everything = frozenset(kinds for need in asked for kinds in need)
        first = (Group(frozenset(), _amounts(everything | {ANY}, asked, have)),)
    else:
        shown |= {frozenset([kinds]) for need in asked for kinds in need}
    rest = sorted(shown, key=lambda of: sorted(map(sorted, of)))
    return (*first, *(Group(of, _amounts(of, asked, have)) for of in rest)), lacks


def _amounts(of: frozenset[Kinds], asked: ByDay, have: ByDay) -> tuple[Amounts, ...]:
    """Add up one group's days."""
    found = []
    for need, there in zip(asked, have, strict=True):
        need_min = sum(minutes for kinds, minutes in need.items() if kinds in of)
        have_min = total_min(of, there)
        found.append(Amounts(need_min, have_min, max(round(need_min - have_min), 0)))
    return tuple(found)


def _services(
    views: Iterable[MachineView], days: Sequence[date]
) -> list[tuple[MachineView, date, float]]:
    """Services that fall due on these days, or are overdue, on machines in use: day, minutes.

    Daily and weekly rounds are done where the machine stands, and are left out.
    """
    return [
        (view, max(one.due.due_on, days[0]), float(one.item.duration_min))
        for view in views
        if view.is_usable
        for one in view.dues
        if one.due.due_on is not None and one.due.due_on <= days[-1] and not is_routine(one)
    ]


def _machine_min(
    views: Iterable[MachineView],
    services: Iterable[tuple[MachineView, date, float]],
    manned_h_d: float,
    days: Sequence[date],
    left_frac: float,
) -> ByDay:
    """Minutes that machines in use have a driver for, by kind and day, less their services."""
    have: ByDay = [defaultdict(float) for _on in days]
    taken: dict[tuple[int, date], float] = defaultdict(float)
    for view, on, minutes in services:
        taken[view.machine.pk, on] += minutes
    for view in views:
        for n, on in enumerate(days):
            there_min = 60 * manned_h_d * (left_frac if n == 0 else 1) if view.is_usable else 0
            left_min = max(there_min - taken[view.machine.pk, on], 0.0)
            have[n][frozenset([view.machine.kind])] += left_min
    return have


def _out(
    views: Iterable[MachineView], services: Iterable[tuple[MachineView, date, float]]
) -> tuple[OutMachine, ...]:
    """Machines out of use, then those that go in for service, the soonest first."""
    held = [OutMachine(view.machine.name, ()) for view in views if not view.is_usable]
    due: dict[str, set[date]] = defaultdict(set)
    for view, on, _minutes in services:
        due[view.machine.name].add(on)
    found = [OutMachine(name, tuple(sorted(days))) for name, days in due.items()]
    return (*held, *sorted(found, key=lambda one: (one.service_on, one.name)))


def _sand(ahead: SandAhead) -> tuple[Amounts, ...]:
    """Hold ready sand against what beds take, in the middle of the chances; owed sand is asked too.

    A day has what was left the evening before and what gets ready on it, and asks for its use and
    the safety stock.
    """
    before_kg = ahead.stock_kg - ahead.arrive_kg + ahead.use_kg
    there_kg, use_kg = (
        np.quantile(members, MIDDLE, axis=0, method="inverted_cdf").tolist()
        for members in (before_kg + ahead.arrive_kg, ahead.use_kg)
    )
    found = []
    for there, use in zip(there_kg, use_kg, strict=True):
        need, have = use + ahead.safety_kg + max(-there, 0.0), max(there, 0.0)
        found.append(Amounts(need, have, max(need - have, 0.0) if use > 0 else 0.0))
    return tuple(found)


def _signs(site_id: int, days: Sequence[date]) -> tuple[tuple[WeatherSign, ...], ...]:
    """What each day is warned of by its forecast, nothing where nobody foretold it: 1 query."""
    told = list(forecast_days(site_id, days[0], len(days)))
    heat = heat_foretold(told)
    signs = {
        day.on: signs_of(
            tmin_degc=day.tmin_degc,
            rain_chance_frac=day.rain_chance_frac,
            rain_mm=day.rain_mm,
            is_hot_for_people=heat[day.on].is_hot_for_people,
            is_hot_for_cows=heat[day.on].is_hot_for_cows,
        )
        for day in told
    }
    return tuple(signs.get(on, ()) for on in days)
