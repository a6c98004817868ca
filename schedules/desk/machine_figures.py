"""Machines, second half of the page: visits to combine, costs, loaders, stops, keep or replace."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from equipment.machines.calc.productivity import loader_work_h
from equipment.machines.calc.risk import rate_range, stop_chance_frac, times_as_often
from equipment.machines.figures import MachineFigures, StopFigures, machine_figures
from equipment.machines.models import MachinePractice
from equipment.machines.queries import MachineView
from equipment.sandyard.models import SandPractice
from schedules.sand.queries import steady_day

from .base import Desk
from .sand_words import say_day
from .wording import say_said

UNKNOWN = "–"
NEXT_H = 100  # hours of work for which the chance of a stop is told


@dataclass(frozen=True, slots=True)
class VisitLine:
    """One proposed visit of a machine."""

    machine: str
    day: str
    services: str
    saves: str


def figures_context(desk: Desk, views: list[MachineView]) -> dict[str, Any]:
    """Put the figures together: about 9 queries."""
    figures, stops, practice = machine_figures(desk.site_id, views, desk.now)
    return {
        "visits": visit_lines(desk.language, figures),
        "costs": [_cost_row(one) for one in figures],
        "keeps": [_keep_row(one) for one in figures if one.replacement],
        "loaders": [_loader_row(desk, one) for one in figures if one.output],
        "m3": desk.unit("loose_m3"),
        "cycle": _cycle_words(desk, practice),
        "loader_need": _loader_need(desk, figures, practice),
        "stops": _stops(stops),
        "practice": practice,
        "fuel": _fuel_price(desk, practice),
    }


def say_money(amount: float | None, digits: int = 0) -> str:
    """Say an amount in the site's currency, rounded as money is."""
    if amount is None:
        return UNKNOWN
    unit = Decimal(1).scaleb(-digits)
    return f"{Decimal(repr(amount)).quantize(unit):,}"


def visit_lines(language: str, figures: list[MachineFigures]) -> list[VisitLine]:
    """Tell the visits that hold more than one service, and once a machine what all its own save."""
    lines = []
    for one in figures:
        saves = say_money(one.saved)
        for on, dues, _early in one.visits:
            if len(dues) > 1:
                titles = [say_said(d.item.title, language) or d.item.name for d in dues]
                name = one.view.machine.name
                lines.append(VisitLine(name, say_day(on), " + ".join(titles), saves))
                saves = ""
    return lines


def _cost_row(one: MachineFigures) -> dict[str, Any]:
    machine, cost, recorded = one.view.machine, one.cost, one.recorded
    parts = [
        say_money(part / cost.run_h, 2) if part is not None and cost.run_h else UNKNOWN
        for part in cost.parts.values()
    ]
    return {
        "name": machine.name,
        "hours": f"{cost.run_h:,.0f}",
        "parts": parts,
        "total": say_money(cost.per_h, 2) if cost.per_h is not None else _("not known"),
        "row": machine.get_repair_row_display() if machine.repair_row else UNKNOWN,
        "recorded": f"{recorded.per_h:,}" if recorded and recorded.per_h is not None else UNKNOWN,
        "down": UNKNOWN if one.down_frac is None else f"{100 * one.down_frac:.1f} %",
    }


def _keep_row(one: MachineFigures) -> dict[str, str]:
    found = one.replacement
    assert found is not None  # the caller asks only for those
    return {
        "name": one.view.machine.name,
        "keep": say_money(found.keep_cost_y),
        "new": say_money(found.new_cost_y),
        "life": str(found.economic_life_y),
        "verdict": _("Keep another year") if found.is_kept else _("A new one costs less"),
    }


def _fuel_price(desk: Desk, practice: MachinePractice) -> str:
    """Say what fuel costs by the measure that the farm buys it in."""
    price = practice.fuel_price_per_l
    if price is None:
        return UNKNOWN
    return f"{say_money(float(price) / desk.shown(1.0, 'fuel_l'), 2)}/{desk.unit('fuel_l')}"


def _cycle_words(desk: Desk, practice: MachinePractice) -> dict[str, str]:
    return {
        "way": desk.amount(practice.haul_m, "haul_m"),
        "wet": desk.amount(practice.wet_sand_kg_m3, "wet_sand_kg_m3"),
    }


def _loader_row(desk: Desk, one: MachineFigures) -> dict[str, Any]:
    output = one.output
    assert output is not None  # the caller asks only for those
    rated = output.rated_load_kg
    return {
        "name": one.view.machine.name,
        "loads": f"{output.loads_h:.0f}",
        "m3": f"{desk.shown(output.m3_h, 'loose_m3'):,.0f}",
        "wet": desk.amount(output.wet_kg, "wet_kg"),
        "rated": desk.amount(rated, "rated_kg") if rated is not None else _("not known"),
        "is_over": output.is_over,
    }


def _loader_need(desk: Desk, figures: list[MachineFigures], practice: MachinePractice) -> str:
    """Hold the hours that sand asks of loaders a day against those that have a driver."""
    outputs = [o.m3_h for one in figures if one.view.is_usable and (o := one.output)]
    if not outputs or practice.manned_h_d is None:
        return _("Loader hours a day: not known. Give manned_h_d in the farm file.")
    sand = SandPractice.objects.filter(site_id=desk.site_id).first() or SandPractice()
    steady = steady_day(desk.site_id)
    moved_kg = steady.use_kg_d + steady.recovered_kg_d
    volume_m3 = moved_kg / (1 - sand.scooped_moisture_wb_frac) / practice.wet_sand_kg_m3
    need_h = loader_work_h(volume_m3, sum(outputs) / len(outputs))
    words = {
        "need": f"{need_h:.1f}",
        "have": f"{practice.manned_h_d * len(outputs):.0f}",
        "volume": desk.amount(volume_m3, "volume_m3"),
        "n": len(outputs),
    }
    return (
        _(
            "Sand asks %(need)s loader hours a day: %(volume)s scooped or brought to beds, each "
            "moved once. Drivers of the loaders in use (%(n)d) have %(have)s h: the farm's setting."
        )
        % words
    )


def _stops(stops: StopFigures) -> dict[str, str]:
    record = stops.record
    low, high = times_as_often(stops.over, stops.on_time)
    return {
        "n": ngettext(
            "%(n)d stop on record: %(on)d in %(on_h)s h on time, %(over)d in %(over_h)s h past a "
            "service.",
            "%(n)d stops on record: %(on)d in %(on_h)s h on time, %(over)d in %(over_h)s h past a "
            "service.",
            record.n_on_time + record.n_over,
        )
        % {
            "n": record.n_on_time + record.n_over,
            "on": record.n_on_time,
            "on_h": f"{record.on_time_h:,.0f}",
            "over": record.n_over,
            "over_h": f"{record.over_h:,.0f}",
        },
        "on_time": _rate(stops.on_time),
        "over": _rate(stops.over),
        "times": f"{low:.1f}-{high:.1f}",
        "shows": _("No difference is shown.") if low <= 1 <= high else _("A difference is shown."),
    }


def _rate(rate: Any) -> str:
    low, high = rate_range(rate)
    words = {
        "mean": f"{1000 * rate.mean_h:.1f}",
        "low": f"{1000 * low:.1f}",
        "high": f"{1000 * high:.1f}",
        "h": NEXT_H,
        "in_ten": f"{10 * stop_chance_frac(rate, NEXT_H):.0f}",
    }
    return (
        _("%(mean)s stops in 1,000 h (%(low)s to %(high)s); in %(h)d h, %(in_ten)s in 10") % words
    )
