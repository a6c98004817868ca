"""Codes and numbers as sentences. Calculations give codes; people read these."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from schedules.rounds.calc.warn import DayWarning, WarningCode
from schedules.work.models import Outcome, Status, WorkOrder
from schedules.work.queries import WaitReason


def say_said(texts: Mapping[str, str], language: str) -> str:
    """Give a text of the farm file in a language, English where it has no other."""
    return texts.get(language) or texts.get("en") or ""


def say_order_state(order: WorkOrder) -> str:
    """Say what the page says of a work order (design, Words)."""
    if order.status == Status.NEEDS_ACTION:
        return _("To do")
    if order.status == Status.IN_PROCESS:
        return _("Under way")
    words = {
        Outcome.DONE: _("Done"),
        Outcome.PART: _("Part done"),
        Outcome.COULD_NOT: _("Could not"),
        Outcome.MISSED: _("Missed"),
        Outcome.NOT_NEEDED: _("No longer needed"),
    }
    return words[Outcome(order.outcome)]


def state_class(order: WorkOrder) -> str:
    """Give the style of a state; the word always stands beside it."""
    if order.status == Status.NEEDS_ACTION:
        return "to-do"
    if order.status == Status.IN_PROCESS:
        return "under-way"
    return {Outcome.DONE: "done", Outcome.PART: "part"}.get(Outcome(order.outcome), "could-not")


WAITS = {
    "dependency": gettext_lazy("%(name)s"),
    "hold": gettext_lazy("%(name)s (out of use)"),
    "lock": gettext_lazy("a lock on %(name)s"),
}


def say_waiting(waits: Iterable[WaitReason]) -> str:
    """Say what a work order waits on; empty when on nothing."""
    names = [str(WAITS.get(w.code, WAITS["dependency"])) % {"name": w.name} for w in waits]
    return _("Waiting on %s") % ", ".join(names) if names else ""


DECISIONS = {
    "machine_on_hold": gettext_lazy(
        "The machine it runs on was taken out of use: give it another, or stop it."
    ),
    "late_report": gettext_lazy("A phone reported it after it was closed: look what is true."),
    "outside_window": gettext_lazy("It was reported outside its window: were cows in the pen?"),
    "closed": gettext_lazy("A report came after it was closed: look what is true."),
}


def say_decision(code: str) -> str:
    """Say what a person must decide."""
    return str(DECISIONS.get(code, _("It needs a look: %s.") % code.replace("_", " ")))


REASONS = {
    "predecessor_left_out": gettext_lazy("nobody has what must come before it"),
    "outside_horizon": gettext_lazy("it lies beyond the hours that are planned"),
    "window_too_short": gettext_lazy(
        "its window is too short: it takes %(needs_min)s min, the window has %(has_min)s"
    ),
    "no_daylight": gettext_lazy("there is not enough daylight in its window"),
    "place_blocked": gettext_lazy("the place is closed in its window: %(whys)s"),
    "no_skilled_person": gettext_lazy("nobody is qualified for it: %(skills)s"),
    "outside_shift": gettext_lazy("nobody is on shift while it may be done"),
    "no_skilled_person_on_shift": gettext_lazy("nobody qualified is on shift then: %(skills)s"),
    "shift_too_short": gettext_lazy(
        "breaks and shift ends leave %(has_min)s min of the %(needs_min)s it takes"
    ),
    "skill_lapsed": gettext_lazy("a qualification has run out: %(skills)s"),
    "two_people_needed": gettext_lazy("it needs %(n_needed)s together; %(n_there)s can be there"),
    "heat_rest_too_long": gettext_lazy("with the rest owed in the heat it does not fit"),
    "no_machine_of_kind": gettext_lazy("the farm has no machine for it: %(kinds)s"),
    "machines_held": gettext_lazy("every machine for it is out of use"),
    "machines_unavailable": gettext_lazy("no machine for it can be had then"),
    "no_driver_on_shift": gettext_lazy("nobody on shift may drive the machine: %(skills)s"),
    "no_common_time": gettext_lazy("people and machine are never there together"),
    "no_common_time_left": gettext_lazy("people, machine and place are never free together"),
    "gap_not_kept": gettext_lazy("the gap to what it follows cannot be kept"),
    "place_busy": gettext_lazy("other work has the place in its window"),
    "all_people_busy": gettext_lazy("everybody qualified is on other work in its window"),
    "all_machines_busy": gettext_lazy("every machine for it is on other work in its window"),
    "all_drivers_busy": gettext_lazy("every driver for it is on other work in its window"),
    "way_and_setup_too_long": gettext_lazy("the way and the set-up leave too little of its window"),
    "pen_held": gettext_lazy("the pen is held"),
    "batch_held": gettext_lazy("the batch is held"),
    "moved_meanwhile": gettext_lazy("what it rests on moved while it was planned"),
}
WHYS = {
    "cows_walk_back": gettext_lazy("cows walk back"),
    "flush_runs": gettext_lazy("a flush runs"),
}


class _Facts(dict[str, Any]):
    """Facts of a reason; one that is missing reads as a dash and does not break the page."""

    def __missing__(self, key: str) -> str:
        return "–"


def say_reason(reason: Mapping[str, Any]) -> str:
    """Say why a job has nobody, from its code and facts."""
    words = REASONS.get(str(reason.get("code")))
    if words is None:
        return str(reason.get("code", "")).replace("_", " ")
    return str(words) % _Facts({k: _shown(v) for k, v in reason.get("facts", {}).items()})


def _shown(value: object) -> str:
    if isinstance(value, list | tuple):
        return ", ".join(sorted({_shown(v) for v in value}))
    if isinstance(value, float):
        return f"{value:,.0f}"
    return str(WHYS.get(str(value), str(value).replace("_", " ").replace("-", " ")))


WARNINGS = {
    WarningCode.TIME_AWAY_OVER_LIMIT: gettext_lazy(
        "%(pen)s is away %(value).0f min at milking %(slot)s; the farm's limit is %(limit).0f."
    ),
    WarningCode.BEDS_CANNOT_BE_FINISHED: gettext_lazy(
        "%(pen)s need %(value).0f min at milking %(slot)s; they have %(limit).0f."
    ),
    WarningCode.DAY_DOES_NOT_CLOSE: gettext_lazy(
        "The milkings and washes need %(value).1f h; a day has %(limit).1f."
    ),
    WarningCode.WINDOW_EMPTY: gettext_lazy("%(pen)s have no usable window at milking %(slot)s."),
}


def say_warning(warning: DayWarning, names: Mapping[str, str]) -> str:
    """Say a warning of the day's clock; `names` are the places by key."""
    unit = 60 if warning.code == WarningCode.DAY_DOES_NOT_CLOSE else 1
    return str(WARNINGS[warning.code]) % {
        "pen": names.get(warning.bed_group_key or warning.pen_key or "", ""),
        "slot": warning.slot,
        "value": warning.value_min / unit,
        "limit": warning.limit_min / unit,
    }
