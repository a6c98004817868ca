"""The day's sheet of each crew as a PDF: for a farm, or a night, without paired phones."""

from __future__ import annotations

import io
import json
from collections import defaultdict
from datetime import datetime
from pathlib import Path
from typing import Any

import segno
import typst
from django.http import HttpResponse
from django.urls import reverse
from django.utils import translation
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from equipment.site.calc.local_time import day_bounds, local_date_of
from equipment.site.errors import InvalidInputError
from equipment.site.queries import place_name
from schedules.dayplan.models import Claim
from schedules.dayplan.queries import assignment_of, latest_plan, orders_between
from schedules.work.models import WorkOrder

from .base import Desk, desk_view
from .orders import is_open
from .wording import say_said

SOURCE = Path(__file__).with_name("sheet.typ").read_bytes()
PAPERS = {"letter": "us-letter", "a4": "a4"}
HEADS = (gettext_lazy("Time"), "", gettext_lazy("Job"), gettext_lazy("Who"), gettext_lazy("Before"))
CAUTION = (
    "Lock, tag and try before you go into an alley or under a machine. "
    "Nobody in a pen while cows walk back.",
    "Candado, etiqueta y prueba antes de entrar al pasillo o trabajar en una máquina. "
    "Nadie en el corral cuando regresan las vacas.",
)


@desk_view
def day_sheet(desk: Desk) -> HttpResponse:
    """Give today's open work by crew; `?paper=a4` or `letter`, the site's habit without it."""
    usual = "letter" if desk.caller.site.units == "us" else "a4"
    paper = desk.request.GET.get("paper", usual)
    if paper not in PAPERS:
        raise InvalidInputError(_("paper must be letter or a4."))
    pdf = typst.compile(SOURCE, sys_inputs={"data": json.dumps(_sheet(desk, PAPERS[paper]))})
    response = HttpResponse(bytes(pdf), content_type="application/pdf")
    response["Content-Disposition"] = 'inline; filename="day-sheet.pdf"'
    return response


def _sheet(desk: Desk, paper: str) -> dict[str, Any]:
    site = desk.caller.site
    start, end = day_bounds(local_date_of(desk.now, site.zone), site.zone)
    orders = [o for o in orders_between(site.pk, start, end) if is_open(o) and assignment_of(o)]
    plan = latest_plan(site.pk)
    day = _both(lambda: desk.day(desk.now))
    printed = _both(lambda: _("printed"))
    page, of = _both(lambda: _("page")), _both(lambda: _("of"))
    return {
        "title": f"{site.name}: {day[0]}",
        "paper": paper,
        "qr": _qr(desk),
        "day": " / ".join(day),
        "printed": f"{printed[0]} / {printed[1]} {desk.clock(desk.now)} {day[0]}, "
        f"plan {plan.number if plan else 0}",
        "page": [f"{page[0]} / {page[1]}", f"{of[0]} / {of[1]}"],
        "heads": [" / ".join(_both(lambda head=head: head)) if head else "" for head in HEADS],
        "caution": CAUTION,
        # Without a plan the sheet is a form to fill by hand.
        "crews": _crews(desk, orders) or [{"name": site.name, "hours": "", "rows": []}],
    }


def _both(say: Any) -> tuple[str, str]:
    """Say something in English and in Spanish."""
    with translation.override("en"):
        english = str(say())
    with translation.override("es"):
        return english, str(say())


def _qr(desk: Desk) -> str:
    address = desk.request.build_absolute_uri(reverse("today", args=[desk.caller.site.slug]))
    buffer = io.BytesIO()
    segno.make(address, error="m").save(buffer, kind="svg", scale=3, border=2)
    return buffer.getvalue().decode()


def _crews(desk: Desk, orders: list[WorkOrder]) -> list[dict[str, Any]]:
    by_crew: dict[str, list[tuple[datetime, dict[str, str]]]] = defaultdict(list)
    for order in orders:
        assignment = assignment_of(order)
        assert assignment is not None
        claims = list(assignment.claims.all())
        row = _row(desk, order, claims, assignment.starts_at, assignment.ends_at)
        for crew in {_crew_of(c) for c in claims if c.worker}:
            by_crew[crew].append((assignment.starts_at, row))
    return [
        {
            "name": name,
            "hours": f"{rows[0][1]['start']} – {rows[-1][1]['end']}",
            "rows": [row for _at, row in rows],
        }
        for name, rows in (
            (name, sorted(rows, key=lambda r: r[0])) for name, rows in sorted(by_crew.items())
        )
    ]


def _crew_of(claim: Claim) -> str:
    worker = claim.worker
    return worker.crew.name if worker and worker.crew else " / ".join(_both(lambda: _("No crew")))


def _row(
    desk: Desk, order: WorkOrder, claims: list[Claim], start: datetime, end: datetime
) -> dict[str, str]:
    site = desk.caller.site
    said = {
        language: f"{say_said(order.title, language)} {place_name(site, order.place, language)}"
        for language in ("en", "es")
    }
    return {
        "start": desk.clock(start),
        "end": desk.clock(end),
        **said,
        "who": ", ".join(c.worker.name for c in claims if c.worker),
        "machine": ", ".join(c.machine.name for c in claims if c.machine),
        "due": desk.clock(order.due_at),
    }
