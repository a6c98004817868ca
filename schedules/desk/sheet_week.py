"""The week's sheet of each crew: who works when, and the standing work due each day."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.http import HttpResponse
from django.urls import reverse
from django.utils import formats
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from crews.people.models import Worker
from crews.people.queries import skills_on
from crews.roster.build import Facts, read_facts
from crews.roster.dates import AHEAD_MOST, hours_on, today_of
from equipment.site.errors import InvalidInputError
from schedules.work.queries import StandingDue, standing_due

from .base import Desk, desk_view
from .paper import (
    N_BLANK,
    REST,
    Cell,
    Sheet,
    Table,
    Width,
    a_line,
    both,
    boxes,
    print_sheets,
    said_in_both,
    two_lines,
    word_line,
    word_lines,
)
from .roster import marks_of

N_DAYS = 7
COLUMNS: tuple[Width, ...] = (REST, *[19] * N_DAYS)
DAY_FORMAT = "D j"  # the month stands in the name of the table
CAUTION = {
    "en": "Hours and rest by law and by the farm's rules go before this sheet. Work in heat: "
    "water, shade, rest.",
    "es": "Las horas y el descanso por ley y por las reglas del rancho van antes que esta hoja. "
    "Con calor: agua, sombra, descanso.",
}
Span = tuple[datetime, datetime]


@dataclass(frozen=True, slots=True)
class Week:
    """Seven days, the people and shifts of them, and the standing work."""

    days: tuple[date, ...]
    facts: Facts
    skills: dict[int, set[str]]
    work: list[StandingDue]


@desk_view
def week_sheet(desk: Desk) -> HttpResponse:
    """Give seven days from `?from=` on (today without it) by crew: 15 queries."""
    from_on = _asked_day(desk)
    until_on = from_on + timedelta(days=N_DAYS)
    week = Week(
        days=tuple(from_on + timedelta(days=n) for n in range(N_DAYS)),
        facts=read_facts(desk.caller.site, from_on, until_on),
        skills=skills_on(desk.site_id, from_on),
        work=standing_due(desk.site_id, from_on, until_on),
    )
    # Without people the sheet is a form to fill by hand.
    crews = _crews(desk, week.facts.workers) or {desk.caller.site.name: []}
    sheets = [_sheet(desk, week, crew, people) for crew, people in crews.items()]
    title = f"{desk.caller.site.name}: {desk.day(from_on)}"
    return print_sheets(desk, sheets, title=title, name="week-sheet")


def _asked_day(desk: Desk) -> date:
    today = today_of(desk.caller.site, desk.now)
    text = desk.request.GET.get("from", "")
    try:
        on = date.fromisoformat(text) if text else today
    except ValueError as error:
        raise InvalidInputError(_("Give the week by its first day, as in 2026-03-09.")) from error
    if abs(on - today) > AHEAD_MOST:
        raise InvalidInputError(_("A roster is shown up to 60 days from today."))
    return on


def _crews(desk: Desk, workers: Iterable[Worker]) -> dict[str, list[Worker]]:
    found: dict[str, list[Worker]] = defaultdict(list)
    for worker in workers:
        crew = worker.crew.name if worker.crew else word_line(desk, gettext_lazy("No crew"))
        found[crew].append(worker)
    return dict(sorted(found.items()))


def _sheet(desk: Desk, week: Week, crew: str, people: list[Worker]) -> Sheet:
    first, last = week.days[0], week.days[-1]
    note = "· " + a_line(
        desk, lambda d: _("%(first)s to %(last)s") % {"first": d.day(first), "last": d.day(last)}
    )
    days = [_day_head(desk, on) for on in week.days]
    roster = Table(
        name=crew,
        note=note,
        columns=COLUMNS,
        heads=[word_lines(desk, gettext_lazy("Person")), *days],
        rows=_people_rows(desk, week, people),
    )
    work = Table(
        name=word_line(desk, gettext_lazy("Standing work")),
        note=f"· {crew} {note}",
        columns=COLUMNS,
        heads=[word_lines(desk, gettext_lazy("Work")), *days],
        rows=_work_rows(desk, week, people),
        blank=["", *[boxes(1)] * N_DAYS],
        n_blank=N_BLANK,
    )
    back = f"{reverse('roster', args=[desk.caller.site.slug])}?from={first.isoformat()}"
    rests = both(desk, lambda _d: _("Work that somebody of this crew may do, in the hours of its "
                                    "shifts; others may have it too. Who has it stands in the "
                                    "plan of the day."))  # fmt: skip
    return Sheet([roster, work], back, [*rests.values(), *CAUTION.values()])


def _day_head(desk: Desk, on: date) -> list[str]:
    return two_lines(desk, lambda _d: formats.date_format(on, DAY_FORMAT))


def _people_rows(desk: Desk, week: Week, people: Sequence[Worker]) -> list[list[Cell]]:
    """Each person's days: the hours of the shift, or why there is none."""
    worked, marks = week.facts.worked(), _marks(desk, week.facts)

    def cell(worker: Worker, on: date) -> Cell:
        kind = worked.get((worker.pk, on))
        if kind is None:
            return marks.get((worker.pk, on), "–")
        return [desk.clock(at) for at in _hours(week, kind, on)]

    return [[one.name, *(cell(one, on) for on in week.days)] for one in people]


def _marks(desk: Desk, facts: Facts) -> dict[tuple[int, date], list[str]]:
    """Why a day has no shift, in both languages."""
    said = both(desk, lambda _d: marks_of(facts))
    return {key: list(dict.fromkeys(marks[key] for marks in said.values())) for key in said["en"]}


def _hours(week: Week, kind: str, on: date) -> Span:
    return hours_on(week.facts.site, week.facts.kinds.patterns[kind][0], on)


def _work_rows(desk: Desk, week: Week, people: Iterable[Worker]) -> list[list[Cell]]:
    """Standing work that the crew may do by its skills, in its hours; a row each title."""
    people = list(people)
    skills = {skill for one in people for skill in week.skills.get(one.pk, ())}
    spans = _spans(week, people)
    sums: dict[str, dict[date, list[int]]] = defaultdict(dict)
    titles = {}
    for one in week.work:
        if (one.skill and one.skill not in skills) or not _meets(one, spans):
            continue
        title = said_in_both(one.title)
        key = "\n".join(title.values())
        titles[key] = title
        n_jobs, n_stalls = sums[key].get(one.on, (0, 0))
        sums[key][one.on] = [n_jobs + 1, n_stalls + one.n_stalls]
    return [
        [_title(desk, titles[key], of_day), *(_amount(of_day.get(on)) for on in week.days)]
        for key, of_day in sorted(sums.items())
    ]


def _spans(week: Week, people: Iterable[Worker]) -> set[Span]:
    """When somebody of the crew is on shift."""
    mine = {one.pk for one in people}
    return {
        _hours(week, kind, on)
        for (worker_id, on), kind in week.facts.worked().items()
        if worker_id in mine
    }


def _meets(one: StandingDue, spans: Iterable[Span]) -> bool:
    return any(start < one.due_at and one.starts_after < end for start, end in spans)


def _title(desk: Desk, title: dict[str, str], of_day: dict[date, list[int]]) -> Cell:
    """Name the work, and what its amounts count: stalls, else times."""
    is_stalls = any(n_stalls for _n, n_stalls in of_day.values())
    unit = gettext_lazy("stalls") if is_stalls else gettext_lazy("times")
    return [title, word_line(desk, unit)]


def _amount(counts: list[int] | None) -> Cell:
    """How much is due on a day, with a box to tick."""
    if counts is None:
        return "–"
    n_jobs, n_stalls = counts
    return boxes(1, f"{n_stalls or n_jobs:,}")
