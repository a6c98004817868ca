"""Sand: days of clean dry sand left, which pile next, fit when?"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.utils import formats
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from equipment.site.calc.local_time import local_date_of
from schedules.outlook.supply import supply_of
from schedules.sand.forecasts import WhyNone
from schedules.sand.ledger import moves_to_look_at
from schedules.sand.models import Stage
from schedules.sand.queries import (
    BatchView,
    SandStock,
    batch_holds,
    batch_views,
    bays_with_batches,
    free_pile_places,
    stock_of,
)
from schedules.sand.recovery import recovery_of
from schedules.sand.services import practice_of

from .base import Desk
from .bedding import bedded_lines
from .calendars import pad_links
from .charts import HELD, Block, Chart, DotColumn, draw_dots, draw_pipeline
from .pens import pens_of
from .sand_drying import drying_facts
from .sand_supply import supply_context
from .sand_words import (
    find_why_none,
    say_day,
    say_lacks,
    say_moisture,
    say_range,
    say_tons,
    tons,
    tons_unit,
)

STAGES = (Stage.DRAINING, Stage.DRYING, Stage.CURING, Stage.CURED, Stage.RELEASED)


@dataclass(frozen=True, slots=True)
class BatchLine:
    """One batch as the page shows it."""

    view: BatchView
    number: int
    stage: str
    place: str
    amount: str
    moisture: list[tuple[str, str]]
    age_d: int
    dry_on: str
    lacks: str
    ready_on: str
    dots: Chart | None


def sand_context(desk: Desk) -> dict[str, Any]:
    """Put the page together: about 20 queries."""
    views = sorted(batch_views(desk.site_id), key=_turn)
    whys = find_why_none(desk, views)
    lines = [_line(desk, view, whys.get(view.batch.pk)) for view in views]
    numbers = {view.batch.pk: view.batch.number for view in views}
    stock = stock_of(desk.site_id, views, desk.now)
    practice, recovery = practice_of(desk.site_id), recovery_of(desk.site_id, desk.now)
    supply = supply_of(desk.caller.site, desk.now, views, practice, recovery)
    live = [view.batch for view in views]
    free = free_pile_places(desk.site_id, live)
    places = [(place.pk, desk.place(place.place)) for place in free]
    taken = {view.batch.place_id for view in views}
    pens = [(pen.pk, desk.place(pen.place)) for pen in pens_of(desk.site_id)]
    return {
        "finding": _finding(desk, views, stock),
        "supply": supply_context(desk, supply, stock, views, dict(pens)),
        "chart": _pipeline(desk, views),
        "lines": lines,
        "drying": [line for line in lines if line.view.batch.stage == Stage.DRYING],
        "drying_facts": drying_facts(desk, views),
        "bays": [
            (desk.place(bay.place), bay, batch, _of(lines, batch.number) if batch else None)
            for bay, batch in bays_with_batches(desk.site_id, live)
        ],
        "pile_places": places,
        "calendars": pad_links(desk),
        "empty_places": [(pk, name) for pk, name in places if pk not in taken],
        "holds": [(hold, numbers.get(hold.subject_id)) for hold in batch_holds(desk.site_id)],
        "bedded": bedded_lines(desk),
        "pens": pens,
        "n_look": moves_to_look_at(desk.site_id),
        "unit": tons_unit(desk),
    }


def _turn(view: BatchView) -> tuple[int, date, int]:
    """Order batches as they come to the beds: released first, what still drains last."""
    batch, forecast = view.batch, view.forecast
    comes_on = batch.ready_on or (forecast.ready_on_p50 if forecast else None) or date.max
    stage = STAGES.index(Stage(batch.stage)) if batch.stage in STAGES else -1
    return -stage, comes_on, batch.number


def _of(lines: list[BatchLine], number: int) -> BatchLine | None:
    return next((line for line in lines if line.number == number), None)


def _say_days(desk: Desk, stock: SandStock) -> str:
    if stock.days_d is None:
        return _("Released: %(amount)s. No use of sand is known, so its days cannot be told.") % {
            "amount": say_tons(desk, stock.released_kg)
        }
    days = int(stock.days_d)
    return ngettext(
        "%(days)d day of released sand above the safety stock at today's use.",
        "%(days)d days of released sand above the safety stock at today's use.",
        days,
    ) % {"days": days}


def _finding(desk: Desk, views: list[BatchView], stock: SandStock) -> str:
    """Say the days of sand first, then what comes next."""
    said = [_say_days(desk, stock)]
    cured = [v for v in views if v.batch.stage == Stage.CURED and not v.is_held]
    if cured:
        said.append(
            ngettext(
                "%d batch is cured and waits for release.",
                "%d batches are cured and wait for release.",
                len(cured),
            )
            % len(cured)
        )
    coming = sorted(
        (v.batch.ready_on, v.batch.number)
        for v in views
        if v.batch.stage == Stage.CURING and v.batch.ready_on
    )
    if coming:
        said.append(
            _("Next: batch %(number)d is ready on %(day)s.")
            % {"number": coming[0][1], "day": say_day(coming[0][0])}
        )
    return " ".join(said)


def _line(desk: Desk, view: BatchView, why: WhyNone | None) -> BatchLine:
    batch, forecast = view.batch, view.forecast
    is_drying = batch.stage == Stage.DRYING
    dry = forecast if is_drying else None
    ready = batch.ready_on or (forecast.ready_on_p50 if forecast else None)
    is_ready = batch.stage in (Stage.CURED, Stage.RELEASED)
    return BatchLine(
        view=view,
        number=batch.number,
        stage=str(Stage(batch.stage).label),
        place=desk.place(batch.place) if batch.place else "–",
        amount=say_tons(desk, view.dry_kg),
        moisture=say_moisture(desk, view),
        age_d=(desk.now - batch.stage_since).days,
        dry_on=say_range(dry.dry_on_p10, dry.dry_on_p50, dry.dry_on_p90) if dry else "–",
        lacks=say_lacks(desk, dry, why),
        ready_on=_("ready") if is_ready else say_day(ready),
        dots=_dots(desk, batch.number, dry.dots, dry.dry_on_p50) if dry else None,
    )


def _dots(desk: Desk, number: int, dots: list[str], likely: date | None) -> Chart:
    """Draw 20 equally likely dates on which the layer is dry."""
    counts = Counter(dots)
    days = [date.fromisoformat(day) for day in sorted(day for day in counts if day)]
    columns = [
        DotColumn(
            formats.date_format(day, "D"), _day_of_month(day, day == days[0]), say_day(day), n
        )
        for day, n in ((day, counts[day.isoformat()]) for day in days)
    ]
    if counts.get(""):
        columns.append(DotColumn(_("later"), "", _("later"), counts[""]))
    finding = say_dots(desk, number, counts, likely)
    svg = draw_dots(
        key=f"dots-{number}",
        columns=columns,
        title=_("%(batch)s: when it is dry") % {"batch": _name(desk, number)},
        desc=finding,
    )
    rows = tuple((column.name, str(column.n)) for column in columns)
    return Chart(f"dots-{number}", finding, svg, (_("Dry on"), _("Chances in 20")), rows)


def _day_of_month(day: date, is_first: bool) -> str:
    """Give the month only where it begins: the days stand close."""
    names_month = is_first or day.day == 1
    return formats.date_format(day, "MONTH_DAY_FORMAT") if names_month else str(day.day)


def say_dots(desk: Desk, number: int, counts: Counter[str], likely: date | None) -> str:
    """Say the chance until the likely day; once that is past, the chance that it is dry now."""
    if likely is None:
        return _("%(batch)s is not expected dry within the forecast.") % {
            "batch": _name(desk, number)
        }
    today = local_date_of(desk.now, desk.caller.site.zone)
    until = max(likely, today)
    by = sum(n for day, n in counts.items() if day and day <= until.isoformat())
    words = (
        _("%(n)d in %(all)d that %(batch)s is dry by %(day)s.")
        if likely > today
        else _("%(n)d in %(all)d that %(batch)s is dry by now: test it.")
    )
    name = _name(desk, number)
    return words % {"n": by, "all": counts.total(), "batch": name, "day": say_day(likely)}


def _name(desk: Desk, number: int) -> str:
    """Name a batch in the farm's own word: Batch 12."""
    return f"{desk.noun('batch')} {number}"


def _pipeline(desk: Desk, views: list[BatchView]) -> Chart:
    """Draw what lies in each stage, a block a batch, as wide as it is heavy."""
    stages = []
    for stage in STAGES:
        blocks = [
            Block(
                f"{v.batch.number}",
                tons(desk, v.dry_kg),
                HELD if v.is_held else "bar soft",
                f"#batch-{v.batch.number}",
            )
            for v in views
            if v.batch.stage == stage
        ]
        stages.append((str(stage.label), blocks))
    totals = ", ".join(
        f"{name} {sum(b.size for b in blocks):,.0f}" for name, blocks in stages if blocks
    )
    finding = _("Sand from the lane to the beds, dry %(unit)s: %(totals)s.") % {
        "unit": tons_unit(desk),
        "totals": totals or "0",
    }
    svg = draw_pipeline(
        key="pipeline",
        stages=stages,
        title=_("Sand by stage"),
        desc=finding,
        unit=tons_unit(desk),
    )
    rows = tuple(
        (name, str(len(blocks)), f"{sum(b.size for b in blocks):,.0f}") for name, blocks in stages
    )
    heads = (_("Stage"), desk.noun("batches"), tons_unit(desk))
    legend = ((HELD, _("Held")),) if any(v.is_held for v in views) else ()
    return Chart("pipeline", finding, svg, heads, rows, legend)
