"""This week: which day am I short of people, a loader, sand?"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, NamedTuple

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from crews.roster.short_heads import ShortHeads
from equipment.machines.models import MachineKind
from equipment.weather.calc.signs import WeatherSign
from schedules.outlook.calc.cover import ANY, Kinds, Shortage
from schedules.outlook.week import Amounts, Group, OutMachine, WeekAhead, week_ahead
from schedules.work.demand import BUSY_FRAC

from .base import Desk
from .charts import Chart
from .sand_words import say_tons, tons, tons_unit
from .week_chart import Mark, NeedStrip, draw_week

MOST_GAPS = 6  # in words; the table has all
SIGNS = {
    WeatherSign.HEAT_PEOPLE: gettext_lazy("Heat for people"),
    WeatherSign.HEAT_COWS: gettext_lazy("Heat for cows"),
    WeatherSign.FROST: gettext_lazy("Frost"),
    WeatherSign.RAIN: gettext_lazy("Rain"),
}


class Gap(NamedTuple):
    """What is short on a day, in words, and where that is answered."""

    on: date
    words: str
    where: str
    url: str


@dataclass(frozen=True, slots=True)
class Resource:
    """One thing that days ask for: its name, its unit, its amounts as shown, where it is kept."""

    name: str
    unit: str
    digits: int
    days: tuple[Amounts, ...]
    page: str

    def say(self, value: float) -> str:
        """Say a number as the page shows it."""
        return f"{value:,.{self.digits}f}"


@dataclass(frozen=True, slots=True)
class Cell:
    """One resource on one day of the table."""

    words: str
    is_short: bool


@dataclass(frozen=True, slots=True)
class DayLine:
    """One day of the table."""

    day: str
    signs: str
    cells: list[Cell]
    gaps: list[Gap]


def week_context(desk: Desk) -> dict[str, Any]:
    """Put the page together: about 22 queries."""
    week = week_ahead(desk.caller.site, desk.now)
    resources = _resources(desk, week)
    if not any(day.need for one in resources for day in one.days) and not (
        week.is_anybody_on or week.heads_short
    ):
        return {"finding": _("Nothing is planned for the coming days: no shift, no work, no sand.")}
    gaps = sorted(_gaps(desk, week), key=lambda gap: gap.on)
    return {
        "finding": _finding(desk, week, gaps),
        "gaps": gaps[:MOST_GAPS],
        "n_more": max(len(gaps) - MOST_GAPS, 0),
        "heads": [f"{one.name}, {one.unit}" for one in resources],
        "lines": [_line(desk, week, resources, gaps, n) for n in range(len(week.days))],
        "chart": _chart(desk, week, resources),
        "out": [_say_out(desk, one) for one in week.out],
        "rests_on": _rests_on(desk, week),
    }


def _resources(desk: Desk, week: WeekAhead) -> list[Resource]:
    """All people, skills that lack, machines that are asked for, sand if any is used."""
    people = [
        _hours(group, _say_group(week.skills, group.asked), "roster") for group in week.people
    ]
    machines = [_hours(group, _say_kinds(group.asked), "machines") for group in week.machines]
    sand = tuple(
        Amounts(*(tons(desk, kg) for kg in (day.need, day.have, day.short))) for day in week.sand
    )
    found = [*people, *machines]
    if any(day.need for day in sand):
        found.append(Resource(_("Ready sand"), tons_unit(desk), 0, sand, "sand"))
    return found


def _hours(group: Group, name: str, page: str) -> Resource:
    days = tuple(Amounts(d.need / 60, d.have / 60, d.short / 60) for d in group.days)
    return Resource(name, _("hours"), 1, days, page)


def _say_group(skills: dict[str, str], asked: frozenset[Kinds]) -> str:
    """Name skills that lack; all people where anybody would do."""
    if not asked or ANY in asked:
        return _("People")
    keys = sorted(key for kinds in asked for key in kinds)
    return ", ".join(skills.get(key) or key for key in keys)


def _say_kinds(asked: frozenset[Kinds]) -> str:
    kinds = sorted({kind for one in asked for kind in one})
    labels = [str(MachineKind(kind).label) if kind in MachineKind else kind for kind in kinds]
    return _(" or ").join(labels)


def _gaps(desk: Desk, week: WeekAhead) -> Iterator[Gap]:
    """Say each day's lacks of people and machines; of sand the first day and the worst."""
    slug = desk.caller.site.slug
    for on, words in _people_short(desk, week):
        url = f"{reverse('roster', args=[slug])}?from={on.isoformat()}"
        yield Gap(on, words, _("Roster"), url)
    for on, lacks in zip(week.days, week.machines_short, strict=True):
        if lacks:
            words = _("%(day)s: %(hours)s machine hours short: %(what)s.")
            told = _say_lacks(lacks, [_say_kinds(lack.asked) for lack in lacks])
            url = reverse("machines", args=[slug])
            yield Gap(on, words % {"day": desk.day(on), **told}, desk.noun("machines"), url)
    for on, words in _sand_short(desk, week):
        yield Gap(on, words, _("Sand"), reverse("sand", args=[slug]))


def _people_short(desk: Desk, week: WeekAhead) -> Iterator[tuple[date, str]]:
    """Say hours that nobody can work, and shifts that have too few, once a day."""
    for on, lacks in zip(week.days, week.people_short, strict=True):
        if lacks:
            words = _("%(day)s: %(hours)s hours of people short: %(what)s.")
            told = _say_lacks(lacks, [_say_group(week.skills, lack.asked) for lack in lacks])
            yield on, words % {"day": desk.day(on), **told}
    for on in week.days:
        shifts = [_say_heads(short) for short in week.heads_short if short.on == on]
        if shifts:
            words = _("%(day)s: people short on shifts: %(shifts)s.")
            yield on, words % {"day": desk.day(on), "shifts": "; ".join(shifts)}


def _say_heads(short: ShortHeads) -> str:
    told = {
        "kind": short.kind,
        "here": short.n_there,
        "n": short.n_needed,
        "skill": short.skill_name or short.skill,
    }
    if not short.skill:
        return _("%(kind)s %(here)d of %(n)d") % told
    return _("%(kind)s %(here)d of %(n)d for “%(skill)s”") % told


def _say_lacks(lacks: Sequence[Shortage], names: Sequence[str]) -> dict[str, str]:
    """Say all hours that lack, and of what: each with its own where there are several."""
    hours = [_say_hours(lack.short_min) for lack in lacks]
    parts = [f"{name} {each}" for name, each in zip(names, hours, strict=True)]
    total = _say_hours(sum(lack.short_min for lack in lacks))
    return {"hours": total, "what": ", ".join(parts if len(parts) > 1 else names)}


def _say_hours(minutes: float) -> str:
    return f"{max(minutes / 60, 0.1):,.1f}"


def _sand_short(desk: Desk, week: WeekAhead) -> Iterator[tuple[date, str]]:
    """Say each run of days without enough ready sand once, on its first day."""
    run: list[int] = []
    for n, amounts in enumerate((*week.sand, Amounts(0, 0, 0))):
        if amounts.is_short:
            run.append(n)
        elif run:
            yield week.days[run[0]], _say_sand(desk, week, run)
            run = []


def _say_sand(desk: Desk, week: WeekAhead, run: Sequence[int]) -> str:
    told = {
        "day": desk.day(week.days[run[0]]),
        "last": desk.day(week.days[run[-1]]),
        "sand": say_tons(desk, max(week.sand[n].short for n in run), digits=1),
    }
    if len(run) == 1:
        return _("%(day)s: %(sand)s of ready sand short.") % told
    return _("%(day)s to %(last)s: up to %(sand)s of ready sand short.") % told


def _finding(desk: Desk, week: WeekAhead, gaps: Sequence[Gap]) -> str:
    """Name the first short day, and how many there are; or say that none is."""
    short = _short_days(week)
    if not short:
        return _("No day of the next seven is short of people, machines or sand.")
    n = len(short)
    words = ngettext(
        "%(n)d day of the next seven is short: %(days)s.",
        "%(n)d days of the next seven are short: %(days)s.",
        n,
    )
    return words % {"n": n, "days": ", ".join(desk.day(on) for on in short)}


def _short_days(week: WeekAhead) -> list[date]:
    lacks = zip(week.people_short, week.machines_short, week.sand, strict=True)
    heads = {short.on for short in week.heads_short}
    return [
        on
        for on, (people, machines, sand) in zip(week.days, lacks, strict=True)
        if on in heads or people or machines or sand.is_short
    ]


def _line(
    desk: Desk, week: WeekAhead, resources: Iterable[Resource], gaps: Iterable[Gap], n: int
) -> DayLine:
    on = week.days[n]
    return DayLine(
        day=_day_name(desk, week, n),
        signs=", ".join(str(SIGNS[sign]) for sign in week.signs[n]),
        cells=[_cell(one, one.days[n]) for one in resources],
        gaps=[gap for gap in gaps if gap.on == on],
    )


def _day_name(desk: Desk, week: WeekAhead, n: int) -> str:
    day = desk.day(week.days[n])
    return day if n else _("%s, from now on") % day


def _cell(one: Resource, day: Amounts) -> Cell:
    if not day.need:
        return Cell("–", is_short=False)
    words = _("%(have)s for %(need)s") % {"have": one.say(day.have), "need": one.say(day.need)}
    if day.is_short:
        words += " " + _("(%s short)") % one.say(day.short)
    return Cell(words, day.is_short)


def _chart(desk: Desk, week: WeekAhead, resources: Sequence[Resource]) -> Chart:
    """Draw need and have by day, every resource on the one scale of its need."""
    short = [on for n, on in enumerate(week.days) if any(one.days[n].is_short for one in resources)]
    finding = (
        _("Bars that stay below the line of what is asked: %s.")
        % ", ".join(desk.day(on) for on in short)
        if short
        else _("Every bar reaches the line of what is asked.")
    )
    svg = draw_week(
        key="week",
        days=[desk.day(on) for on in week.days],
        strips=[_strip(desk, week, one) for one in resources],
        title=_("What each day asks for, and what is there"),
        desc=finding,
    )
    heads = (_("What"), _("Day"), _("Asked for"), _("There"), _("Short"))
    rows = tuple(
        (
            one.name,
            desk.day(on),
            f"{one.say(day.need)} {one.unit}",
            f"{one.say(day.have)} {one.unit}",
            f"{one.say(day.short)} {one.unit}" if day.is_short else "–",
        )
        for one in resources
        for on, day in zip(week.days, one.days, strict=True)
    )
    legend = (
        ("bar soft", _("there, in shares of what is asked; drawn up to one and a half times")),
        ("job late", _("there, but short")),
    )
    return Chart("week", finding, svg, heads, rows, legend)


def _strip(desk: Desk, week: WeekAhead, one: Resource) -> NeedStrip:
    url = reverse(one.page, args=[desk.caller.site.slug])
    return NeedStrip(
        one.name,
        one.unit,
        [_mark(desk, one, on, day, url) for on, day in zip(week.days, one.days, strict=True)],
    )


def _mark(desk: Desk, one: Resource, on: date, day: Amounts, url: str) -> Mark:
    if not day.need:
        return Mark(None, _("none asked"), "", is_short=False, title="", url="")
    return Mark(
        have_frac=day.have / day.need,
        have=one.say(day.have),
        need=_("of %s") % one.say(day.need),
        is_short=day.is_short,
        title=f"{one.name}, {desk.day(on)}: {_cell(one, day).words}",
        url=url if day.is_short else "",
    )


def _say_out(desk: Desk, one: OutMachine) -> str:
    if not one.service_on:
        return _("%s: out of use, counted on no day") % one.name
    days = ", ".join(desk.day(on) for on in one.service_on)
    return _("%(name)s: service due %(days)s") % {"name": one.name, "days": days}


def _rests_on(desk: Desk, week: WeekAhead) -> list[str]:
    """Say what the figures count, and what they do not."""
    return [
        _("Asked of people: minutes of all open work by its standing orders, times its people. "
          "Work of several days counts on each by its share; what is late counts today."),
        _("There of people: %(busy).0f%% of the hours on shift, as published or by the rotations; "
          "the rest is breaks, ways and waiting. Whoever has several skills is counted once.")
        % {"busy": 100 * BUSY_FRAC},
        _("There of a machine in use: %(hours)s hours a day with a driver, less services that "
          "fall due. One out of use counts for nothing until it is back.")
        % {"hours": f"{week.manned_h_d:g}"},
        _("Sand: what is ready that day in the middle of the chances, against what the beds take "
          "and a safety stock of %s.") % say_tons(desk, week.safety_kg),
        _("Shifts: people of a skill there against those the roster needs; the hour of the day is "
          "seen in nothing else here."),
    ]  # fmt: skip
