"""Values of the farm file as people type them in a form or a cell, and as they are shown there.

What is read here is only taken apart: whether a value may be so is for the file's own reader.
"""

from __future__ import annotations

import re
from textwrap import indent
from typing import Any, Final

import yaml
from django.utils.translation import gettext as _

from equipment.site.calc.refusal import RefusedValueError
from equipment.site.calc.typed_number import AmbiguousNumberError, parse_number
from equipment.site.farmfields import Field, Kind
from equipment.site.units import parse_quantity, suffix_of

from .document import read_text
from .faults import BrokenFileError

ABSENT: Final = object()  # nothing was typed: as if the file did not say it
NUMBERS = {Kind.WHOLE, Kind.NUMBER}
NESTED = {Kind.DOCUMENT, Kind.PART}
COMPOSED = {  # names whose ending is only a part of their unit
    "clock_h",
    "fuel_price_per_l",
    "haul_h_d",
    "loader_h_d",
    "loader_loads_h",
    "loads_h",
    "manned_h_d",
    "season_frac",
    "shop_cost_per_h",
    "stops_per_1000_h",
    "turns_per_d",
    "use_kg_stall_d",
    "weep_frac_d",
}
YES = {"true", "yes", "sí", "si", "x", "1"}
NO = {"false", "no", "0"}
_WITH_UNIT = re.compile(r"[-+\N{MINUS SIGN}]?[0-9.,]+\s*[^0-9.,\s].*", re.DOTALL)
_ONE_DOT_THREE = re.compile(r"-?[1-9][0-9]{0,2}\.[0-9]{3}")


class NotReadError(Exception):
    """A text that cannot be taken apart: why, and what to do."""

    def __init__(self, reason: str, remedy: str) -> None:
        super().__init__(reason)
        self.reason = reason
        self.remedy = remedy


def has_unit(f: Field) -> bool:
    """Whether the number may be typed in another unit, as in `820 ft`."""
    if f.kind not in NUMBERS or f.name in COMPOSED:
        return False
    try:
        suffix_of(f.name)
    except RefusedValueError:
        return False
    return True


def say_number(value: float) -> str:
    """Write a number so that reading it gives the same: no group signs, and never `1.250`."""
    text = str(int(value)) if value == int(value) else format_plain(value)
    return f"{text}0" if _ONE_DOT_THREE.fullmatch(text) else text


def format_plain(value: float) -> str:
    """Write a number with all its digits and no exponent."""
    text = repr(value)
    return f"{value:.20f}".rstrip("0") if "e" in text else text


def say_value(f: Field, value: Any) -> str:
    """Write a value as it would be typed; a text in each language is written as nested."""
    if f.kind in NESTED or f.kind is Kind.WORDS:
        return _say_nested(value) if value else ""
    if f.is_list:
        return "; ".join(_say_one(f, item) for item in value)
    return _say_one(f, value)


def _say_one(f: Field, value: Any) -> str:
    if value is None:
        return ""
    if f.kind in NUMBERS:
        return say_number(value)
    if f.kind is Kind.BOOL:
        return "true" if value else "false"
    return str(value)


def _say_nested(value: Any) -> str:
    text: str = yaml.safe_dump(
        value, allow_unicode=True, default_flow_style=False, sort_keys=False, width=70
    )
    return text.rstrip("\n")


def read_value(f: Field, text: str, unit: str = "") -> Any:
    """Take apart what was typed for a field; `unit` is what a bare number of it is in."""
    text = text.replace("\r\n", "\n")
    if not text.strip():
        return ABSENT
    if f.kind in NESTED or f.kind is Kind.WORDS:
        return _read_nested(text)
    if f.is_list:
        signs = r"[;\n]" if f.kind in NUMBERS else r"[;,\n]"
        return [_read_one(f, part.strip(), unit) for part in re.split(signs, text) if part.strip()]
    return _read_one(f, text, unit)


def _read_one(f: Field, text: str, unit: str) -> Any:
    if f.kind in NUMBERS:
        return _read_number(f, text.strip(), unit)
    if f.kind is Kind.BOOL:
        return _read_bool(text.strip().lower())
    return text if f.kind is Kind.TEXT else text.strip()


def _read_bool(text: str) -> bool:
    if text in YES | NO:
        return text in YES
    raise NotReadError(_("must be yes or no"), _("Write yes or no."))


def _read_number(f: Field, text: str, unit: str) -> float:
    if unit and not _WITH_UNIT.fullmatch(text):
        text = f"{text} {unit}"
    try:
        if _WITH_UNIT.fullmatch(text) and has_unit(f):
            value = parse_quantity(text, f.name, "si")
        else:
            value = parse_number(text)
    except AmbiguousNumberError as error:
        reason = _("could be meant in two ways")
        raise NotReadError(reason, _("Write 1250.5 or 1,250.")) from error
    except RefusedValueError as error:
        raise _no_number(error) from error
    return int(value) if value == int(value) else value


def _no_number(error: RefusedValueError) -> NotReadError:
    if error.code in {"not_a_unit", "no_unit"}:
        return NotReadError(_("has a unit that does not fit"), _("Write figures only."))
    return NotReadError(_("is no number"), _("Write it as 1250.5."))


def _read_nested(text: str) -> Any:
    try:
        document = read_text(f"value:\n{indent(text, '  ')}\n".encode(), "")
    except BrokenFileError as error:
        fault = error.faults[0]
        line = _("line %(n)d") % {"n": max(1, fault.line - 1)}
        raise NotReadError(f"{fault.reason} ({line})", fault.remedy) from error
    return document.value["value"].plain()
