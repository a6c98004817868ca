"""Rows copied from a spreadsheet, taken apart into entries of one section."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.utils.text import slugify
from django.utils.translation import gettext as _

from equipment.site.calc.refusal import RefusedValueError
from equipment.site.errors import DomainError
from equipment.site.farmfields import Field, Kind, Values
from equipment.site.farmrows import Section
from equipment.site.models import Language
from equipment.site.units import UNITS, to_stored

from .entries import KEY_FIELD
from .typed import ABSENT, NotReadError, has_unit, read_value

MAX_ROWS = 2000
_PLAIN = re.compile(r"[^-{\[]")  # how a list of parts begins that is not written as in the file
_WITH_DAYS = re.compile(r"(.+?)((?:\s+\d{4}-\d{2}-\d{2})*)", re.DOTALL)
Said = Mapping[str, Mapping[str, str]]  # by field: what people call a value, in small letters
_HEAD_UNIT = re.compile(r"(.*?)\s*[\[(]([^\[\]()]+)[\])]")


class NoRowsError(DomainError):
    """What was pasted is no table of this section: nothing was read."""

    code = "no_rows"


@dataclass(frozen=True, slots=True)
class Column:
    """One column: the field it fills, of a text in each language which one, its unit if named."""

    heading: str
    f: Field
    language: str = ""
    unit: str = ""

    @property
    def name(self) -> str:
        return f"{self.f.name}.{self.language}" if self.language else self.f.name


@dataclass(frozen=True, slots=True)
class CellFault:
    """What is wrong in a row: the column's name ('' for all of it), why, what to do."""

    column: str
    reason: str
    remedy: str


@dataclass
class PastedRow:
    """One row: its number in the sheet, its cells as they were, and what they say."""

    line: int
    cells: list[str]
    key: str = ""
    given: Values = field(default_factory=dict)
    faults: list[CellFault] = field(default_factory=list)


def read_rows(
    section: Section, text: str, headings: Mapping[str, str], said: Said
) -> tuple[list[Column], list[PastedRow]]:
    """Take a table apart; `headings` are what people call the fields, in small letters.

    A cell may hold a key or a choice as the file has it, or what people call it (`said`). One
    that is empty says nothing. Raises NoRowsError where the head cannot be read.
    """
    lines = _cells(text)
    if len(lines) < 2:
        raise NoRowsError(_("Paste a line of headings, and below it one line each."))
    if len(lines) > MAX_ROWS + 1:
        raise NoRowsError(_("Paste at most %(n)d rows at a time.") % {"n": MAX_ROWS})
    columns = _columns(section, lines[0][1], headings)
    return columns, [_row(section, columns, line, cells, said) for line, cells in lines[1:]]


def fields_of(section: Section) -> list[Field]:
    """Give what a row may hold: the key where it has one of its own, and every field."""
    has_key = section.key_fields == (KEY_FIELD.name,) and not section.is_single
    return [*([KEY_FIELD] if has_key else []), *section.fields]


def make_key(section: Section, given: Values) -> str:
    """Make a key from what a new entry is called: `pen-7`, `maria-lopez`; '' from nothing."""
    said = given.get("name") or given.get("label") or ""
    for text in given.values():
        if isinstance(text, dict) and not said:
            said = str(text.get("en", ""))
    kind = section.place_kinds[0].value.replace("_", "-") if len(section.place_kinds) == 1 else ""
    slug = slugify(str(said))
    return f"{kind}-{slug}".strip("-")[:60] if slug else ""


def _cells(text: str) -> list[tuple[int, list[str]]]:
    """Give each line that holds something with its number; tabs part cells, else commas."""
    plain = text.replace("\r\n", "\n").replace("\r", "\n").replace("\0", "")
    head = next((line for line in plain.split("\n") if line.strip()), "")
    reader = csv.reader(io.StringIO(plain), delimiter="\t" if "\t" in head else ",")
    try:
        found = [(reader.line_num, [cell.strip() for cell in cells]) for cells in reader]
    except csv.Error as error:
        raise NoRowsError(_("This is no table: %s.") % error) from error
    return [(number, texts) for number, texts in found if any(texts)]


def _columns(section: Section, head: Sequence[str], headings: Mapping[str, str]) -> list[Column]:
    known = {f.name: f for f in fields_of(section)}
    columns = [_column(heading, known, headings) for heading in head]
    unknown = [heading for heading, found in zip(head, columns, strict=True) if found is None]
    if unknown:
        said = ", ".join(f"“{heading}”" for heading in unknown)
        told = {"names": said, "known": ", ".join(known)}
        raise NoRowsError(
            _("No such column: %(names)s. Use the headings of the table, or: %(known)s.") % told
        )
    found = [column for column in columns if column is not None]
    names = [column.name for column in found]
    twice = {column.heading for column in found if names.count(column.name) > 1}
    if twice:
        raise NoRowsError(_("Two columns say the same: %s.") % ", ".join(sorted(twice)))
    missing = [name for name in section.key_fields if name not in names]
    if missing and section.key_fields != (KEY_FIELD.name,):
        raise NoRowsError(_("A column is missing: %s.") % ", ".join(missing))
    return found


def _column(heading: str, known: Mapping[str, Field], headings: Mapping[str, str]) -> Column | None:
    unit = ""
    name = _name(heading, known, headings)
    found = _HEAD_UNIT.fullmatch(heading)
    if not name and found:
        name, unit = _name(found[1], known, headings), found[2].strip()
    base, _dot, language = name.partition(".")
    if base not in known or (language and known[base].kind is not Kind.WORDS):
        return None
    if unit and not _fits(known[base], unit):
        return None
    return Column(heading, known[base], language, unit)


def _fits(f: Field, unit: str) -> bool:
    try:
        return has_unit(f) and to_stored(1, f.name, UNITS[unit]) is not None
    except (KeyError, RefusedValueError):
        return False


def _name(heading: str, known: Mapping[str, Field], headings: Mapping[str, str]) -> str:
    plain = " ".join(heading.split())
    base, _dot, language = plain.partition(".")
    if plain in known or (base in known and language in Language.values):
        return plain
    as_name = plain.casefold().replace(" ", "_")
    return headings.get(plain.casefold(), as_name if as_name in known else "")


def _row(
    section: Section, columns: Sequence[Column], line: int, cells: list[str], said: Said
) -> PastedRow:
    row = PastedRow(line, cells)
    if len(cells) > len(columns):
        remedy = _("Look for a comma or tab inside a cell.")
        row.faults.append(CellFault("", _("has more cells than headings"), remedy))
    for column, text in zip(columns, cells, strict=False):
        try:
            _take(row.given, column, text, said)
        except NotReadError as error:
            row.faults.append(CellFault(column.name, error.reason, error.remedy))
    if section.key_fields == (KEY_FIELD.name,):
        row.key = str(row.given.pop(KEY_FIELD.name, "") or make_key(section, row.given))
    else:
        row.key = "/".join(str(row.given.get(name, "")) for name in section.key_fields)
    return row


def _take(given: Values, column: Column, text: str, said: Said) -> None:
    if column.language:
        if text:
            given.setdefault(column.f.name, {})[column.language] = text
        return
    value = _value(column, text, said)
    if value is not ABSENT:
        given[column.f.name] = value


def _value(column: Column, text: str, said: Said) -> Any:
    f = column.f
    if f.kind is Kind.PART and f.is_list and _PLAIN.match(text):
        return _parts(f, text, said)
    if f.name not in said:
        return read_value(f, text, column.unit)
    signs = r"[;,\n]" if f.is_list else r"\n"
    named = [_named(f, part, said) for part in re.split(signs, text)]
    return read_value(f, ";".join(named), column.unit)


def _named(f: Field, text: str, said: Said) -> str:
    """Give the key or choice that people call so; what nobody calls anything stays."""
    plain = " ".join(text.split())
    return said.get(f.name, {}).get(plain.casefold(), plain)


def _parts(f: Field, text: str, said: Said) -> list[dict[str, str]]:
    """Take `beds 2024-01-01; cattle 2023-05-01 2026-05-01` apart: what, then its days."""
    what, *days = f.parts
    if not what.refers_to or any(day.kind is not Kind.DATE for day in days):
        remedy = _("Write it as in the farm file: [{key: value, key: value}].")
        raise NotReadError(_("is no list"), remedy)
    found = []
    for each in filter(str.strip, re.split(r"[;\n]", text)):
        match = _WITH_DAYS.fullmatch(each.strip())
        assert match is not None
        given = match[2].split()
        if not 0 < len(given) <= len(days):
            remedy = _("Write each with its first day: %s 2024-01-01; and so on.")
            raise NotReadError(_("has no first day"), remedy % match[1])
        named = dict(zip((day.name for day in days), given, strict=False))
        found.append({what.name: _named(what, match[1], said), **named})
    return found
