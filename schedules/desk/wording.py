"""Codes and numbers as sentences. Calculations give codes; people read these."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from schedules.rounds.calc.warn import DayWarning, WarningCode
from schedules.work.calc.reports import Said
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


REPORTS = {
    Said.STARTED: gettext_lazy("Started"),
    Said.DONE: gettext_lazy("Done"),
    Said.PART: gettext_lazy("Part done"),
    Said.COULD_NOT: gettext_lazy("Could not"),
    Said.LOAD: gettext_lazy("One load"),
    Said.CANCELLED: gettext_lazy("No longer needed"),
    Said.UNDONE: gettext_lazy("Taken back"),
    Said.ACCEPTED: gettext_lazy("What was reported counts"),
    Said.DISMISSED: gettext_lazy("Left as it was"),
}


def say_report(kind: str) -> str:
    """Say what was reported of a work order."""
    return str(REPORTS[Said(kind)])


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
    "reports_differ": gettext_lazy("Two reports of it differ: look what is true."),
    "done_while_waiting": gettext_lazy("It was done while it waited on other work: look."),
    "place_assumed": gettext_lazy("Nobody said where the sand went: the place was assumed. Look."),
    "sand_not_booked": gettext_lazy("Its sand is not in the books: say where it went."),
    "test_missing": gettext_lazy("No moisture was measured: test again."),
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
        "%(pen)s is away %(value).0f min at milking %(slot)s; the farm's limit is %(limit).0f min."
    ),
    WarningCode.BEDS_CANNOT_BE_FINISHED: gettext_lazy(
        "%(pen)s need %(value).0f min at milking %(slot)s; they have %(limit).0f min."
    ),
    WarningCode.DAY_DOES_NOT_CLOSE: gettext_lazy(
        "The milkings and washes need %(value).1f h; the day has %(limit).1f h."
    ),
    WarningCode.WINDOW_EMPTY: gettext_lazy("%(pen)s have no usable window at milking %(slot)s."),
}
MILKING_RUNS_OVER = gettext_lazy(
    "Milking %(slot)s and its wash take %(value).1f h; the next is to start after %(limit).1f h."
)


def say_warnings(warnings: Iterable[DayWarning], names: Mapping[str, str]) -> list[str]:
    """Say what the day's clock found, the same of several milkings once, at its worst.

    `names` are the places by key.
    """
    same: dict[tuple[str, str | None, str | None], list[DayWarning]] = defaultdict(list)
    for warning in warnings:
        same[warning.code, warning.pen_key, warning.bed_group_key].append(warning)
    return [_say_warning(group, names) for group in same.values()]


def _say_warning(group: list[DayWarning], names: Mapping[str, str]) -> str:
    worst = max(group, key=lambda w: w.value_min - w.limit_min)
    is_of_day = worst.code == WarningCode.DAY_DOES_NOT_CLOSE
    words = MILKING_RUNS_OVER if is_of_day and worst.slot is not None else WARNINGS[worst.code]
    unit = 60 if is_of_day else 1
    return str(words) % {
        "pen": names.get(worst.bed_group_key or worst.pen_key or "", ""),
        "slot": ", ".join(str(w.slot) for w in group),
        "value": worst.value_min / unit,
        "limit": worst.limit_min / unit,
    }
