"""Codes and numbers as sentences. Calculations give codes; people read these."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from schedules.rounds.calc.warn import DayWarning, WarningCode
from schedules.work.calc.reports import Said
from schedules.work.models import Outcome, Status, WorkOrder
from schedules.work.queries import WaitCode, WaitReason


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
    WaitCode.DEPENDENCY: gettext_lazy("%(name)s"),
    WaitCode.HOLD: gettext_lazy("%(name)s (out of use)"),
}


def say_waiting(waits: Iterable[WaitReason]) -> str:
    """Say what a work order waits on; empty when on nothing."""
    names = [str(WAITS[w.code]) % {"name": w.name} for w in waits]
    return _("Waiting on %s") % ", ".join(names) if names else ""


WARNINGS = {
    WarningCode.TIME_AWAY_OVER_LIMIT: gettext_lazy(
        "%(pen)s is away %(value).0f min at milking %(slot)s; the farm's limit is %(limit).0f min."
    ),
    WarningCode.TIME_AWAY_IN_DAY_OVER_LIMIT: gettext_lazy(
        "%(pen)s is away %(value).0f min a day, all milkings together; the farm's limit is "
        "%(limit).0f min."
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
