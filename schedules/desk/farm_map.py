"""Map: where people and machines are planned to be, and where cows and water are."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, time, timedelta
from math import sqrt
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from equipment.barns.models import Alley, BedGroup
from equipment.basins.models import Basin
from equipment.flushing.models import RunStatus
from equipment.flushing.queries import open_locks, read_runs
from equipment.sandyard.models import Bay, Lane
from equipment.site.calc.local_time import local_date_of, resolve
from equipment.site.errors import InvalidInputError
from equipment.site.models import Place, PlaceKind
from schedules.dayplan.queries import assignment_of, orders_between, span_taken
from schedules.rounds.models import PenVisit
from schedules.rounds.queries import visits_between

from .base import Desk
from .charts import Chart, Drawing
from .map_shapes import Box, Spot, lay_out
from .orders import OrderLine, is_open, order_line
from .reasons import names_for

MOST_WIDTH, MOST_HEIGHT, EDGE = 1190.0, 1100.0, 16.0  # of the drawing
NAMED = (
    *(PlaceKind.PEN, PlaceKind.PARLOR, PlaceKind.PAD, PlaceKind.BASIN, PlaceKind.TANK),
    *(PlaceKind.LANE, PlaceKind.SLAB, PlaceKind.SHOP, PlaceKind.YARD),
)
MOST_LETTERS, LETTER_W, LINE_H = 40, 7.6, 14.0  # of what is written
STEPS_H = (0, 1, 2, 4)
INSTANT = timedelta(seconds=1)


@dataclass
class Found:
    """What is at one place at the time asked for."""

    lines: list[OrderLine] = field(default_factory=list)
    said: list[str] = field(default_factory=list)
    kind: str = ""  # how its box is drawn


def map_context(desk: Desk) -> dict[str, Any]:
    """Put the map together for `?at=HH:MM` today, or for now: 17 queries."""
    at = _asked(desk)
    places = Place.objects.filter(site_id=desk.site_id, retired_at=None).order_by("pk")
    by_pk = {place.pk: place for place in places}
    found = _found(desk, at)
    boxes = lay_out(_spots(desk, by_pk.values()))
    return {
        "chart": _chart(desk, at, by_pk, found, boxes) if boxes else None,
        "at": desk.clock(at),
        "at_value": at.astimezone(desk.caller.site.zone).strftime("%H:%M"),
        "is_now": at == desk.now,
        "steps": _steps(desk),
    }


def _asked(desk: Desk) -> datetime:
    """Read the time of day that was asked for."""
    text = desk.request.GET.get("at", "").strip()
    if not text:
        return desk.now
    try:
        wall = time.fromisoformat(text)
        if wall.tzinfo is not None:
            raise ValueError
    except ValueError as error:
        raise InvalidInputError(_("at must be a time of day, such as 14:30.")) from error
    zone = desk.caller.site.zone
    return resolve(datetime.combine(local_date_of(desk.now, zone), wall), zone)


def _steps(desk: Desk) -> list[tuple[str, str]]:
    """Give times to look at by one tap: the query and the words of each."""
    zone, today = desk.caller.site.zone, local_date_of(desk.now, desk.caller.site.zone)
    steps = [(n, desk.now + timedelta(hours=n)) for n in STEPS_H]
    return [
        (f"?at={at.astimezone(zone):%H:%M}" if n else "?", desk.clock(at) if n else _("Now"))
        for n, at in steps
        if local_date_of(at, zone) == today
    ]


def _spots(desk: Desk, places: Iterable[Place]) -> list[Spot]:
    """Give where places lie, with the sizes that are on record: 5 queries."""
    site = {"site_id": desk.site_id}
    sizes: dict[int, tuple[float, float]] = {}
    within: dict[int, int | None] = {}
    for alley in Alley.objects.filter(**site):
        sizes[alley.pk], within[alley.pk] = (alley.length_m, alley.width_m), alley.pen_id
    for row in BedGroup.objects.filter(**site):
        length = sizes[row.alley_id][0] if row.alley_id in sizes else None
        within[row.pk] = row.pen_id
        if length:
            sizes[row.pk] = length, 4.0
    for bay in Bay.objects.filter(**site):
        sizes[bay.pk], within[bay.pk] = (sqrt(bay.area_m2),) * 2, bay.pad_id
    for lane in Lane.objects.filter(**site):
        if lane.length_m and lane.width_m:
            sizes[lane.pk] = lane.length_m, lane.width_m
    for basin in Basin.objects.filter(**site):
        sizes[basin.pk] = basin.length_m, basin.width_m
    return [
        Spot(p.pk, p.kind, p.x_m, p.y_m, within=within.get(p.pk), size_m=sizes.get(p.pk))
        for p in places
    ]


def _found(desk: Desk, at: datetime) -> Mapping[int, Found]:
    """Say what is where at a time: work, cows that are away, water, locks: 11 queries."""
    found: dict[int, Found] = defaultdict(Found)
    orders = list(orders_between(desk.site_id, at - timedelta(hours=12), at + timedelta(hours=12)))
    names = names_for(desk.site_id, orders)
    for order in filter(is_open, orders):
        start, end = span_taken(order, assignment_of(order), desk.now)
        if start <= at < end and (assignment_of(order) or order.started_at):
            found[order.place_id].lines.append(order_line(desk, order, [], names))
    for visit in visits_between(desk.site_id, at, at + INSTANT):
        _add_visit(desk, found[visit.pen_id], visit, at)
    for run in read_runs(desk.site_id, at, at + INSTANT):
        if run.status != RunStatus.BLOCKED:
            found[run.alley_id].said.append(_("Flush until %s") % desk.clock(run.ends_at))
            found[run.alley_id].kind = "water"
    for lock in open_locks(desk.site_id):
        found[lock.place_id].said.append(_("Lock of %s") % lock.owner.name)
        found[lock.place_id].kind = "locked"
    return {pk: what for pk, what in found.items() if what.lines or what.said}


def _add_visit(desk: Desk, found: Found, visit: PenVisit, at: datetime) -> None:
    if visit.last_out_at <= at < visit.first_back_at:
        found.kind = "window"
        found.said.append(_("Empty, first cow back %s") % desk.clock(visit.first_back_at))
    elif visit.first_out_at <= at < visit.last_back_at:
        found.kind = "away"
        found.said.append(_("Cows walk, last one back %s") % desk.clock(visit.last_back_at))


def _chart(
    desk: Desk,
    at: datetime,
    places: Mapping[int, Place],
    found: Mapping[int, Found],
    boxes: Sequence[Box],
) -> Chart:
    lines = [line for what in found.values() for line in what.lines]
    finding = _finding(desk, at, lines, sum(bool(what.lines) for what in found.values()))
    legend = [
        ("job under-way", _("Work is going on")),
        ("job", _("Work is planned")),
        ("window", _("Empty of cows")),
        ("away", _("Cows walk")),
        ("water", _("Flush")),
        ("locked", _("Locked")),
    ]
    return Chart(
        key="map",
        finding=finding,
        svg=_drawn(desk, places, found, boxes, finding),
        heads=(_("Where"), _("What"), _("Who"), _("Machine"), _("Until")),
        rows=tuple(_rows(desk, places, found)),
        legend=tuple(legend),
    )


def _finding(desk: Desk, at: datetime, lines: Sequence[OrderLine], n_places: int) -> str:
    people, machines = _people_and_machines(lines)
    places = ngettext("%d place", "%d places", n_places) % n_places
    told = {"at": desk.clock(at), "people": people, "machines": machines, "places": places}
    return _("%(at)s: %(people)s and %(machines)s at work in %(places)s.") % told


def _people_and_machines(lines: Sequence[OrderLine]) -> tuple[str, str]:
    people = {name for line in lines for name in line.who.split(", ") if name}
    machines = {name for line in lines for name in line.machine.split(", ") if name}
    return (
        ngettext("%d person", "%d people", len(people)) % len(people),
        ngettext("%d machine", "%d machines", len(machines)) % len(machines),
    )


def _rows(
    desk: Desk, places: Mapping[int, Place], found: Mapping[int, Found]
) -> Iterable[tuple[str, ...]]:
    for pk in sorted(found, key=lambda pk: not found[pk].lines):
        name = desk.place(places[pk]) if pk in places else ""
        for words in found[pk].said:
            yield name, words, "", "", ""
        for line in found[pk].lines:
            until = desk.clock(line.ends_at) if line.ends_at else ""
            yield name, f"{line.title} · {line.state}", line.who, line.machine, until


def _drawn(
    desk: Desk,
    places: Mapping[int, Place],
    found: Mapping[int, Found],
    boxes: Sequence[Box],
    finding: str,
) -> Any:
    west, north = min(b.x_m for b in boxes), max(b.y_m + b.h_m for b in boxes)
    east, south = max(b.x_m + b.w_m for b in boxes), min(b.y_m for b in boxes)
    wide, high = east - west, north - south
    scale = min((MOST_WIDTH - 2 * EDGE) / wide, (MOST_HEIGHT - 2 * EDGE) / high)
    width, height = wide * scale + 2 * EDGE, high * scale + 2 * EDGE
    drawing = Drawing("map", width, height, _("Map of the farm"), finding)
    drawing.hatch()
    tags, labels = [], Labels(drawing)
    for box in boxes:
        what = found.get(box.pk, Found())
        name = desk.place(places[box.pk])
        x, y = EDGE + (box.x_m - west) * scale, EDGE + (north - box.y_m - box.h_m) * scale
        w, h = box.w_m * scale, box.h_m * scale
        url = what.lines[0].url if what.lines else ""
        drawing.rect((x, y, w, h), _kind(box, what), ": ".join([name, *what.said]), url)
        if box.kind in NAMED:
            labels.write(x + 3, (y - 3, y + h + 13), name)
        if what.lines:
            tags.append((x + w / 2, y + h / 2, what.lines))
    for x, y, lines in tags:
        _tag(drawing, x, y, lines, width)
    return drawing.done()


class Labels:
    """Names of places: above their boxes, below where another name stands there, or not at all."""

    def __init__(self, drawing: Drawing) -> None:
        self.drawing = drawing
        self.taken: list[tuple[float, float, float]] = []

    def write(self, x: float, lines_y: Sequence[float], name: str) -> None:
        """Write a name at the first of some heights that is free."""
        right = x + LETTER_W * len(name)
        for y in lines_y:
            if all(r < x or left > right or abs(at - y) > LINE_H for left, r, at in self.taken):
                self.taken.append((x, right, y))
                self.drawing.text(x, y, name, "soft")
                return


def _kind(box: Box, what: Found) -> str:
    """Say how a box is drawn: by work first, then by what else is there."""
    if what.lines:
        return "job under-way" if any(li.order.started_at for li in what.lines) else "job"
    return what.kind or ("yard" if box.kind in (PlaceKind.PEN, PlaceKind.PAD) else "place")


def _tag(drawing: Drawing, x: float, y: float, lines: Sequence[OrderLine], most: float) -> None:
    """Write who and what is at a place, on a ground of its own; how many where they are many."""
    things = list(dict.fromkeys(t for line in lines for t in (line.who, line.machine) if t))
    words = " · ".join(things)
    if len(words) > MOST_LETTERS:
        people, machines = _people_and_machines(lines)
        words = f"{people} · {machines}"
    if not words:
        return
    width = LETTER_W * len(words) + 8
    left = min(max(x - width / 2, 2), most - width - 2)
    drawing.rect((left, y - 9, width, 18), "tag")
    drawing.text(left + 4, y + 4.5, words)
