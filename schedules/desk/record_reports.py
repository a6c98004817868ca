"""Reports an inspector, a milk buyer or a lender asks for: their rows, column by column."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.urls import reverse
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from crews.people.queries import skills_between
from equipment.basins import queries as basins
from equipment.machines.queries import services_between
from equipment.site.looks import once_a_look
from schedules.sand.queries import tests_between
from schedules.work.models import Outcome, StandingOrder
from schedules.work.queries import (
    OF_BASINS,
    OF_HEAT,
    heat_orders,
    say_reason,
    work_on_record,
)

from .base import Desk
from .basins import NUTRIENTS
from .record_columns import (
    NOTHING,
    Col,
    Raw,
    count,
    day,
    moment,
    place,
    plain,
    quantity,
    said_by,
    trace,
)
from .record_heat import HEAT_COLUMNS, HotDay, heat_days
from .record_period import Period
from .record_report import Report, Rows
from .wording import say_order_state, say_said


@once_a_look
def heat_orders_of(site_id: int) -> list[StandingOrder]:
    """Standing orders that heat brings about: 1 query."""
    return list(heat_orders(site_id))


# What became of standing work --------------------------------------------------------------------


def _work_report(
    key: str, title: Callable[[Desk], str], note: Promise, rows: Callable[[Desk, Period], Rows]
) -> Report:
    work = Raw("work", "string", lambda d, row: say_said(row.title, d.language))
    outcome = Raw("outcome", "string", lambda _d, row: row.outcome or "open")
    columns = (
        day("due_on", gettext_lazy("Due"), lambda row: row.local_date),
        Col(gettext_lazy("Work"), lambda d, row: say_said(row.title, d.language), (work,)),
        place("place", gettext_lazy("Place"), lambda row: row.place),
        Col(gettext_lazy("State"), lambda _d, row: say_order_state(row), (outcome,), 24),
        moment("started_at", gettext_lazy("Started"), lambda row: row.started_at, 28),
        moment("ended_at", gettext_lazy("Ended"), lambda row: _if_told(row, row.ended_at), 28),
        plain("reason", gettext_lazy("Reason"), say_reason),
        said_by(lambda row: _if_told(row, row.ended_by), width=26),
        trace(),
    )
    return Report(key, title, note, rows, "local_date", columns, link=_to_work)


def _if_told(row: Any, value: Any) -> Any:
    """Leave out what the service itself wrote when nobody had come."""
    return None if row.outcome == Outcome.MISSED else value


def _to_work(desk: Desk, row: Any) -> str:
    return reverse("work-order", args=[desk.caller.site.slug, row.pk])


INSPECTIONS = _work_report(
    "inspections",
    lambda d: _("%(things)s: rounds by standing orders") % {"things": d.noun("basins")},
    gettext_lazy("What was due, and what became of it. What was seen stands in its words alone."),
    lambda d, p: work_on_record(d.site_id, p.from_on, p.until_on, OF_BASINS),
)
HEAT_ROUNDS = _work_report(
    "heat-rounds",
    lambda _d: _("Heat: rounds by standing orders"),
    gettext_lazy("Work that the day's highest temperature called for, and what became of it."),
    lambda d, p: work_on_record(d.site_id, p.from_on, p.until_on, OF_HEAT),
)


# Basins and fields -------------------------------------------------------------------------------


def _basin(width: float = 40) -> Col:
    return place("basin", lambda d: d.noun("basin"), lambda row: row.basin.place, width)


LEVELS = Report(
    key="levels",
    title=lambda d: _("%(things)s: levels") % {"things": d.noun("basins")},
    note=gettext_lazy(
        "Depth from the floor as read at the marker. The line is where the farm must act."
    ),
    rows=lambda d, p: basins.levels_between(d.site_id, p.start, p.end),
    by="read_at",
    columns=(
        moment("read_at", gettext_lazy("When"), lambda row: row.read_at, 40),
        _basin(),
        quantity("depth_m", gettext_lazy("Depth"), lambda row: row.depth_m, 2),
        quantity("line_depth_m", gettext_lazy("Line"), lambda row: row.basin.must_act_depth_m, 2),
        quantity(
            "below_line_m",
            gettext_lazy("Below the line"),
            lambda row: row.basin.must_act_depth_m - row.depth_m,
            2,
        ),
        said_by(lambda row: row.by),
        trace(48),
    ),
    told=("level", "level"),
)
CLEAN_OUTS = Report(
    key="clean-outs",
    title=lambda d: _("%(things)s: clean-outs") % {"things": d.noun("basins")},
    note=gettext_lazy("What was removed is the difference of the depths by the basin's own shape."),
    rows=lambda d, p: basins.clean_outs_between(d.site_id, p.start, p.end),
    by="done_at",
    columns=(
        moment("done_at", gettext_lazy("When"), lambda row: row.done_at, 40),
        _basin(),
        quantity("depth_after_m", gettext_lazy("Depth after"), lambda row: row.depth_after_m, 2),
        quantity("removed_m3", gettext_lazy("Removed"), lambda row: row.removed_m3, 0),
        plain("note", gettext_lazy("Note"), lambda row: row.note),
        said_by(lambda row: row.by),
        trace(20),
    ),
)


def _nutrients(desk: Desk, row: Any) -> str:
    amounts = zip(NUTRIENTS.values(), (row.available_n_kg, row.p2o5_kg, row.k2o_kg), strict=True)
    return "; ".join(f"{name} {desk.amount(kg, 'amount_kg')}" for name, kg in amounts)


APPLICATIONS = Report(
    key="applications",
    title=lambda d: _("%(things)s: manure applied") % {"things": d.noun("fields")},
    note=gettext_lazy(
        "Nutrients by the analysis named and the farm's factors as they stood then; nitrogen is "
        "what the season's crop can take."
    ),
    rows=lambda d, p: basins.applications_between(d.site_id, p.from_on, p.until_on),
    by="applied_on",
    columns=(
        day("applied_on", gettext_lazy("Spread on"), lambda row: row.applied_on, 28),
        plain(
            "field", lambda d: d.noun("field"), lambda row: f"{row.field.name}, {row.field.crop}"
        ),
        quantity("area_ha", gettext_lazy("Area"), lambda row: row.field.area_ha, 0, width=22),
        _basin(28),
        Col(
            gettext_lazy("Amount"),
            lambda d, row: (
                f"{d.amount(row.mass_kg / 1000, 'mass_t')}, {d.amount(row.volume_m3, 'volume_m3')}"
            ),
            (
                Raw("mass_kg", "double", lambda _d, row: round(row.mass_kg, 1)),
                Raw("volume_m3", "double", lambda _d, row: round(row.volume_m3, 2)),
            ),
            28,
            is_number=True,
        ),
        Col(
            gettext_lazy("Brought"),
            _nutrients,
            (
                Raw("available_n_kg", "double", lambda _d, row: round(row.available_n_kg, 1)),
                Raw("p2o5_kg", "double", lambda _d, row: round(row.p2o5_kg, 1)),
                Raw("k2o_kg", "double", lambda _d, row: round(row.k2o_kg, 1)),
            ),
        ),
        Col(
            gettext_lazy("Analysis"),
            lambda d, row: f"{row.analysis_id}, {d.day(row.analysis.sampled_on)}",
            (
                Raw("analysis_id", "integer", lambda _d, row: row.analysis_id),
                Raw("sampled_on", "date", lambda _d, row: row.analysis.sampled_on.isoformat()),
            ),
            26,
        ),
        plain("note", gettext_lazy("Note"), lambda row: row.note, 22),
        said_by(lambda row: row.by, width=22),
        moment("recorded_at", gettext_lazy("Recorded"), lambda row: row.recorded_at, 26),
        trace(17),
    ),
)


def _content(name: str, head: str | Promise) -> Col:
    return quantity(name, head, lambda row: getattr(row, name), 2, width=24)


ANALYSES = Report(
    key="analyses",
    title=lambda _d: _("Laboratory: manure analyses"),
    note=gettext_lazy("Contents as the laboratory's sheet gives them, of manure as it lies."),
    rows=lambda d, p: basins.analyses_between(d.site_id, p.from_on, p.until_on),
    by="sampled_on",
    columns=(
        day("sampled_on", gettext_lazy("Sampled"), lambda row: row.sampled_on),
        _basin(36),
        _content("n_kg_t", "N"),
        _content("nh4_n_kg_t", "NH4-N"),
        _content("no3_n_kg_t", "NO3-N"),
        _content("p2o5_kg_t", "P2O5"),
        _content("k2o_kg_t", "K2O"),
        said_by(lambda row: row.by),
        moment("recorded_at", gettext_lazy("Recorded"), lambda row: row.recorded_at),
        trace(20),
    ),
)


# Sand, machines, people, heat --------------------------------------------------------------------


def _basis(row: Any) -> str:
    return _("wet basis") if row.given_basis == "wb" else _("dry basis")


MOISTURE = Report(
    key="moisture",
    title=lambda _d: _("Sand: moisture tests"),
    note=gettext_lazy("Moisture of the wet mass; told as it was measured, on the basis named."),
    rows=lambda d, p: tests_between(d.site_id, p.start, p.end),
    by="taken_at",
    columns=(
        moment("taken_at", gettext_lazy("When"), lambda row: row.taken_at, 40),
        count("batch", lambda d: d.noun("batch"), lambda row: row.batch.number),
        Col(
            gettext_lazy("Moisture, wet basis"),
            lambda _d, row: f"{row.moisture_wb_frac:.1%}",
            (Raw("moisture_wb_frac", "double", lambda _d, row: round(row.moisture_wb_frac, 5)),),
            26,
            is_number=True,
        ),
        Col(
            gettext_lazy("Told on"),
            lambda _d, row: _basis(row),
            (Raw("given_basis", "string", lambda _d, row: row.given_basis),),
            28,
        ),
        count("n_spots", gettext_lazy("Spots"), lambda row: row.n_spots),
        quantity("depth_m", gettext_lazy("Depth"), lambda row: row.depth_m, 1, us="in"),
        said_by(lambda row: row.by),
        trace("1fr"),
    ),
)


def _cost(_desk: Desk, row: Any) -> str:
    return f"{row.cost:,.2f}" if row.cost else NOTHING


def _to_machine(desk: Desk, row: Any) -> str:
    return f"{reverse('machines', args=[desk.caller.site.slug])}#machine-{row.machine_id}"


def _service(desk: Desk, row: Any) -> str:
    return say_said(row.item.title, desk.language) or str(row.item.name)


SERVICES = Report(
    key="services",
    title=lambda d: _("%(things)s: services done") % {"things": d.noun("machines")},
    note=gettext_lazy("Intervals are the farm's own; the maker's manual governs."),
    rows=lambda d, p: services_between(d.site_id, p.start, p.end),
    by="done_at",
    columns=(
        moment("done_at", gettext_lazy("When"), lambda row: row.done_at, 34),
        plain("machine", lambda d: d.noun("machine"), lambda row: row.machine.name, 26),
        Col(gettext_lazy("Service"), _service, (Raw("service", "string", _service),)),
        quantity("meter_h", gettext_lazy("Meter"), lambda row: row.meter_h, 1, width=26),
        count("duration_min", gettext_lazy("Minutes"), lambda row: row.minutes),
        plain("parts", gettext_lazy("Parts"), lambda row: row.parts, 27),
        Col(
            gettext_lazy("Cost"),
            _cost,
            (Raw("cost", "decimal", lambda _d, row: row.cost),),
            18,
            is_number=True,
        ),
        plain("note", gettext_lazy("Note"), lambda row: row.note, 20),
        said_by(lambda row: row.by, width=24),
        trace(28),
    ),
    told=("service", "service"),
    link=_to_machine,
)
TRAINING = Report(
    key="training",
    title=lambda _d: _("Training: what people are qualified for"),
    note=gettext_lazy(
        "Skills held on any day of the period, with the first day and the day on which they run "
        "out. Who taught or entered one is not recorded here, and a renewed skill replaces the "
        "days before."
    ),
    rows=lambda d, p: skills_between(d.site_id, p.from_on, p.until_on),
    by="worker_id",
    columns=(
        plain("person", gettext_lazy("Person"), lambda row: row.worker.name, 50),
        plain("skill", gettext_lazy("Skill"), lambda row: row.skill.name),
        day("from_on", gettext_lazy("From"), lambda row: row.from_on, 40),
        day("until_on", gettext_lazy("Runs out"), lambda row: row.until_on, 40),
        Col(
            gettext_lazy("Left the farm"),
            lambda _d, row: _("yes") if row.worker.retired_at else NOTHING,
            (Raw("is_person_retired", "boolean", lambda _d, row: bool(row.worker.retired_at)),),
            26,
        ),
        trace(20),
    ),
)


def _hot(desk: Desk, period: Period) -> list[HotDay]:
    return heat_days(desk, period, heat_orders_of(desk.site_id))[0]


HEAT = Report(
    key="heat",
    title=lambda _d: _("Heat: days on which rules applied"),
    note=gettext_lazy(
        "By the weather as it was recorded; on the day itself its forecast counted. Guidance, and "
        "local law governs."
    ),
    rows=_hot,
    by="on",
    columns=HEAT_COLUMNS,
)
REPORTS = (
    LEVELS,
    INSPECTIONS,
    CLEAN_OUTS,
    APPLICATIONS,
    ANALYSES,
    MOISTURE,
    SERVICES,
    TRAINING,
    HEAT,
    HEAT_ROUNDS,
)
BY_KEY = {report.key: report for report in REPORTS}
