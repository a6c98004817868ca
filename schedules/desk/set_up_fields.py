"""The fields of an entry as the boxes of a form: drawn from what is typed, and read from it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.utils.translation import gettext as _

from equipment.site.farmfields import Field, Kind, Values
from equipment.site.farmrows import Section
from equipment.site.models import Language
from schedules.farmfile.entries import KEY_FIELD
from schedules.farmfile.faults import Fault
from schedules.farmfile.pasted import fields_of
from schedules.farmfile.typed import ABSENT, NESTED, NUMBERS, NotReadError, read_value, say_value

from .base import Desk
from .set_up_words import (
    HINTS,
    NO,
    YES,
    Names,
    choices_of,
    label_of,
    on_farm,
    own_words,
    unit_of,
)

Typed = Mapping[str, Sequence[str]]  # texts by the name of their box, as a form posts them
N_BLANK = 2  # empty lines below a list of parts
TICKED = "yes"
LONG = {"how", "caution"}  # texts of several lines
PLAIN_KINDS = {Kind.DATE: "date", Kind.TIME: "time", Kind.WHOLE: "number", Kind.NUMBER: "number"}


@dataclass(frozen=True, slots=True)
class BoxFault:
    """What is wrong with what was typed in a box."""

    name: str
    reason: str
    remedy: str
    value: Any = None

    def __str__(self) -> str:
        said = "" if self.value is None else f"{self.value} "
        return f"{said}{self.reason}. {self.remedy}"


@dataclass
class Box:
    """One box of a form, or lines of boxes."""

    name: str
    label: str
    kind: str
    texts: list[str]
    choices: list[tuple[str, str]] = field(default_factory=list)
    unit: str = ""
    hint: str = ""
    lang: str = ""
    is_required: bool = False
    faults: list[BoxFault] = field(default_factory=list)
    lines: list[list[Box]] = field(default_factory=list)

    @property
    def text(self) -> str:
        return self.texts[0] if self.texts else ""

    @property
    def id(self) -> str:
        return f"f-{self.name.replace('.', '-')}"

    @property
    def mode(self) -> str:
        """What keys a phone shows for it."""
        return "decimal" if self.kind == "number" else "text"


# From values to what is typed, and back ---------------------------------------------------------


def say_typed(fields: Iterable[Field], values: Values, prefix: str = "") -> dict[str, list[str]]:
    """Give the texts that stand in the boxes of an entry."""
    typed: dict[str, list[str]] = {}
    for f in fields:
        value, name = values.get(f.name), f"{prefix}{f.name}"
        if f.kind is Kind.WORDS:
            for language in Language.values:
                typed[f"{name}.{language}"] = [(value or {}).get(language, "")]
        elif f.kind is Kind.PART and f.is_list:
            for n, each in enumerate(value or []):
                typed |= say_typed(f.parts, each, f"{name}.{n}.")
        elif f.kind is Kind.BOOL:
            typed[name] = [TICKED] if value else []
        elif _has_ticks(f):
            typed[name] = list(value or [])
        else:
            typed[name] = ["" if value is None else say_value(f, value)]
    return typed


def _has_ticks(f: Field) -> bool:
    return f.is_list and bool(f.refers_to or f.choices)


def read_typed(
    fields: Iterable[Field], typed: Typed, prefix: str = ""
) -> tuple[Values, list[BoxFault]]:
    """Take apart what stands in the boxes; what is empty is not said."""
    given: Values = {}
    faults: list[BoxFault] = []
    for f in fields:
        name = f"{prefix}{f.name}"
        try:
            value = _read_box(f, name, typed, faults)
        except NotReadError as error:
            text = _text(typed, name)
            told = text if len(text) <= 40 and f.kind not in NESTED else None
            faults.append(BoxFault(name, error.reason, error.remedy, told))
            continue
        if value is not ABSENT:
            given[f.name] = value
    return given, faults


def _read_box(f: Field, name: str, typed: Typed, faults: list[BoxFault]) -> Any:
    if f.kind is Kind.WORDS:
        texts = {code: _text(typed, f"{name}.{code}") for code in Language.values}
        said = {code: text for code, text in texts.items() if text.strip()}
        return said or ABSENT
    if f.kind is Kind.PART and f.is_list:
        lines = []
        for n in _line_numbers(name, typed):
            each, found = read_typed(f.parts, typed, f"{name}.{n}.")
            lines.append(each)
            faults += found
        return lines
    if f.kind is Kind.BOOL:
        return bool(_text(typed, name))
    if _has_ticks(f):
        return list(typed.get(name, ())) or (ABSENT if f.is_required else [])
    return read_value(f, _text(typed, name))


def _text(typed: Typed, name: str) -> str:
    texts = typed.get(name) or [""]
    return texts[-1].replace("\r\n", "\n").replace("\0", "")


def _line_numbers(name: str, typed: Typed) -> list[int]:
    pattern = re.compile(rf"{re.escape(name)}\.([0-9]{{1,3}})\.")
    found = {int(match[1]) for each in typed if (match := pattern.match(each))}
    return sorted(found)


def without_blank_lines(fields: Iterable[Field], typed: Typed) -> dict[str, list[str]]:
    """Number the lines of parts anew, those that hold nothing left out."""
    kept = {name: list(texts) for name, texts in typed.items()}
    for f in fields:
        if f.kind is not Kind.PART or not f.is_list:
            continue
        numbers = _line_numbers(f.name, typed)
        lines = [
            {part.name: kept.pop(f"{f.name}.{n}.{part.name}", [""]) for part in f.parts}
            for n in numbers
        ]
        said = [line for line in lines if any("".join(texts).strip() for texts in line.values())]
        for n, line in enumerate(said):
            kept |= {f"{f.name}.{n}.{part}": texts for part, texts in line.items()}
    return kept


# Boxes ------------------------------------------------------------------------------------------


def asked_fields(section: Section, *, is_new: bool) -> list[Field]:
    """Give the fields that a form asks for: what an entry is known by only of a new one."""
    known_by = set() if is_new else {*section.key_fields, "slug"}
    return [f for f in fields_of(section) if f.name not in known_by]


def boxes_of(
    desk: Desk, section: Section, fields: Iterable[Field], typed: Typed, names: Names
) -> list[Box]:
    """Draw the form's boxes from what is typed."""
    drawer = _Drawer(desk, section, typed, names)
    return [box for f in fields for box in drawer.draw(f, f.name)]


def put_faults(boxes: Sequence[Box], faults: Iterable[BoxFault]) -> list[BoxFault]:
    """Put each fault to its box; gives those that have none."""
    homeless: list[BoxFault] = []
    for fault in faults:
        owner = _owner(boxes, fault.name)
        (homeless if owner is None else owner.faults).append(fault)
    return homeless


def faults_of_asked(faults: Iterable[Fault], beginning: str) -> list[BoxFault]:
    """Give the faults that lie in what was asked for, by the name of their box."""
    found = [f for f in faults if f.path == beginning or f.path.startswith(f"{beginning}.")]
    return [BoxFault(_box_name(f.path, beginning), f.reason, f.remedy, f.value) for f in found]


def _box_name(path: str, beginning: str) -> str:
    return re.sub(r"\[(\d+)\]", r".\1", path[len(beginning) :].lstrip("."))


def _owner(boxes: Iterable[Box], name: str) -> Box | None:
    """Give the box of a fault: its own, else the one that the fault lies deep in."""
    all_boxes = list(_each(boxes))
    fitting = [b for b in all_boxes if name == b.name or name.startswith(f"{b.name}.")]
    within = [b for b in all_boxes if name and b.name.startswith(f"{name}.")]
    return max(fitting, key=lambda b: len(b.name), default=next(iter(within), None))


def _each(boxes: Iterable[Box]) -> Iterator[Box]:
    for box in boxes:
        yield box
        for line in box.lines:
            yield from line


@dataclass(frozen=True, slots=True)
class _Drawer:
    """Draws the boxes of one entry."""

    desk: Desk
    section: Section
    typed: Typed
    names: Names

    def draw(self, f: Field, name: str) -> Iterator[Box]:
        if f.kind is Kind.WORDS:
            yield from self._words(f, name)
        elif f.kind is Kind.PART and f.is_list:
            yield self._lines(f, name)
        else:
            yield self._box(f, name)

    def _words(self, f: Field, name: str) -> Iterator[Box]:
        for code, language in Language.choices:
            each = f"{name}.{code}"
            text = _text(self.typed, each)
            kind = "area" if f.name in LONG or "\n" in text else "text"
            label = f"{label_of(self.desk, f)} ({language})"
            yield Box(each, label, kind, [text], lang=code, is_required=f.is_required)

    def _lines(self, f: Field, name: str) -> Box:
        n_lines = len(_line_numbers(name, self.typed)) + N_BLANK
        lines = [
            [box for part in f.parts for box in self.draw(part, f"{name}.{n}.{part.name}")]
            for n in range(n_lines)
        ]
        hint = _("Empty lines are left out.")
        for line in lines:
            for box in line:
                box.is_required = False
        return Box(name, label_of(self.desk, f), "lines", [], lines=lines, hint=hint)

    def _box(self, f: Field, name: str) -> Box:
        label, texts = label_of(self.desk, f), list(self.typed.get(name, ()))
        if f.kind is Kind.BOOL:
            return Box(name, label, "tick", texts)
        if f.refers_to or f.choices:
            kind = "ticks" if f.is_list else "select"
            return Box(name, label, kind, texts, self._choices(f, texts), is_required=f.is_required)
        kind = "text" if f.is_list else PLAIN_KINDS.get(f.kind, "text")
        if f.kind in NESTED or "\n" in _text(self.typed, name):
            kind = "area"
        hint = " ".join(_hints(self.desk, f, _text(self.typed, name)))
        return Box(name, label, kind, texts, [], unit_of(f), hint, is_required=f.is_required)

    def _choices(self, f: Field, texts: Iterable[str]) -> list[tuple[str, str]]:
        known = self.names.get(f.refers_to, {}) if f.refers_to else choices_of(self.section, f)
        gone = [text for text in texts if text and text not in known]
        found = [*known.items(), *((key, _("%s (not in use)") % key) for key in gone)]
        empty = [] if f.is_list else [("", _("Choose one") if f.is_required else "–")]
        return [*empty, *found]


def _hints(desk: Desk, f: Field, text: str) -> Iterator[str]:
    """Say what is in the box in the farm's unit, what may stand there, and what holds without."""
    if f.kind in NUMBERS and not f.is_list:
        yield from _say_on_farm(desk, f, text)
        if f.low is not None and f.high is not None:
            yield _("%(low)s to %(high)s.") % {"low": f"{f.low:,g}", "high": f"{f.high:,g}"}
    if f.is_list:
        yield _("Several with a semicolon between: a; b.")
    if f.kind in NESTED:
        yield _("As in the farm file: one `key: value` a line.")
    if f.name in HINTS:
        yield _in_own_words(desk, str(HINTS[f.name]))
    if f.name == KEY_FIELD.name:
        yield _("Never changes. Empty: made from the name.")
    elif not f.is_required and f.default not in (None, "", [], {}):
        yield _("Empty: %s.") % say_default(f)


def _in_own_words(desk: Desk, text: str) -> str:
    """Put the farm's own nouns into a hint, but not into what is to be typed as it stands."""
    parts = re.split(r"(`[^`]*`)", text)
    return "".join(p if p.startswith("`") else own_words(desk, p) for p in parts)


def _say_on_farm(desk: Desk, f: Field, text: str) -> Iterator[str]:
    try:
        value = read_value(f, text)
    except NotReadError:
        return
    if value is ABSENT:
        return
    said = on_farm(desk, f, value)
    if said:
        yield f"= {said}."


def say_default(f: Field) -> str:
    """Say what holds where nothing is typed."""
    if isinstance(f.default, bool):
        return str(YES if f.default else NO)
    return say_value(f, f.default)
