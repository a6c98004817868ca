"""The three small documents of a standing order: what they may hold, and the minutes they give.

DEVELOPERS.md has the table of keys. Every check finds all faults in one pass.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time
from typing import TYPE_CHECKING, Any, NamedTuple
from zoneinfo import ZoneInfo

from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy as _

from equipment.machines.models import MachineKind
from equipment.site.calc.recurrence import CalendarRule
from equipment.site.calc.refusal import RefusedValueError
from equipment.site.models import PlaceKind
from schedules.sand.models import Stage

from .models import Relation, Trigger

if TYPE_CHECKING:
    from equipment.site.farmfields import Text

Document = Mapping[str, Any]


class Fault(NamedTuple):
    """One thing wrong with a document: where, why, what to do."""

    path: str
    reason: Text
    remedy: Text


@dataclass(frozen=True, slots=True)
class Value:
    """What the value of one key may be, as a test and in words."""

    fits: Callable[[Any], bool]
    expected: Text


@dataclass(frozen=True, slots=True)
class Shape:
    """The keys of a document: must have, may have, and groups of which exactly one is given."""

    must: Mapping[str, Value] = field(default_factory=dict)
    may: Mapping[str, Value] = field(default_factory=dict)
    one_of: tuple[str, ...] = ()

    @property
    def known(self) -> dict[str, Value]:
        return {**self.must, **self.may}


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _number(low: float, high: float) -> Value:
    words = format_lazy(_("Give a number from {low} to {high}."), low=low, high=high)
    return Value(lambda v: _is_number(v) and low <= v <= high, words)


def _whole(low: int, high: int) -> Value:
    words = format_lazy(_("Give a whole number from {low} to {high}."), low=low, high=high)
    fits = lambda v: isinstance(v, int) and not isinstance(v, bool) and low <= v <= high  # noqa: E731
    return Value(fits, words)


def _choice(choices: Collection[str]) -> Value:
    words = format_lazy(_("Give one of: {choices}."), choices=", ".join(choices))
    return Value(lambda v: isinstance(v, str) and v in choices, words)


def _reads(read: Callable[[str], Any], expected: Text) -> Value:
    def fits(value: Any) -> bool:
        try:
            read(value)
        except (ValueError, TypeError):
            return False
        return True

    return Value(fits, expected)


def _list_of(item: Value, expected: Text) -> Value:
    def fits(value: Any) -> bool:
        return (
            isinstance(value, list)
            and bool(value)
            and all(item.fits(v) for v in value)
            and len({repr(v) for v in value}) == len(value)
        )

    return Value(fits, expected)


def read_clock(text: str) -> time:
    """Read "HH:MM"; anything else is a ValueError."""
    return datetime.strptime(text, "%H:%M").replace(tzinfo=UTC).time()


_TEXT = Value(lambda v: isinstance(v, str) and bool(v.strip()), _("Give a text."))
_KEYS = _list_of(_TEXT, _("Give a list of different keys, or leave it out for all of the kind."))
_CLOCK = _reads(read_clock, _('Give local time in quotes as "HH:MM", such as "06:30".'))
_DATE = _reads(date.fromisoformat, _('Give a date in quotes as "YYYY-MM-DD".'))
_YES_NO = Value(lambda v: isinstance(v, bool), _("Give true or false."))
_WINDOW_H = _number(0.1, 24 * 31)
_LENGTH_MIN = _number(1, 24 * 60)
_GAP_MIN = _number(0, 24 * 60 * 31)
_MILKINGS = _list_of(_whole(1, 6), _("Give different milkings of the day, such as [1, 3]."))

WEEKDAYS = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")  # RFC 5545, BYDAY
_WEEKDAYS = _list_of(_choice(WEEKDAYS), _("Give different weekdays, such as [MO, TH]."))
BEDDED = "bedded"  # the one step of a batch that is done in a pen: its sand goes into the beds

WITHIN = ("usable", "empty", "away", "before", "gate", "after")
OUTSIDE_VISIT = ("before", "after")
HAS_LENGTH = (*OUTSIDE_VISIT, "gate")
DURING_FLUSH = "flush"  # watched from beside the alley, while the water runs
MEASURES = ("tmin_degc", "tmax_degc", "rain_mm")
VISITED_KINDS = (PlaceKind.PEN, PlaceKind.ALLEY, PlaceKind.BED_GROUP)
FINDS_ITS_PLACE = (Trigger.BATCH_STAGE, Trigger.METER)  # the batch's place, the machine's home

SHAPES: dict[str, Shape] = {
    Trigger.CALENDAR: Shape(
        {"rrule": _TEXT, "at_local": _CLOCK, "from_on": _DATE, "window_h": _WINDOW_H},
        {"during": _choice((DURING_FLUSH,))},
    ),
    Trigger.HOURS_SINCE: Shape({"hours": _number(0.25, 24 * 366), "window_h": _WINDOW_H}),
    Trigger.PEN_VISIT: Shape(
        {"within": _choice(WITHIN)},
        {
            "length_min": _LENGTH_MIN,
            "milkings": _MILKINGS,
            "weekdays": _WEEKDAYS,
            "step": _choice((BEDDED,)),
        },
    ),
    Trigger.BATCH_STAGE: Shape(
        {"stage": _choice(Stage.values), "step": _TEXT},
        {
            "after_h": _number(0, 24 * 366),
            "after_d": _number(0, 366),
            "when": _choice(("dry", "ready")),
            "times_per_d": _whole(1, 12),
            "from_local": _CLOCK,
            "until_local": _CLOCK,
            "at_local": _CLOCK,
            "window_h": _WINDOW_H,
        },
        one_of=("after_h", "after_d", "when", "times_per_d"),
    ),
    Trigger.METER: Shape(
        {"due_within_d": _whole(1, 90)},
        {
            "service_items": _KEYS,
            "machine_kinds": _list_of(_choice(MachineKind.values), _("Give kinds of machine.")),
        },
    ),
    Trigger.WEATHER: Shape(
        {"measure": _choice(MEASURES), "at_local": _CLOCK, "window_h": _WINDOW_H},
        {
            "at_least": _number(-60, 500),
            "at_most": _number(-60, 500),
            "days_later": _whole(0, 7),
        },
        one_of=("at_least", "at_most"),
    ),
    Trigger.AFTER: Shape(
        {"standing_order": _TEXT, "relation": _choice(Relation.values), "window_min": _LENGTH_MIN},
        {"gap_min": _GAP_MIN, "gap_max_min": _GAP_MIN},
    ),
}
TARGET = Shape({"kind": _choice(PlaceKind.values)}, {"keys": _KEYS})
_RATE = _number(0, 10_000)
DURATION = Shape(
    may={
        **dict.fromkeys(
            (
                "base_min",
                "per_stall_min",
                "per_m_min",
                "per_m2_min",
                "per_t_min",
                "per_cow_min",
            ),
            _RATE,
        ),
        "from_service_item": _YES_NO,
    }
)

_REFUSED = {
    "missing": _("is not given"),
    "unknown_part": _("is not a part of a recurrence rule"),
    "doubled": _("is given twice"),
    "not_a_value": _("has a value that cannot be read"),
    "out_of_range": _("is out of range"),
    "not_together": _("cannot stand with another part"),
    "too_often": _("makes too many a day"),
    "never_occurs": _("never falls on a day"),
}


def check_documents(
    *,
    trigger: str,
    trigger_rule: Any,
    target: Any,
    duration: Any,
    known_places: Mapping[str, Collection[str]] | None = None,
) -> list[Fault]:
    """Find all faults of a standing order's documents, in one pass.

    `known_places` gives the keys of each kind of place, when the caller knows them.
    """
    faults = list(_check_shape("trigger_rule", SHAPES[trigger], trigger_rule))
    if not faults:
        faults += _check_together(trigger, trigger_rule)
    is_bedding = trigger == Trigger.PEN_VISIT and not faults and "step" in trigger_rule
    faults += _check_target(trigger, target, known_places, is_bedding=is_bedding)
    faults += _check_duration(trigger, duration)
    return faults


def _check_shape(name: str, shape: Shape, document: Any) -> Iterator[Fault]:
    if not isinstance(document, Mapping):
        yield Fault(name, _("is not a mapping"), _("Give keys and values."))
        return
    keys = ", ".join(shape.known)
    for key, value in document.items():
        path = f"{name}.{key}"
        if key not in shape.known:
            yield Fault(path, _("is unknown"), _("Known keys: %(keys)s.") % {"keys": keys})
        elif not shape.known[key].fits(value):
            reason = _("cannot be %(value)s") % {"value": repr(value)[:60]}
            yield Fault(path, reason, shape.known[key].expected)
    for key in shape.must:
        if key not in document:
            yield Fault(f"{name}.{key}", _("is missing"), shape.must[key].expected)
    if shape.one_of and len(set(shape.one_of) & set(document)) != 1:
        choices = {"choices": ", ".join(shape.one_of)}
        yield Fault(name, _("must hold exactly one of: %(choices)s") % choices, _("Keep one."))


def _check_together(trigger: str, rule: Document) -> Iterator[Fault]:
    """Check what single values cannot show; all of them are well formed."""
    if trigger == Trigger.CALENDAR:
        yield from _check_rrule(rule)
    elif trigger == Trigger.PEN_VISIT:
        yield from _check_length(rule)
    elif trigger == Trigger.BATCH_STAGE:
        yield from _check_batch(rule)
    elif trigger == Trigger.AFTER and rule.get("gap_max_min", 1e9) < rule.get("gap_min", 0):
        remedy = _("Give at least gap_min.")
        yield Fault("trigger_rule.gap_max_min", _("is less than gap_min"), remedy)


def calendar_rule(rule: Document, zone: ZoneInfo) -> CalendarRule:
    """Build the recurrence of a calendar standing order in a zone."""
    start = datetime.combine(date.fromisoformat(rule["from_on"]), read_clock(rule["at_local"]))
    return CalendarRule(rule["rrule"], start, zone)


def _check_rrule(rule: Document) -> Iterator[Fault]:
    try:
        calendar_rule(rule, ZoneInfo("UTC"))
    except RefusedValueError as error:
        why = _REFUSED.get(error.code, error.code)
        reason = _("%(part)s %(why)s") % {"part": error.part, "why": why}
        remedy = _("Write it as in RFC 5545, such as FREQ=WEEKLY;BYDAY=MO,TH.")
        yield Fault("trigger_rule.rrule", reason, remedy)


def _check_length(rule: Document) -> Iterator[Fault]:
    has_length = rule["within"] in HAS_LENGTH
    if has_length and "length_min" not in rule:
        reason = _("is missing")
        yield Fault("trigger_rule.length_min", reason, _("Say how long it is, in minutes."))
    if not has_length and "length_min" in rule:
        reason = _("goes only with before, gate and after")
        yield Fault("trigger_rule.length_min", reason, _("Leave it out."))


def _check_batch(rule: Document) -> Iterator[Fault]:
    needed = ("from_local", "until_local") if "times_per_d" in rule else ("window_h",)
    for key in needed:
        if key not in rule:
            reason = _("is missing")
            remedy = SHAPES[Trigger.BATCH_STAGE].may[key].expected
            yield Fault(f"trigger_rule.{key}", reason, remedy)
    if any(key not in rule for key in (*needed, "times_per_d")):
        return
    if read_clock(rule["until_local"]) <= read_clock(rule["from_local"]):
        reason = _("is not after from_local")
        yield Fault("trigger_rule.until_local", reason, _("Give a later time of the day."))


def _check_target(
    trigger: str,
    target: Any,
    known_places: Mapping[str, Collection[str]] | None,
    *,
    is_bedding: bool,
) -> Iterator[Fault]:
    if trigger in FINDS_ITS_PLACE and not target:
        return
    shape_faults = list(_check_shape("target", TARGET, target))
    yield from shape_faults
    if shape_faults:
        return
    kind = target["kind"]
    if is_bedding and kind != PlaceKind.PEN:
        remedy = _("Sand goes into a pen: give the kind pen.")
        yield Fault("target.kind", _("cannot be bedded"), remedy)
    if trigger == Trigger.PEN_VISIT and kind not in VISITED_KINDS:
        words = {"kinds": ", ".join(VISITED_KINDS)}
        yield Fault("target.kind", _("has no pen visit"), _("Give one of: %(kinds)s.") % words)
    if known_places is not None:
        known = known_places.get(kind, ())
        for key in target.get("keys", ()):
            if key not in known:
                reason = _("names %(key)s, which is no place of kind %(kind)s")
                words = {"key": key, "kind": kind}
                yield Fault("target.keys", reason % words, _("Name a place of the farm file."))


def _check_duration(trigger: str, duration: Any) -> Iterator[Fault]:
    yield from _check_shape("duration", DURATION, duration)
    if isinstance(duration, Mapping):
        if not duration:
            yield Fault("duration", _("is empty"), _("Give at least base_min."))
        if "from_service_item" in duration and trigger != Trigger.METER:
            reason = _("goes only with the trigger meter")
            yield Fault("duration.from_service_item", reason, _("Give base_min instead."))


def check_chain(after: Mapping[str, str], known: Collection[str]) -> Iterator[Fault]:
    """Check that every order that follows another names one, and that none follows itself.

    `after` maps the key of each standing order with the trigger `after` to the key it names;
    the path of a fault is the key of the order at fault.
    """
    for key, first in after.items():
        if first not in known:
            reason = _("follows %(key)s, which is no standing order") % {"key": first}
            yield Fault(key, reason, _("Name a standing order of the farm file."))
            continue
        seen, at = {key}, first
        while at in after and at not in seen:
            seen.add(at)
            at = after[at]
        if at == key:
            yield Fault(key, _("follows itself"), _("Break the circle."))


def minutes_for(
    duration: Document,
    *,
    n_stalls: float = 0,
    length_m: float = 0,
    area_m2: float = 0,
    dry_t: float = 0,
    n_cows: float = 0,
    n_people: int = 1,
    service_item_min: float = 0,
) -> float:
    """Minutes a piece of work takes its people together: base and service whole, the rest shared.

    Never less than one minute: a plan cannot hold work that takes no time.
    """
    shared_min = (
        duration.get("per_stall_min", 0) * n_stalls
        + duration.get("per_m_min", 0) * length_m
        + duration.get("per_m2_min", 0) * area_m2
        + duration.get("per_t_min", 0) * dry_t
        + duration.get("per_cow_min", 0) * n_cows
    )
    own_min = duration.get("base_min", 0)
    if duration.get("from_service_item"):
        own_min += service_item_min
    return max(1.0, float(own_min + shared_min / max(1, n_people)))
