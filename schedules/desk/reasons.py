"""Why nobody has a work order, as a sentence of codes and facts."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext_lazy

from crews.people.models import Skill
from equipment.machines.models import Machine, MachineKind
from schedules.dayplan.calc.solution import ReasonCode
from schedules.dayplan.closures import Why
from schedules.work.models import WorkOrder

REASONS = {
    ReasonCode.PREDECESSOR_LEFT_OUT: gettext_lazy("nobody has what must come before it"),
    ReasonCode.OUTSIDE_HORIZON: gettext_lazy("it lies beyond the hours that are planned"),
    ReasonCode.WINDOW_TOO_SHORT: gettext_lazy(
        "its window is too short: it takes %(needs_min)s min, the window has %(has_min)s"
    ),
    ReasonCode.NO_DAYLIGHT: gettext_lazy("there is not enough daylight in its window"),
    ReasonCode.PLACE_BLOCKED: gettext_lazy("the place is closed in its window: %(whys)s"),
    ReasonCode.NO_SKILLED_PERSON: gettext_lazy("nobody is qualified for it: %(skills)s"),
    ReasonCode.OUTSIDE_SHIFT: gettext_lazy("nobody is on shift while it may be done"),
    ReasonCode.NO_SKILLED_PERSON_ON_SHIFT: gettext_lazy(
        "nobody qualified is on shift then: %(skills)s"
    ),
    ReasonCode.SHIFT_TOO_SHORT: gettext_lazy(
        "breaks and shift ends leave %(has_min)s min of the %(needs_min)s it takes"
    ),
    ReasonCode.SKILL_LAPSED: gettext_lazy("a qualification has run out: %(skills)s"),
    ReasonCode.TWO_PEOPLE_NEEDED: gettext_lazy(
        "it needs %(n_needed)s together; %(n_there)s can be there"
    ),
    ReasonCode.HEAT_REST_TOO_LONG: gettext_lazy("with the rest owed in the heat it does not fit"),
    ReasonCode.ITEMS_NOT_TO_BE_HAD: gettext_lazy(
        "nobody qualified has, or can load, enough of: %(items)s"
    ),
    ReasonCode.NO_MACHINE_OF_KIND: gettext_lazy("the farm has no machine for it: %(kinds)s"),
    ReasonCode.MACHINES_HELD: gettext_lazy("every machine for it is out of use"),
    ReasonCode.MACHINES_UNAVAILABLE: gettext_lazy("no machine for it can be had then"),
    ReasonCode.NO_DRIVER_ON_SHIFT: gettext_lazy(
        "nobody on shift may drive the machine: %(skills)s"
    ),
    ReasonCode.NO_COMMON_TIME: gettext_lazy("people and machine are never there together"),
    ReasonCode.NO_COMMON_TIME_LEFT: gettext_lazy(
        "people, machine and place are never free together"
    ),
    ReasonCode.GAP_NOT_KEPT: gettext_lazy("the gap to what it follows cannot be kept"),
    ReasonCode.PLACE_BUSY: gettext_lazy("other work has the place in its window"),
    ReasonCode.ALL_PEOPLE_BUSY: gettext_lazy("everybody qualified is on other work in its window"),
    ReasonCode.ALL_MACHINES_BUSY: gettext_lazy(
        "every machine for it is on other work in its window"
    ),
    ReasonCode.ALL_DRIVERS_BUSY: gettext_lazy("every driver for it is on other work in its window"),
    ReasonCode.WAY_AND_SETUP_TOO_LONG: gettext_lazy(
        "the way and the set-up leave too little of its window"
    ),
    ReasonCode.PEN_HELD: gettext_lazy("the pen is held"),
    ReasonCode.BATCH_HELD: gettext_lazy("the batch is held"),
    ReasonCode.NO_FLUSH_IN_WINDOW: gettext_lazy("no flush of the alley is planned in its window"),
    ReasonCode.MOVED_MEANWHILE: gettext_lazy("what it rests on moved while it was planned"),
}


@dataclass(frozen=True, slots=True)
class FarmNames:
    """Names that the farm gave: skills by key, machines by id as text."""

    skills: Mapping[str, str]
    machines: Mapping[str, str]


def names_for(site_id: int, orders: Iterable[WorkOrder]) -> FarmNames:
    """Read the names that the reasons of some work orders need: 2 queries, 0 without reasons."""
    if not any(_reasons_of(order) for order in orders):
        return FarmNames({}, {})
    return farm_names(site_id)


def farm_names(site_id: int) -> FarmNames:
    """Read the names that reasons may need: 2 queries."""
    skills = Skill.objects.filter(site_id=site_id).values_list("key", "name")
    machines = Machine.objects.filter(site_id=site_id).values_list("pk", "name")
    return FarmNames(dict(skills), {str(pk): name for pk, name in machines})


def say_reasons(order: WorkOrder, names: FarmNames) -> list[str]:
    """Say why a work order has nobody. No query: the reasons were fetched with it."""
    return [say_reason(reason, names) for reason in _reasons_of(order)]


def _reasons_of(order: WorkOrder) -> list[Mapping[str, Any]]:
    left_out = getattr(order, "unassigned", None)
    return left_out.reasons if left_out else []


def say_reason(reason: Mapping[str, Any], names: FarmNames) -> str:
    """Say one reason; raises on a code that has no sentence."""
    facts = {name: _shown(name, value, names) for name, value in reason["facts"].items()}
    return str(REASONS[ReasonCode(reason["code"])]) % facts


def _shown(name: str, value: Any, names: FarmNames) -> str:
    if isinstance(value, list | tuple):
        return ", ".join(sorted({_named(name, item, names) for item in value}))
    return f"{value:,.0f}" if isinstance(value, float) else str(value)


def _named(name: str, key: str, names: FarmNames) -> str:
    """Name a skill, a kind of machine or a machine, or what closes a place, as the pages do."""
    if name == "skills":
        return names.skills.get(key, key)
    if name == "kinds":
        return names.machines.get(key) or str(MachineKind(key).label)
    return str(Why(key).label) if name == "whys" else key
