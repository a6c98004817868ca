"""What needs a decision, in words: what goes wrong, on what evidence, what can be done."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from equipment.machines.models import MachineKind
from equipment.site.models import Place
from schedules.alerts.models import Alert, AlertKind, AnswerCode

from .base import Desk
from .sand_words import say_tons

Facts = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Named:
    """Names that answers need beside their own facts: jobs by work order, places by key."""

    jobs: Mapping[int, str] = field(default_factory=dict)
    places: Mapping[int, Place] = field(default_factory=dict)


def _at(facts: Facts, name: str) -> datetime:
    return datetime.fromisoformat(facts[name])


def _on(desk: Desk, facts: Facts, name: str) -> str:
    return desk.day(date.fromisoformat(facts[name]))


def _place(desk: Desk, alert: Alert) -> str:
    return desk.place(alert.place) if alert.place else ""


def _days(n: int) -> str:
    return ngettext("%d day", "%d days", n) % n


# What ------------------------------------------------------------------------------------------


def _what_beds(desk: Desk, alert: Alert) -> str:
    words = _("%(pen)s: the cows are back %(back)s, and the beds are not done by then.")
    return words % {"pen": _place(desk, alert), "back": desk.moment(_at(alert.facts, "back_at"))}


def _what_sand(desk: Desk, alert: Alert) -> str:
    facts = alert.facts
    needed = _on(desk, facts, "needed_on")
    if facts.get("number") is None:
        words = _("Ready sand runs short on %(needed)s, and none is on its way.")
        return words % {"needed": needed}
    names = {"batch": desk.noun("batch"), "number": facts["number"], "needed": needed}
    if facts.get("ready_on") is None:
        words = _("%(batch)s %(number)d is needed on %(needed)s; when it is ready is not in sight.")
        return words % names
    words = _("%(batch)s %(number)d is needed on %(needed)s and likely ready on %(ready)s.")
    return words % {**names, "ready": _on(desk, facts, "ready_on")}


def _what_basin(desk: Desk, alert: Alert) -> str:
    words = _("%(basin)s may pass its line by %(day)s; cleaning it out takes %(days)s.")
    return words % {
        "basin": _place(desk, alert),
        "day": _on(desk, alert.facts, "line_on"),
        "days": _days(alert.facts["clean_d"]),
    }


def _what_machine(desk: Desk, alert: Alert) -> str:
    return str(_("%s is out of use and nothing stands in for it.") % alert.facts["name"])


def _what_drivers(desk: Desk, alert: Alert) -> str:
    facts = alert.facts
    words = _("%(shift)s, %(when)s: %(here)d of %(n)d people for %(skill)s.")
    return words % {
        "shift": facts["shift"],
        "when": f"{_on(desk, facts, 'on')} {desk.clock(_at(facts, 'starts_at'))}",
        "here": facts["n_there"],
        "n": facts["n_needed"],
        "skill": facts["skill_name"] or facts["skill"],
    }


# Evidence ---------------------------------------------------------------------------------------


def _why_beds(desk: Desk, alert: Alert) -> list[str]:
    facts, said = alert.facts, []
    if n := facts["n_nobody"]:
        said.append(ngettext("%d row of beds has nobody.", "%d rows of beds have nobody.", n) % n)
    if facts["over_min"]:
        words = _("Work ends %(min)d min after the beds close at %(closes)s.")
        closes = desk.clock(_at(facts, "closes_at"))
        said.append(words % {"min": facts["over_min"], "closes": closes})
    n = facts["n_stalls"]
    said.append(ngettext("%d stall would be left.", "%d stalls would be left.", n) % n)
    return said


def _why_sand(desk: Desk, alert: Alert) -> list[str]:
    facts = alert.facts
    return [
        _("%(mass)s would lack until then, on top of the safety stock.")
        % {"mass": say_tons(desk, facts["short_kg"])},
        _("From order to sand: %s.") % _days(facts["lead_d"]),
    ]


def _why_basin(desk: Desk, alert: Alert) -> list[str]:
    return [_("In 1 of 10 runs of weather, with room for the design storm where one is set.")]


def _why_machine(desk: Desk, alert: Alert) -> list[str]:
    n = alert.facts["n_jobs"]
    words = ngettext(
        "%(n)d job of the coming week asks for it, %(hours).1f h of work.",
        "%(n)d jobs of the coming week ask for it, %(hours).1f h of work.",
        n,
    )
    return [words % {"n": n, "hours": alert.facts["hours"]}]


def _why_drivers(desk: Desk, alert: Alert) -> list[str]:
    return [_("The roster asks for this many; who is sick or on leave is not counted as there.")]


# Answers ----------------------------------------------------------------------------------------


def _person(desk: Desk, facts: Facts, named: Named) -> str:
    return _("Get one more person for %(job)s, from %(at)s.") % _given(desk, facts, named)


def _machine(desk: Desk, facts: Facts, named: Named) -> str:
    return _("Get one more machine for %(job)s, from %(at)s.") % _given(desk, facts, named)


def _instead(desk: Desk, facts: Facts, named: Named) -> str:
    words = _("Leave %(other)s out: then %(who)s can do %(job)s from %(at)s.")
    other = named.jobs.get(facts["instead_of"], _("another job"))
    return words % {**_given(desk, facts, named), "other": other}


def _given(desk: Desk, facts: Facts, named: Named) -> dict[str, object]:
    return {
        "job": named.jobs.get(facts["work_order"], _("the job")),
        "who": ", ".join(facts["names"]) or _("somebody"),
        "at": desk.clock(_at(facts, "starts_at")),
    }


def _cows_later(desk: Desk, facts: Facts, named: Named) -> str:
    words = _("Let the cows back %d min later: still within your limit of time away.")
    return str(words % facts["later_min"])


def _stalls(desk: Desk, facts: Facts, named: Named) -> str:
    n: int = facts["n_stalls"]
    words = ngettext(
        "Leave %d stall to the next milking.", "Leave %d stalls to the next milking.", n
    )
    return words % n


def _buy(desk: Desk, facts: Facts, named: Named) -> str:
    n = facts["n_trucks"]
    words = ngettext(
        "Buy %(n)d truck of sand for %(mass)s that lack: order by %(day)s.",
        "Buy %(n)d trucks of sand for %(mass)s that lack: order by %(day)s.",
        n,
    )
    mass, late_d = say_tons(desk, facts["mass_kg"]), facts["late_d"]
    said: str = words % {"n": n, "mass": mass, "day": desk.day(_at(facts, "order_by"))}
    if late_d:
        more = ngettext("Even so it comes %d day late.", "Even so it comes %d days late.", late_d)
        return f"{said} {more % late_d}"
    return said


def _turn(desk: Desk, facts: Facts, named: Named) -> str:
    words = _("Turn the layer %(turns)d times a day: dry %(days)s sooner, more likely than not.")
    return words % {"turns": facts["turns_d"], "days": _days(facts["saved_d"])}


def _less(desk: Desk, facts: Facts, named: Named) -> str:
    share = f"{100 * facts['use_frac']:.0f}%"
    if facts.get("until_on") is None:
        return _("Bed with %s less sand each day.") % share
    words = _("Bed with %(share)s less sand each day until %(day)s.")
    return words % {"share": share, "day": _on(desk, facts, "until_on")}


def _clean(desk: Desk, facts: Facts, named: Named) -> str:
    words = _("Begin to clean it out by %(begin)s: done %(end)s, with fields open for it.")
    return words % {"begin": _on(desk, facts, "begin_on"), "end": _on(desk, facts, "end_on")}


def _switch(desk: Desk, facts: Facts, named: Named) -> str:
    place = named.places.get(facts["basin"])
    words = _("Let it flow to %(basin)s, which stands at %(level)s.")
    level = desk.amount(facts["level_m"], "depth_m", digits=1)
    return words % {"basin": desk.place(place) if place else "", "level": level}


def _haul(desk: Desk, facts: Facts, named: Named) -> str:
    n = facts["n_loads"]
    words = ngettext(
        "Haul %(volume)s: %(n)d load, %(hours)d h.", "Haul %(volume)s: %(n)d loads, %(hours)d h.", n
    )
    volume = desk.amount(facts["volume_m3"], "volume_m3")
    return words % {"volume": volume, "n": n, "hours": facts["hours"]}


def _repair(desk: Desk, facts: Facts, named: Named) -> str:
    return _("Have %(name)s put right %(by)s.") % {"name": facts["name"], "by": say_by(desk, facts)}


def say_by(desk: Desk, facts: Facts) -> str:
    """Say by when; what is past is now."""
    by = _at(facts, "by")
    return _("now") if by <= desk.now else _("by %s") % desk.moment(by)


def _hire(desk: Desk, facts: Facts, named: Named) -> str:
    words = _("Borrow or hire another %(by)s: %(kind)s.")
    kind = MachineKind(facts["kind"]).label
    return words % {"kind": kind, "by": say_by(desk, facts)}


def _call_in(desk: Desk, facts: Facts, named: Named) -> str:
    n = facts["shifts_near"]
    words = ngettext(
        "Add %(name)s to this shift: no rule is broken; %(n)d shift in the weeks around.",
        "Add %(name)s to this shift: no rule is broken; %(n)d shifts in the weeks around.",
        n,
    )
    return words % {"name": facts["name"], "n": n}


def _hire_driver(desk: Desk, facts: Facts, named: Named) -> str:
    return str(_("Find somebody elsewhere who holds %s.") % facts["skill_name"])


WHAT: dict[AlertKind, Callable[[Desk, Alert], str]] = {
    AlertKind.BEDS: _what_beds,
    AlertKind.SAND: _what_sand,
    AlertKind.BASIN: _what_basin,
    AlertKind.MACHINE: _what_machine,
    AlertKind.DRIVERS: _what_drivers,
}
WHY: dict[AlertKind, Callable[[Desk, Alert], list[str]]] = {
    AlertKind.BEDS: _why_beds,
    AlertKind.SAND: _why_sand,
    AlertKind.BASIN: _why_basin,
    AlertKind.MACHINE: _why_machine,
    AlertKind.DRIVERS: _why_drivers,
}
ANSWERS: dict[AnswerCode, Callable[[Desk, Facts, Named], str]] = {
    AnswerCode.COWS_LATER: _cows_later,
    AnswerCode.LEAVE_STALLS: _stalls,
    AnswerCode.ONE_MORE_PERSON: _person,
    AnswerCode.ONE_MORE_MACHINE: _machine,
    AnswerCode.INSTEAD_OF: _instead,
    AnswerCode.BUY_SAND: _buy,
    AnswerCode.TURN_MORE: _turn,
    AnswerCode.USE_LESS: _less,
    AnswerCode.CLEAN_OUT: _clean,
    AnswerCode.SWITCH_GATE: _switch,
    AnswerCode.HAUL: _haul,
    AnswerCode.REPAIR: _repair,
    AnswerCode.HIRE_MACHINE: _hire,
    AnswerCode.CALL_IN: _call_in,
    AnswerCode.HIRE_DRIVER: _hire_driver,
}


def say_alert(desk: Desk, alert: Alert) -> str:
    """Say what goes wrong. No query: its place was fetched with it."""
    return WHAT[AlertKind(alert.kind)](desk, alert)


def say_evidence(desk: Desk, alert: Alert) -> list[str]:
    """Say what that rests on. No query."""
    return WHY[AlertKind(alert.kind)](desk, alert)


def say_answer(desk: Desk, answer: Facts, named: Named) -> str:
    """Say what can be done. No query."""
    return ANSWERS[AnswerCode(answer["code"])](desk, answer["facts"], named)
