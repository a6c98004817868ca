"""Water page: is a run starved or in somebody's way, is a flush strong enough, does water last."""

from __future__ import annotations

from collections.abc import Callable, Sized
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from equipment.flushing.calc import FrostRule, Regime, Shortfall, ShortfallCode, WaterBalance, Who
from equipment.flushing.checks import FlushCheck, Frost, flush_checks, frost_of
from equipment.flushing.models import FlushWater
from equipment.flushing.queries import TankPlan, flush_water_of, tank_plans
from equipment.site.calc.local_time import local_date_of
from schedules.dayplan.flush_conflicts import FlushConflict, flush_conflicts
from schedules.sand.flush_balance import WaterWeek, water_week

from .base import Desk
from .tank_chart import tank_chart
from .water import AHEAD, lock_lines, lockable_places, water_of

SHORTFALLS = {
    ShortfallCode.VELOCITY_LOW: gettext_lazy("slower than %(limit)s"),
    ShortfallCode.DEPTH_LOW: gettext_lazy("thinner than %(limit)s"),
    ShortfallCode.OPEN_SHORT: gettext_lazy("shorter than %(limit)s"),
}
REGIMES = {
    Regime.FAST: gettext_lazy("fast: about 7.5 ft/s, less than 1 min"),
    Regime.SLOW: gettext_lazy("slow: about 3 ft/s, 10 min or more"),
    Regime.NEITHER: gettext_lazy("neither"),
}
FROST = {
    FrostRule.NONE: gettext_lazy("Frost: no rule of the farm holds."),
    FrostRule.DRAIN_VALVES: gettext_lazy(
        "Frost: drain valves and pipes after each run, and look for ice before people, cows or "
        "machines use a flushed floor."
    ),
    FrostRule.NO_FLUSH: gettext_lazy(
        "Frost: by the farm's rule nothing is flushed. Wet floors turn to ice: keep cows and "
        "people off, and drain valves and pipes."
    ),
}
WHOM = {
    Who.PEOPLE: gettext_lazy("people at work"),
    Who.MACHINE: gettext_lazy("a machine at work"),
    Who.COWS: gettext_lazy("cows being moved"),
}


@dataclass(frozen=True, slots=True)
class CheckLine:
    """One timer's flush in words."""

    timer: str
    depth: str
    velocity: str
    chezy: str
    flow: str
    volume: str
    open_s: str
    travel_s: str
    is_wave: bool
    shortfalls: list[str]
    regime: str


@dataclass(frozen=True, slots=True)
class ConflictLine:
    """One run that would meet somebody."""

    when: str
    alley: str
    whom: str
    where: str


def water_context(desk: Desk) -> dict[str, Any]:
    """Put the page together: about 21 queries."""
    end = desk.now + AHEAD
    plans = tank_plans(desk.site_id, desk.now, end)
    week = water_week(desk.site_id, desk.now)
    settings = flush_water_of(desk.site_id)
    conflicts = flush_conflicts(desk.site_id, desk.now, end)
    return {
        "finding": " ".join([_finding(desk, plans), *_say_conflicts(conflicts)]),
        "frost": _say_frost(desk),
        "conflicts": [_conflict(desk, c) for c in conflicts],
        "charts": [tank_chart(desk, plan, desk.now, end) for plan in plans],
        "checks": [_check(desk, check) for check in flush_checks(desk.site_id)],
        "balance": _balance_rows(desk, week),
        "balance_finding": _say_balance(desk, week),
        "balance_days": [desk.day(desk.now + timedelta(days=n)) for n in range(len(week.days))],
        "n_weather": week.n_days,
        "settings": settings,
        "said": _say_settings(desk, settings),
        "water": water_of(desk),
        "locks": lock_lines(desk),
        "lockable": lockable_places(desk),
    }


def _finding(desk: Desk, plans: list[TankPlan]) -> str:
    """Name the first run that starves, of all tanks."""
    starved = [(p.day.first_starved, p) for p in plans if p.day.first_starved]
    if not starved:
        return _("Every flush run of the next 24 h gets its water.")
    step, plan = min(starved, key=lambda pair: pair[0].at)
    words = _("First to starve: %(run)s at %(at)s lacks %(short)s of its water.")
    return words % {
        "run": plan.names.get(step.run_key, ""),
        "at": desk.moment(step.at),
        "short": desk.amount(step.short_m3, "short_m3", "gal"),
    }


def _say_conflicts(conflicts: Sized) -> list[str]:
    """Count the runs that must not run as they are planned."""
    words = ngettext(
        "%(n)d must not run as planned: somebody is in its way.",
        "%(n)d must not run as planned: somebody is in their way.",
        len(conflicts),
    )
    return [words % {"n": len(conflicts)}] if conflicts else []


def _say_frost(desk: Desk) -> str:
    frost: Frost = frost_of(desk.site_id, local_date_of(desk.now, desk.caller.site.zone))
    if frost.on is None or frost.tmin_degc is None:
        return _("Frost: no weather is recorded, so no rule can be told.")
    words = _("%(rule)s Coldest on %(day)s: %(air)s.")
    return words % {
        "rule": FROST[frost.rule],
        "day": desk.day(frost.on),
        "air": desk.amount(frost.tmin_degc, "air_degc"),
    }


def _say_settings(desk: Desk, settings: FlushWater) -> dict[str, str]:
    return {
        "drain": desk.amount(settings.drain_below_degc, "air_degc"),
        "no_flush": desk.amount(settings.no_flush_below_degc, "air_degc"),
        "level": desk.amount(settings.recycled_level_m3, "level_m3", "gal"),
        "fresh": desk.amount(settings.fresh_m3_d, "fresh_m3", "gal"),
        "solids": f"{100 * settings.solids_frac:,.1f} %",
    }


def _conflict(desk: Desk, found: FlushConflict) -> ConflictLine:
    place = None
    if found.assignment is not None:
        place = found.assignment.work_order.place
    elif found.visit is not None:
        place = found.visit.pen.place
    return ConflictLine(
        when=desk.moment(found.run.starts_at),
        alley=desk.place(found.run.alley.place),
        whom=str(WHOM[found.who]),
        where=desk.place(place) if place else "",
    )


def _check(desk: Desk, check: FlushCheck) -> CheckLine:
    flush = check.flush
    digits = 0 if desk.caller.site.units == "us" else 2  # gal/min, or m³/s
    return CheckLine(
        timer=check.timer.name,
        depth=_depth(desk, flush.depth_m),
        velocity=_velocity(desk, flush.velocity_m_s),
        chezy=_velocity(desk, flush.chezy_velocity_at_practice_m_s),
        flow=desk.amount(flush.flow_m3_s, "flow_m3_s", digits=digits),
        volume=desk.amount(flush.volume_m3, "volume_m3", "gal"),
        open_s=f"{flush.open_s:,.0f} s",
        travel_s=f"{flush.travel_s:,.0f} s",
        is_wave=flush.is_wave,
        shortfalls=[_say_shortfall(desk, shortfall) for shortfall in check.shortfalls],
        regime=str(REGIMES[check.regime]),
    )


def _depth(desk: Desk, depth_m: float) -> str:
    return desk.amount(depth_m, "depth_m", "in", 1)


def _velocity(desk: Desk, velocity_m_s: float) -> str:
    return desk.amount(velocity_m_s, "velocity_m_s", "ft/s", 1)


def _say_shortfall(desk: Desk, shortfall: Shortfall) -> str:
    limits: dict[ShortfallCode, Callable[[], str]] = {
        ShortfallCode.VELOCITY_LOW: lambda: _velocity(desk, shortfall.limit),
        ShortfallCode.DEPTH_LOW: lambda: _depth(desk, shortfall.limit),
        ShortfallCode.OPEN_SHORT: lambda: f"{shortfall.limit:,.0f} s",
    }
    return SHORTFALLS[shortfall.code] % {"limit": limits[shortfall.code]()}


def _balance_rows(desk: Desk, week: WaterWeek) -> list[tuple[str, list[str]]]:
    """A row for each way of the water, a column for each day, the sum at the end."""
    ways: list[tuple[str, Callable[[WaterBalance], float]]] = [
        (_("Stored at the start"), lambda b: b.start_m3),
        (_("+ return"), lambda b: b.return_m3),
        (_("− flush"), lambda b: b.flush_m3),
        (_("− carried off in sand"), lambda b: b.sand_m3),
        (_("− carried off with solids"), lambda b: b.solids_m3),
        (_("− evaporation"), lambda b: b.evaporation_m3),
        (_("+ rain"), lambda b: b.rain_m3),
        (_("+ fresh make-up"), lambda b: b.fresh_m3),
        (_("− spilled to the basins"), lambda b: b.spilled_m3),
        (_("Stored at the end"), lambda b: b.end_m3),
        (_("Unexplained"), lambda b: abs(b.rest_m3)),
    ]
    columns = (*week.days, week.total)
    return [
        (name, [desk.amount(of(day), "stored_m3", "gal") for day in columns]) for name, of in ways
    ]


def _say_balance(desk: Desk, week: WaterWeek) -> str:
    total = week.total
    facts = {
        "start": desk.amount(total.start_m3, "stored_m3", "gal"),
        "end": desk.amount(total.end_m3, "stored_m3", "gal"),
        "short": desk.amount(total.short_m3, "short_m3", "gal"),
    }
    if total.short_m3 > 0:
        return _("In 7 days stored water falls from %(start)s to %(end)s, and %(short)s of flush "
                 "cannot be.") % facts  # fmt: skip
    return _("In 7 days stored water goes from %(start)s to %(end)s.") % facts
