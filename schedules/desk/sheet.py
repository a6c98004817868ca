"""The day's sheet of each crew: for a farm, or a night, without paired phones."""

from __future__ import annotations

from collections import defaultdict
from datetime import datetime

from django.http import HttpResponse
from django.urls import reverse
from django.utils.translation import gettext_lazy

from equipment.site.calc.local_time import day_bounds, local_date_of
from schedules.dayplan.models import Claim
from schedules.dayplan.queries import assignment_of, orders_between
from schedules.work.models import WorkOrder

from .base import Desk, desk_view
from .orders import is_open
from .paper import N_BLANK, REST, Cell, Sheet, Table, Width, both, boxes, print_sheets, word_line
from .wording import say_said

COLUMNS: tuple[Width, ...] = (21, 9, REST, 46, 21)
HEADS = (gettext_lazy("Time"), "", gettext_lazy("Job"), gettext_lazy("Who"), gettext_lazy("Before"))
BLANK: list[Cell] = ["", boxes(1), "", "", ""]
CAUTION = {
    "en": "Lock, tag and try before you go into an alley or under a machine. "
    "Nobody in a pen while cows walk back.",
    "es": "Candado, etiqueta y prueba antes de entrar al pasillo o trabajar en una máquina. "
    "Nadie en el corral cuando regresan las vacas.",
}
Given = list[tuple[datetime, datetime, list[Cell]]]  # from, to, the row


@desk_view
def day_sheet(desk: Desk) -> HttpResponse:
    """Give today's open work by crew."""
    site = desk.caller.site
    start, end = day_bounds(local_date_of(desk.now, site.zone), site.zone)
    orders = [o for o in orders_between(site.pk, start, end) if is_open(o) and assignment_of(o)]
    day = both(desk, lambda d: d.day(d.now))
    # Without a plan the sheet is a form to fill by hand.
    crews = _crews(desk, orders) or {site.name: []}
    sheets = [_sheet(desk, crew, rows, " / ".join(day.values())) for crew, rows in crews.items()]
    return print_sheets(desk, sheets, title=f"{site.name}: {day['en']}", name="day-sheet")


def _sheet(desk: Desk, crew: str, given: Given, day: str) -> Sheet:
    hours = f"{desk.clock(given[0][0])} – {desk.clock(given[-1][1])} · " if given else ""
    table = Table(
        name=crew,
        note=f"· {hours}{day}",
        columns=COLUMNS,
        heads=[word_line(desk, head) if head else "" for head in HEADS],
        rows=[row for _start, _end, row in given],
        blank=BLANK,
        n_blank=N_BLANK,
    )
    back = reverse("today", args=[desk.caller.site.slug])
    return Sheet([table], back, list(CAUTION.values()))


def _crews(desk: Desk, orders: list[WorkOrder]) -> dict[str, Given]:
    """Rows of each crew by their start, crews by name."""
    found: dict[str, Given] = defaultdict(list)
    for order in orders:
        assignment = assignment_of(order)
        assert assignment is not None
        claims = list(assignment.claims.all())
        start, end = assignment.starts_at, assignment.ends_at
        row = _row(desk, order, claims, start, end)
        for crew in {_crew_of(desk, c) for c in claims if c.worker}:
            found[crew].append((start, end, row))
    return {crew: sorted(rows, key=lambda r: r[0]) for crew, rows in sorted(found.items())}


def _crew_of(desk: Desk, claim: Claim) -> str:
    worker = claim.worker
    crew = worker.crew.name if worker and worker.crew else None
    return crew or word_line(desk, gettext_lazy("No crew"))


def _row(
    desk: Desk, order: WorkOrder, claims: list[Claim], start: datetime, end: datetime
) -> list[Cell]:
    people = ", ".join(c.worker.name for c in claims if c.worker)
    machines = ", ".join(c.machine.name for c in claims if c.machine)
    return [
        [desk.clock(start), desk.clock(end)],
        boxes(1),
        both(desk, lambda d: f"{say_said(order.title, d.language)} {d.place(order.place)}"),
        " · ".join(part for part in (people, machines) if part),
        desk.clock(order.due_at),
    ]
