"""Basins: days till the line, what does rain do, when must we haul?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from math import isinf
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from equipment.basins.calc.nutrients import Nutrient
from equipment.basins.filling import HORIZON_D, BasinsView, BasinView, basins_view
from equipment.basins.models import BasinStage, FieldApplication
from equipment.basins.queries import FieldView, field_views

from .base import Desk
from .charts import Chart
from .fan import Strip, draw_fan

WEEK_D = 7
OLD_READING = timedelta(days=8)  # the depth marker is read each week: 40 CFR 412.37
N_RECORDS = 20
NUTRIENTS = {
    Nutrient.N: gettext_lazy("nitrogen"),
    Nutrient.P: gettext_lazy("phosphate (P2O5)"),
    Nutrient.K: gettext_lazy("potash (K2O)"),
}


@dataclass(frozen=True, slots=True)
class BasinLine:
    """One basin in words."""

    view: BasinView
    name: str
    stage: str
    gate: str
    level: str
    age: str
    is_old: bool
    days: str
    storm_days: str
    switch: str
    hauling: str
    clean_out: str
    is_over: bool
    is_warned: bool
    can_switch: bool


@dataclass(frozen=True, slots=True)
class FieldLine:
    """One field in words."""

    view: FieldView
    crop: str
    brought: str
    left: str
    governing: str
    room: str


def basins_context(desk: Desk) -> dict[str, Any]:
    """Put the page together: about 20 queries, however many basins."""
    farm = basins_view(desk.site_id, desk.now)
    lines = [_line(desk, farm, view) for view in farm.basins]
    fields = field_views(desk.site_id, farm.practice, farm.today)
    sheet = fields[0].sheet if fields else None
    return {
        "finding": _finding(desk, lines),
        "chart": _chart(desk, farm, lines),
        "lines": lines,
        "fields": [_field_line(desk, view) for view in fields],
        "sheet": (desk.place(sheet.basin.place), desk.day(sheet.sampled_on)) if sheet else None,
        "season_from": desk.day(fields[0].season_from) if fields else "",
        "settings": _settings(desk, farm),
        "applications": _applications(desk),
        "today_iso": farm.today.isoformat(),
        "units": {
            "depth": _unit(desk, 1, "depth_m"),
            "mass": _unit(desk, 1, "mass_t"),
            "content": _unit(desk, 1, "n_kg_t"),
        },
    }


def _soon(days: float) -> str:
    return _("today") if days <= 1 else _("in %d days") % (days - 1)


def _unit(desk: Desk, value: float, name: str) -> str:
    return desk.amount(value, name).split(" ", 1)[1]


def _finding(desk: Desk, lines: list[BasinLine]) -> str:
    over = [line.name for line in lines if line.is_over]
    warned = [line.name for line in lines if line.is_warned and not line.is_over]
    unread = [line.name for line in lines if line.view.reading is None]
    said = []
    if over:
        said.append(_("At or over the line: %s.") % ", ".join(over))
    if warned:
        said.append(_("Passes the line before it can be cleaned out: %s.") % ", ".join(warned))
    if unread:
        said.append(_("No level was ever read: %s.") % ", ".join(unread))
    soonest = min(lines, key=lambda line: line.view.early_d, default=None)
    if soonest is not None and not isinf(soonest.view.early_d):
        words = _(
            "First to reach its line with the design storm kept free: %(basin)s, in 1 of 10 runs "
            "of weather %(when)s."
        )
        said.append(words % {"basin": soonest.name, "when": _soon(soonest.view.early_d)})
    return " ".join(said) or _("Nothing reaches its line in the next %d days.") % HORIZON_D


def _line(desk: Desk, farm: BasinsView, view: BasinView) -> BasinLine:
    reading, basin = view.reading, view.basin
    is_over = reading is not None and reading.depth_m >= basin.must_act_depth_m
    return BasinLine(
        view=view,
        name=desk.place(basin.place),
        stage=str(basin.get_stage_display()),
        gate=_gate(view),
        level=desk.amount(reading.depth_m, "depth_m", digits=1) if reading else "–",
        age=desk.ago(reading.read_at) if reading else _("never read"),
        is_old=reading is None or desk.now - reading.read_at > OLD_READING,
        days=_days(desk, farm, view.days_d),
        storm_days=_storm_days(desk, farm, view),
        switch=_switch(desk, farm, view),
        hauling=_hauling(desk, view),
        clean_out=_clean_out(desk, view),
        is_over=is_over,
        is_warned=view.passes_while_cleaned,
        can_switch=bool(basin.pair) and not view.is_filling and desk.caller.is_lead,
    )


def _gate(view: BasinView) -> str:
    if view.basin.stage == BasinStage.SECOND:
        return _("takes what weeps")
    return _("gate open") if view.is_filling else _("gate shut")


def _days(desk: Desk, farm: BasinsView, days: tuple[float, ...]) -> str:
    """Say the middle and the range of days, with the date of the middle one."""
    if not days:
        return "–"
    early, middle, late = days
    if isinf(early):
        return _("not in the next %d days") % HORIZON_D
    words = _("%(middle)s d (1 in 10: %(early)s d, 9 in 10: %(late)s d)")
    said = words % {"early": _day(early), "middle": _day(middle), "late": _day(late)}
    if isinf(middle):
        return said
    return f"{said}, {desk.day(_on(farm.today, middle))}"


def _day(days: float) -> str:
    return f"> {HORIZON_D}" if isinf(days) else f"{days - 1:.0f}"


def _on(today: date, days: float) -> date:
    return today + timedelta(days=days - 1)


def _storm_days(desk: Desk, farm: BasinsView, view: BasinView) -> str:
    if farm.practice.storm_mm is None:
        return _("the farm file gives no design storm")
    return _days(desk, farm, view.days_storm_d or ())


def _switch(desk: Desk, farm: BasinsView, view: BasinView) -> str:
    if not view.is_filling or not view.basin.pair:
        return ""
    other = farm.next_of(view)
    if isinf(view.early_d) or other is None:
        return ""
    words = _("Switch to %(basin)s by %(day)s; it stands at %(level)s now.")
    level_m = other.reading.depth_m if other.reading else 0.0
    return words % {
        "basin": desk.place(other.basin.place),
        "day": desk.day(_on(farm.today, view.early_d)),
        "level": desk.amount(level_m, "depth_m", digits=1),
    }


def _hauling(desk: Desk, view: BasinView) -> str:
    if view.hauling is None:
        return _("the farm file names no trucks or fields")
    words = _("%(volume)s, %(loads)s, %(hours)s h at %(km)s")
    loads = view.hauling.n_loads
    return words % {
        "volume": desk.amount(view.hauling.volume_m3, "volume_m3"),
        "loads": ngettext("%d load", "%d loads", loads) % loads,
        "hours": f"{view.hauling.hours:,.0f}",
        "km": desk.amount(view.hauling.distance_km, "distance_km", digits=1),
    }


def _clean_out(desk: Desk, view: BasinView) -> str:
    plan = view.hauling.plan if view.hauling else None
    if plan is None:
        return ""
    if plan.begin_on is None or plan.end_on is None:
        words = _("No field window leaves %(days)s before %(latest)s.")
        days = ngettext("%d day", "%d days", plan.n_days) % plan.n_days
        return words % {"days": days, "latest": desk.day(plan.latest_on)}
    words = _("Begin by %(begin)s, done %(end)s")
    return words % {"begin": desk.day(plan.begin_on), "end": desk.day(plan.end_on)}


def _chart(desk: Desk, farm: BasinsView, lines: list[BasinLine]) -> Chart:
    drawn = [line for line in lines if line.view.fan_m is not None]
    weeks = [farm.today + timedelta(days=d) for d in range(0, HORIZON_D, WEEK_D)]
    strips = [_strip(line, len(weeks)) for line in drawn]
    heads = (desk.noun("basin"), *(desk.day(weeks[k]) for k in range(0, len(weeks), 4)))
    finding = _finding(desk, lines)
    svg = draw_fan(
        key="levels",
        strips=strips,
        times=[desk.day(on) if k % 4 == 0 else "" for k, on in enumerate(weeks)],
        title=_("Levels in the months ahead"),
        desc=finding,
    )
    rows = tuple(
        (
            line.name,
            *(
                " · ".join(desk.amount(m, "depth_m", digits=1) for m in strip.bands[k])
                for k in range(0, len(weeks), 4)
            ),
        )
        for line, strip in zip(drawn, strips, strict=True)
    )
    legend = (
        ("bar soft", _("8 in 10 runs of weather, by the week; the middle one as a line")),
        ("bar", _("level as last read")),
    )
    return Chart("levels", finding, svg, heads, rows, legend)


def _strip(line: BasinLine, n_weeks: int) -> Strip:
    fan_m, reading = line.view.fan_m, line.view.reading
    assert fan_m is not None
    assert reading is not None
    bands = [fan_m[:, min(k * WEEK_D, fan_m.shape[1] - 1)] for k in range(n_weeks)]
    return Strip(
        label=line.name,
        level=line.level,
        now=reading.depth_m,
        bands=[(float(b[0]), float(b[1]), float(b[2])) for b in bands],
        line=line.view.basin.must_act_depth_m,
        top=line.view.basin.depth_m,
    )


def _field_line(desk: Desk, view: FieldView) -> FieldLine:
    governing, room = "–", "–"
    if view.rates is not None and view.room_kg is not None:
        words = _("%(nutrient)s: %(rate)s")
        rate = desk.amount(view.rates.governing_t_ha, "rate_t_ha", digits=1)
        nutrient = str(NUTRIENTS[view.rates.governing])
        governing = words % {"nutrient": nutrient, "rate": rate}
        room = desk.amount(view.room_kg / 1000, "room_t")
    return FieldLine(
        view=view,
        crop=f"{view.field.crop}, {desk.amount(view.field.area_ha, 'area_ha')}",
        brought=_three(desk, view.brought_kg_ha),
        left=_three(desk, view.left_kg_ha),
        governing=governing,
        room=room,
    )


def _three(desk: Desk, kg_ha: dict[Nutrient, float]) -> str:
    amounts = [desk.amount(kg_ha[nutrient], "need_kg_ha") for nutrient in Nutrient]
    return " · ".join(amounts)


def _settings(desk: Desk, farm: BasinsView) -> list[tuple[str, str]]:
    """Say what the projection rests on."""
    practice, inflow = farm.practice, farm.inflow
    storm = practice.storm_mm
    return [
        (
            _("Design storm (the farm's setting)"),
            desk.amount(storm, "storm_mm", digits=1) if storm is not None else _("not given"),
        ),
        (_("Manure as excreted, book values"), str(practice.get_manure_table_display())),
        (_("Settled solids"), desk.amount(inflow.settled_m3, "settled_m3") + _(" a day")),
        (
            _("Flush water that goes round"),
            desk.amount(inflow.returned_m3, "flush_m3", "gal") + _(" a day"),
        ),
        (_("Wash water (setting)"), desk.amount(inflow.wash_m3, "wash_m3", "gal") + _(" a day")),
        (_("Solids kept by the walls (setting)"), f"{practice.retained_frac:.0%}"),
        (_("Dry matter of settled solids (setting)"), f"{practice.settled_dm_frac:.0%}"),
        (
            _("Runs of weather, drawn from recorded years"),
            f"{max((view.n_members for view in farm.basins), default=0)}",
        ),
    ]


def _applications(desk: Desk) -> list[tuple[FieldApplication, str, str, str]]:
    rows = (
        FieldApplication.objects.filter(site_id=desk.site_id)
        .select_related("field", "basin__place", "by", "analysis")
        .order_by("-applied_on", "-pk")[:N_RECORDS]
    )
    return [
        (
            row,
            desk.day(row.applied_on),
            desk.amount(row.mass_kg / 1000, "mass_t"),
            desk.place(row.basin.place),
        )
        for row in rows
    ]
