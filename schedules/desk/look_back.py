"""Look back: did every bed get its turn, what did it cost?"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django.http import HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from equipment.site.errors import InvalidInputError
from schedules.work.calc.turns import Turns, total, worst_first
from schedules.work.look_back import LookBack, PenRecord, Week, WeekTaken, look_back

from .base import Desk, desk_view
from .charts import Chart
from .csv_files import answer_csv, csv_columns
from .grid_chart import Cell, GridRow, draw_grid
from .sand_words import say_tons, tons_unit

CHOICES = (4, 8)  # weeks
MOST_WORST = 3  # pens named in words; the chart and its table have all


@dataclass(frozen=True, slots=True)
class WeekLine:
    """What one week took, in words."""

    week: str
    person_h: str
    machine_h: str
    loads: str
    sand: str
    jobs: str


def look_back_context(desk: Desk) -> dict[str, Any]:
    """Put the page together: about 6 queries."""
    n_weeks = _asked_weeks(desk)
    found = look_back(desk.caller.site, desk.now, n_weeks)
    address = reverse("look-back", args=[desk.caller.site.slug])
    choices = [(f"{address}?weeks={n}", n, n == n_weeks) for n in CHOICES]
    context: dict[str, Any] = {
        "n_weeks": n_weeks,
        "choices": choices,
        "span": _say_span(desk, found),
    }
    if not _is_anything(found):
        return context | {"finding": _("Nothing is on record of these weeks: no turn, no sand.")}
    by_pen = {record.pen.pk: record for record in found.pens}
    sums = {pk: total(week.turns for week in record.weeks) for pk, record in by_pen.items()}
    ranked = [by_pen[pk] for pk in worst_first(sums)]
    return context | {
        "finding": _finding(total(sums.values())),
        "worst": [
            _say_pen(desk, record, sums[record.pen.pk])
            for record in ranked[:MOST_WORST]
            if (sums[record.pen.pk].full_frac or 0) < 1 and sums[record.pen.pk].n_due
        ],
        "charts": [_turns_chart(desk, found, ranked, sums), _sand_chart(desk, found, ranked)],
        "lines": [
            _week_line(desk, week, taken)
            for week, taken in zip(found.weeks, found.taken, strict=True)
        ],
        "planned": _say_planned(found.taken),
        "unit": tons_unit(desk),
    }


def _asked_weeks(desk: Desk) -> int:
    text = desk.request.GET.get("weeks", str(CHOICES[0]))
    if text not in map(str, CHOICES):
        raise InvalidInputError(_("Look back over 4 or 8 weeks."))
    return int(text)


def _is_anything(found: LookBack) -> bool:
    is_told = any(w.turns.n_due or w.sand_kg for record in found.pens for w in record.weeks)
    return is_told or any(week.n_jobs for week in found.taken)


def _say_span(desk: Desk, found: LookBack) -> str:
    first, last = found.weeks[0][0], found.weeks[-1][1] - timedelta(days=1)
    return _("%(first)s to %(last)s") % {"first": desk.day(first), "last": desk.day(last)}


def _finding(turns: Turns) -> str:
    """Say first how many turns were done in full, then what became of the others."""
    if not turns.n_due:
        return _("No turn of beds was due in these weeks.")
    if turns.n_full == turns.n_due:
        words = ngettext(
            "%(n)s turn of a row of beds was due, and done in full.",
            "All %(n)s turns of rows of beds were done in full.",
            turns.n_due,
        )
        return words % {"n": f"{turns.n_due:,}"}
    words = ngettext(
        "%(full)s of %(n)s turn of a row of beds was done in full",
        "%(full)s of %(n)s turns of rows of beds were done in full",
        turns.n_due,
    )
    said = words % {"full": f"{turns.n_full:,}", "n": f"{turns.n_due:,}"}
    return f"{said}; {_say_others(turns)}."


def _say_others(turns: Turns) -> str:
    """Say what was not done in full, each only where there is any."""
    said = []
    if turns.n_missed:
        said.append(_("%(n)s not done") % {"n": turns.n_missed})
    if turns.n_part:
        said.append(_("%(n)s in part") % {"n": turns.n_part})
    if turns.n_untold:
        said.append(_("%(n)s not told") % {"n": turns.n_untold})
    return ", ".join(said)


def _say_pen(desk: Desk, record: PenRecord, turns: Turns) -> str:
    words = _("%(pen)s: %(full)s of %(due)s in full, %(others)s.")
    return words % {
        "pen": desk.place(record.pen.place),
        "full": f"{turns.n_full:,}",
        "due": f"{turns.n_due:,}",
        "others": _say_others(turns),
    }


def _from(desk: Desk, week: Week) -> str:
    return _("from %s") % desk.day(week[0])


def _turns_chart(
    desk: Desk, found: LookBack, ranked: Iterable[PenRecord], sums: dict[int, Turns]
) -> Chart:
    """Draw each pen's turns week by week, the pen that fared worst on top."""
    ranked = list(ranked)
    parts = (_("in full"), _("in part"), _("not done"), _("not told"))
    finding = _("Turns done in full of those due, by week; what fared worst stands on top.")
    svg = draw_grid(
        key="turns",
        columns=[_from(desk, week) for week in found.weeks],
        rows=[
            GridRow(desk.place(record.pen.place), [_turns_cell(w.turns) for w in record.weeks])
            for record in ranked
        ],
        title=_("Turns of rows of beds by week"),
        desc=_finding(total(sums.values())),
        has_hatch=True,
    )
    heads = (desk.noun("pen"), _("Week"), _("Due"), *(part.capitalize() for part in parts))
    rows = tuple(
        (
            desk.place(record.pen.place),
            _from(desk, week),
            *(f"{n:,}" for n in (t.n_due, t.n_full, t.n_part, t.n_missed, t.n_untold)),
        )
        for record in ranked
        for week, t in _by_week(found, [one.turns for one in record.weeks])
    )
    kinds = ("job done", "job part", "job late", "job")
    return Chart("turns", finding, svg, heads, rows, tuple(zip(kinds, parts, strict=True)))


def _by_week(found: LookBack, of: Sequence[Turns]) -> Iterator[tuple[Week, Turns]]:
    return zip(found.weeks, of, strict=True)


def _turns_cell(turns: Turns) -> Cell:
    if not turns.n_due:
        return Cell((), "–", "")
    words = f"{turns.n_full:,} / {turns.n_due:,}"
    others = _say_others(turns)
    return Cell(
        parts=(
            (turns.n_full, "job done"),
            (turns.n_part, "job part"),
            (turns.n_missed, "job late"),
            (turns.n_untold, "job"),
        ),
        words=words,
        title=f"{words}; {others}" if others else words,
    )


def _sand_chart(desk: Desk, found: LookBack, ranked: Iterable[PenRecord]) -> Chart:
    """Draw the sand that each pen's stalls got, on one scale, in the order of the turns."""
    ranked = list(ranked)
    finding = _say_sand(desk, found)
    svg = draw_grid(
        key="bedded",
        columns=[_from(desk, week) for week in found.weeks],
        rows=[
            GridRow(
                desk.place(record.pen.place),
                [_sand_cell(desk, record, n) for n in range(len(found.weeks))],
            )
            for record in ranked
        ],
        title=_("Sand for each stall by week"),
        desc=finding,
    )
    heads = (desk.noun("pen"), _("Week"), _("Days with sand"), _("Sand"), _("For each stall"))
    rows = tuple(
        (
            desk.place(record.pen.place),
            _from(desk, week),
            f"{one.n_beddings}",
            say_tons(desk, one.sand_kg, digits=1),
            _per_stall(desk, one.sand_kg, record.n_stalls),
        )
        for record in ranked
        for week, one in zip(found.weeks, record.weeks, strict=True)
    )
    return Chart("bedded", finding, svg, heads, rows)


def _say_sand(desk: Desk, found: LookBack) -> str:
    """Say the sand of a stall and week, of all pens and weeks together."""
    n_stalls, n_weeks = sum(r.n_stalls for r in found.pens), len(found.weeks)
    sand_kg = sum(taken.sand_kg for taken in found.taken)
    words = _("Sand brought to beds, on the mean %(each)s for each stall and week; ×: the days on "
              "which some came.")  # fmt: skip
    return words % {"each": _per_stall(desk, sand_kg / n_weeks, n_stalls)}


def _per_stall(desk: Desk, sand_kg: float, n_stalls: int) -> str:
    return desk.amount(sand_kg / n_stalls, "sand_kg") if n_stalls else "–"


def _sand_cell(desk: Desk, record: PenRecord, n: int) -> Cell:
    one = record.weeks[n]
    if not one.sand_kg or not record.n_stalls:
        return Cell((), _("none"), "")
    each_kg = one.sand_kg / record.n_stalls
    words = _per_stall(desk, one.sand_kg, record.n_stalls)
    days = ngettext("%(n)d day", "%(n)d days", one.n_beddings) % {"n": one.n_beddings}
    return Cell(((each_kg, "bar"),), f"{words}, {one.n_beddings}×", f"{words}, {days}")


def _week_line(desk: Desk, week: Week, taken: WeekTaken) -> WeekLine:
    return WeekLine(
        week=_from(desk, week),
        person_h=f"{taken.person_min / 60:,.1f}",
        machine_h=f"{taken.machine_min / 60:,.1f}",
        loads=f"{taken.n_loads:,}",
        sand=say_tons(desk, taken.sand_kg, digits=1),
        jobs=f"{taken.n_jobs:,}",
    )


def _say_planned(taken: Iterable[WeekTaken]) -> str:
    """Say of how many jobs no start was told."""
    n = sum(week.n_planned for week in taken)
    words = ngettext(
        "Of %(n)s job no start was told: its planned minutes count.",
        "Of %(n)s jobs no start was told: their planned minutes count.",
        n,
    )
    return words % {"n": f"{n:,}"} if n else ""


# As tables ----------------------------------------------------------------------------------------


WEEK = (("from_on", "date"), ("until_on", "date"))
PEN_COLUMNS = csv_columns(
    *WEEK,
    ("pen", "string"),
    ("n_stalls", "integer"),
    ("n_turns_due", "integer"),
    ("n_turns_full", "integer"),
    ("n_turns_part", "integer"),
    ("n_turns_not_done", "integer"),
    ("n_turns_untold", "integer"),
    ("n_days_bedded", "integer"),
    ("sand_dry_kg", "double"),
    ("sand_dry_kg_stall", "double"),
)
TAKEN_COLUMNS = csv_columns(
    *WEEK,
    ("n_jobs", "integer"),
    ("n_jobs_planned_min", "integer"),
    ("person_h", "double"),
    ("machine_h", "double"),
    ("n_loads", "integer"),
    ("sand_dry_kg", "double"),
)


@desk_view
def pens_table(desk: Desk) -> HttpResponse:
    """Pens and weeks as CSV; `form=sheet` marks it for spreadsheets."""
    found = look_back(desk.caller.site, desk.now, _asked_weeks(desk))
    rows = [
        {
            **_week_cells(week),
            "pen": desk.place(record.pen.place),
            "n_stalls": record.n_stalls,
            "n_turns_due": one.turns.n_due,
            "n_turns_full": one.turns.n_full,
            "n_turns_part": one.turns.n_part,
            "n_turns_not_done": one.turns.n_missed,
            "n_turns_untold": one.turns.n_untold,
            "n_days_bedded": one.n_beddings,
            "sand_dry_kg": round(one.sand_kg, 1),
            "sand_dry_kg_stall": round(one.sand_kg / record.n_stalls, 2)
            if record.n_stalls
            else None,
        }
        for record in found.pens
        for week, one in zip(found.weeks, record.weeks, strict=True)
    ]
    return answer_csv(desk, PEN_COLUMNS, rows, "look-back-pens")


@desk_view
def weeks_table(desk: Desk) -> HttpResponse:
    """What each week took as CSV; `form=sheet` marks it for spreadsheets."""
    found = look_back(desk.caller.site, desk.now, _asked_weeks(desk))
    rows = [
        {
            **_week_cells(week),
            "n_jobs": taken.n_jobs,
            "n_jobs_planned_min": taken.n_planned,
            "person_h": round(taken.person_min / 60, 2),
            "machine_h": round(taken.machine_min / 60, 2),
            "n_loads": taken.n_loads,
            "sand_dry_kg": round(taken.sand_kg, 1),
        }
        for week, taken in zip(found.weeks, found.taken, strict=True)
    ]
    return answer_csv(desk, TAKEN_COLUMNS, rows, "look-back-weeks")


def _week_cells(week: Week) -> dict[str, Any]:
    return {"from_on": week[0].isoformat(), "until_on": week[1].isoformat()}
