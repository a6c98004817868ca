"""Records: what an inspector, a milk buyer or a lender asks to see of a period, each row traced."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django.http import HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.urls import URLPattern, path, reverse
from django.utils.translation import gettext as _

from equipment.site.errors import NotFoundError

from .base import Desk, desk_view, page_context
from .csv_files import csv_columns, stream_csv
from .paper import PAPERS, Cell, Sheet, Table, print_report
from .record_cover import cover_of
from .record_heat import heat_days, say_heat_rules
from .record_period import MOST_SAID, Period, asked_period, say_period
from .record_report import Report, every_row, first_rows
from .record_reports import BY_KEY, HEAT, REPORTS, heat_orders_of

SHOWN = 20  # rows of each report on the page
MOST_PRINTED = 500  # rows of a PDF; the CSV has all


@dataclass(frozen=True, slots=True)
class CellWords:
    """One cell of a table on the page."""

    words: str
    is_number: bool
    url: str


@dataclass(frozen=True, slots=True)
class Shown:
    """One report on the page: its first rows in words."""

    key: str
    title: str
    note: str
    count: str
    heads: list[tuple[str, bool]]
    rows: list[list[CellWords]]
    pdf: str
    csv: str


def records_context(desk: Desk) -> dict[str, Any]:
    """Put the page together: about 22 queries, however many rows."""
    period = asked_period(desk)
    orders = heat_orders_of(desk.site_id)
    hot, n_weather_days = heat_days(desk, period, orders)
    shown = [
        _shown(desk, report, period, *(hot[:SHOWN], len(hot)) if report is HEAT
               else first_rows(desk, report, period, SHOWN))
        for report in REPORTS
    ]  # fmt: skip
    return {
        "period": period,
        "period_words": say_period(desk, period),
        "zone": desk.caller.site.time_zone,
        "is_empty": not any(report.rows for report in shown),
        "reports": shown,
        "cover": cover_of(desk, period, n_weather_days),
        "heat_rules": say_heat_rules(desk, orders),
    }


def _shown(desk: Desk, report: Report, period: Period, rows: list[Any], n_in_all: int) -> Shown:
    address = [desk.caller.site.slug, report.key]
    return Shown(
        key=report.key,
        title=report.title(desk),
        note=str(report.note),
        count=_say_count(len(rows), n_in_all),
        heads=[(col.head_words(desk), col.is_number) for col in report.columns],
        rows=[_cells(desk, report, row) for row in rows],
        pdf=f"{reverse('record-pdf', args=address)}?{period.query}",
        csv=f"{reverse('record-csv', args=address)}?{period.query}",
    )


def _cells(desk: Desk, report: Report, row: Any) -> list[CellWords]:
    """Say a row; the record's own number, which stands last, leads to where a page shows it."""
    *others, last = [(col.say(desk, row), col.is_number) for col in report.columns]
    cells = [CellWords(words, is_number, "") for words, is_number in others]
    return [*cells, CellWords(last[0], last[1], report.link(desk, row))]


def _say_count(n_shown: int, n_in_all: int) -> str:
    if not n_in_all:
        return _("No row is on record.")
    if n_shown == n_in_all:
        return _("All rows: %s.") % f"{n_in_all:,}"
    told = {"n": f"{n_shown:,}", "all": f"{n_in_all:,}"}
    return _("First %(n)s of %(all)s rows.") % told


@desk_view
def records(desk: Desk) -> HttpResponse:
    desk.require_lead()
    context = page_context(desk, "records") | records_context(desk)
    return render(desk.request, "desk/records.html", context)


@desk_view
def record_pdf(desk: Desk, key: str) -> HttpResponse:
    """Print a report, up to `MOST_PRINTED` rows of it: 2 queries, 3 where events are sought."""
    report, period = _asked(desk, key, paper=tuple(PAPERS))
    rows, n_in_all = first_rows(desk, report, period, MOST_PRINTED)
    title = report.title(desk)
    cut = f" · {_say_printed(len(rows), n_in_all)}" if len(rows) < n_in_all else ""
    table = Table(
        name=title,
        note=f"· {desk.caller.site.name} · {say_period(desk, period)}{cut}",
        columns=tuple(col.width for col in report.columns),
        heads=[col.head_words(desk) for col in report.columns],
        rows=[[col.say(desk, row) for col in report.columns] for row in rows],
    )
    back = f"{reverse('records', args=[desk.caller.site.slug])}?{period.query}#{report.key}"
    below: list[Cell] = [
        _say_printed(len(rows), n_in_all),
        str(report.note),
        _("All times are the farm's: %s.") % desk.caller.site.time_zone,
    ]
    name = f"{desk.caller.site.slug}-{report.key}-{period.from_on}-{period.last_on}"
    title = f"{desk.caller.site.name}: {title}"
    return print_report(desk, Sheet([table], back, below), title=title, name=name)


def _say_printed(n_printed: int, n_in_all: int) -> str:
    if n_printed == n_in_all:
        return _say_count(n_printed, n_in_all)
    told = {"n": f"{n_printed:,}", "all": f"{n_in_all:,}"}
    return _("First %(n)s of %(all)s rows; the CSV has all.") % told


@desk_view
def record_csv(desk: Desk, key: str) -> HttpResponseBase:
    """Write all rows of a report, read in parts: a query for each part, 2 where events are sought.

    `form=sheet` marks it for spreadsheets.
    """
    report, period = _asked(desk, key, form=("sheet",))
    columns = csv_columns(*((raw.name, raw.datatype) for raw in report.raws))
    name = f"{report.key}-{period.from_on}-{period.last_on}"
    return stream_csv(desk, columns, _raw_rows(desk, report, period), name)


def _raw_rows(desk: Desk, report: Report, period: Period) -> Iterator[dict[str, Any]]:
    raws = report.raws
    for row in every_row(desk, report, period):
        yield {raw.name: raw.get(desk, row) for raw in raws}


def _asked(desk: Desk, key: str, **more: tuple[str, ...]) -> tuple[Report, Period]:
    desk.require_lead()
    if key not in BY_KEY:
        told = {"given": key[:MOST_SAID], "reports": ", ".join(BY_KEY)}
        raise NotFoundError(_("There is no report “%(given)s”. There are: %(reports)s.") % told)
    return BY_KEY[key], asked_period(desk, **more)


urlpatterns: list[URLPattern] = [
    path("farm/<slug:slug>/records/", records, name="records"),
    path("farm/<slug:slug>/records/<slug:key>.pdf", record_pdf, name="record-pdf"),
    path("farm/<slug:slug>/records/<slug:key>.csv", record_csv, name="record-csv"),
]
