"""One value of the farm file against the field that says what it may be."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from datetime import date, time
from difflib import get_close_matches
from typing import Any, Final

from django.utils.translation import gettext as _

from equipment.site.farmfields import Field, Kind
from equipment.site.models import Language

from .document import Node
from .faults import Fault

BAD: Final = object()  # stands for a value whose faults were told
HUGE = 1e9
KEY = re.compile(r"[a-z0-9][a-z0-9-]{0,59}")


class ValueReader:
    """Turns nodes into values, and gathers every fault on the way."""

    def __init__(self) -> None:
        self.faults: list[Fault] = []

    def bad(self, node: Node, reason: str, remedy: str, *, path: str = "") -> Any:
        self.faults.append(node.fault(reason, remedy, path=path))
        return BAD

    def read_fields(
        self, fields: tuple[Field, ...], given: dict[str, Node], owner: Node
    ) -> dict[str, Any] | None:
        """Read a mapping by its fields; None when anything in it is wrong."""
        n_before = len(self.faults)
        known = {f.name for f in fields}
        for name in given.keys() - known:
            self.unknown_key(given[name], name, known)
        values = {f.name: self._read_or_default(f, given.get(f.name), owner) for f in fields}
        return values if len(self.faults) == n_before else None

    def unknown_key(self, node: Node, name: str, known: set[str]) -> None:
        near = get_close_matches(name, sorted(known), n=1, cutoff=0.5)
        remedy = (
            _("Did you mean %(near)s?") % {"near": near[0]}
            if near
            else _("Known keys: %(keys)s.") % {"keys": ", ".join(sorted(known))}
        )
        self.faults.append(
            Fault(node.file, node.line, node.path, None, _("is no key of this"), remedy)
        )

    def _read_or_default(self, f: Field, node: Node | None, owner: Node) -> Any:
        if node is not None and (node.value is not None or f.default is not None):
            return self.read(f, node)
        if not f.is_required:
            return f.default
        remedy = _("Add it: %(help)s.") % {"help": f.help}
        path = f"{owner.path}.{f.name}" if owner.path else f.name
        return self.bad(owner, _("is missing"), remedy, path=path)

    def read(self, f: Field, node: Node) -> Any:
        """Read one value, or a list of them."""
        if not f.is_list:
            return _READERS[f.kind](self, f, node)
        if not node.is_list:
            return self.bad(node, _("must be a list"), _("Write it as [a, b]."))
        return [_READERS[f.kind](self, f, item) for item in node.value]

    def _text(self, f: Field, node: Node) -> Any:
        if not isinstance(node.value, str):
            return self.bad(node, _("must be a text"), _("Put it in quotes."))
        if not node.value.strip() and f.is_required:
            return self.bad(node, _("is empty"), _("Write a text."))
        if f.high is not None and len(node.value) > f.high:
            reason = _("is longer than %(n)d letters") % {"n": f.high}
            return self.bad(node, reason, _("Shorten it."))
        return node.value

    def _key(self, f: Field, node: Node) -> Any:
        del f
        if isinstance(node.value, str) and KEY.fullmatch(node.value):
            return node.value
        remedy = _("Use up to 60 small letters, figures and hyphens, such as pen-7.")
        return self.bad(node, _("is no key"), remedy)

    def _whole(self, f: Field, node: Node) -> Any:
        if isinstance(node.value, bool) or not isinstance(node.value, int):
            return self.bad(node, _("must be a whole number"), _("Write figures only."))
        return self._within(f, node)

    def _number(self, f: Field, node: Node) -> Any:
        if isinstance(node.value, bool) or not isinstance(node.value, int | float):
            remedy = _("Write figures only; the unit stands in the key.")
            return self.bad(node, _("must be a number"), remedy)
        return self._within(f, node)

    def _within(self, f: Field, node: Node) -> Any:
        remedy = f"{f.help}."
        if abs(node.value) > HUGE:
            return self.bad(node, _("is too large to be true"), remedy)
        limits = (
            (f.above is not None and node.value <= f.above, _("must be above %s"), f.above),
            (f.low is not None and node.value < f.low, _("must be at least %s"), f.low),
            (f.high is not None and node.value > f.high, _("must be at most %s"), f.high),
        )
        for is_broken, reason, limit in limits:
            if is_broken:
                return self.bad(node, reason % f"{limit:g}", remedy)
        return node.value

    def _bool(self, f: Field, node: Node) -> Any:
        del f
        if not isinstance(node.value, bool):
            return self.bad(node, _("must be true or false"), _("Write true or false."))
        return node.value

    def _date(self, f: Field, node: Node) -> Any:
        del f
        try:
            return date.fromisoformat(str(node.value)).isoformat()
        except ValueError:
            return self.bad(node, _("is no date"), _("Write it as 2026-03-04."))

    def _time(self, f: Field, node: Node) -> Any:
        del f
        text = str(node.value)
        try:
            if not re.fullmatch(r"[0-9]{2}:[0-9]{2}", text):
                raise ValueError(text)
            return time.fromisoformat(text).strftime("%H:%M")
        except ValueError:
            return self.bad(node, _("is no time of day"), _("Write it as 05:00 or 14:30."))

    def _choice(self, f: Field, node: Node) -> Any:
        if node.value in f.choices:
            return node.value
        choices = ", ".join(f.choices)
        remedy = _("Choose one of: %(choices)s.") % {"choices": choices}
        return self.bad(node, _("is not one of the choices"), remedy)

    def _words(self, f: Field, node: Node) -> Any:
        if not node.is_mapping:
            return self.bad(node, _("must give a text by language"), _("Write en: and es: lines."))
        parts = tuple(
            Field(
                language, Kind.TEXT, _("the text in %(language)s") % {"language": label}, high=500
            )
            for language, label in Language.choices
        )
        words = self.read_fields(parts, node.value, node)
        return BAD if words is None else words

    def _document(self, f: Field, node: Node) -> Any:
        del f
        if not node.is_mapping:
            return self.bad(node, _("must be a mapping"), _("Write it as {key: value}."))
        return node.plain()

    def _part(self, f: Field, node: Node) -> Any:
        if not node.is_mapping:
            return self.bad(node, _("must be a mapping"), _("Write it as {key: value}."))
        part = self.read_fields(f.parts, node.value, node)
        return BAD if part is None else part


_READERS: dict[Kind, Callable[[ValueReader, Field, Node], Any]] = {
    Kind.TEXT: ValueReader._text,
    Kind.KEY: ValueReader._key,
    Kind.WHOLE: ValueReader._whole,
    Kind.NUMBER: ValueReader._number,
    Kind.BOOL: ValueReader._bool,
    Kind.DATE: ValueReader._date,
    Kind.TIME: ValueReader._time,
    Kind.CHOICE: ValueReader._choice,
    Kind.ROW: ValueReader._key,
    Kind.ROW_KEY: ValueReader._key,
    Kind.WORDS: ValueReader._words,
    Kind.DOCUMENT: ValueReader._document,
    Kind.PART: ValueReader._part,
}


def references(fields: tuple[Field, ...], given: dict[str, Node]) -> Iterator[tuple[Field, Node]]:
    """Give each node that names another entry, those of parts too."""
    for f in fields:
        node = given.get(f.name)
        if node is None or node.value is None:
            continue
        for item in node.value if f.is_list and node.is_list else [node]:
            if f.refers_to:
                yield f, item
            elif f.kind is Kind.PART and item.is_mapping:
                yield from references(f.parts, item.value)
