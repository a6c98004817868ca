"""A farm file, with overlays laid over it, read into entries: all faults found in one pass."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from equipment.site.farmfields import ANY_PLACE, Entry, Field, Kind, Values
from equipment.site.farmrows import Section

from .document import Node
from .faults import BrokenFileError
from .values import ValueReader, references

KEY_FIELD = Field("key", Kind.KEY, _("Name of this entry that never changes"))
MAX_KEY = 80
DROP = "drop"  # in an overlay: the entry is as if the file did not name it


@dataclass
class Read:
    """What the file says of one thing: nodes by field, then, once read, values."""

    section: Section
    key: str
    node: Node
    given: dict[str, Node]
    values: Values | None = None


class FarmReader(ValueReader):
    """Reads documents section by section."""

    def __init__(self, sections: Mapping[str, Section]) -> None:
        super().__init__()
        self.sections = sections
        self.file = ""  # the farm file's own name, for what is missing from all of it
        self.entries: dict[str, dict[str, Read]] = {name: {} for name in sections}

    def add(self, document: Node, *, is_overlay: bool) -> None:
        """Take a document's entries, or lay them over those there are."""
        self.file = self.file or document.file
        for name, node in document.value.items():
            section = self.sections.get(name)
            if section is None:
                self.unknown_key(node, name, set(self.sections))
            elif section.is_single:
                self._add_single(section, node)
            elif node.is_list:
                for item in node.value:
                    self._add_entry(section, item, is_overlay=is_overlay)
            elif node.value is not None:
                self.bad(node, _("must be a list"), _("Begin each entry with a hyphen."))

    def _add_single(self, section: Section, node: Node) -> None:
        if not node.is_mapping:
            self.bad(node, _("must be a mapping"), _("Write one `key: value` a line."))
            return
        known = self.entries[section.name].get(section.name)
        given = {**(known.given if known else {}), **node.value}
        self.entries[section.name][section.name] = Read(section, section.name, node, given)

    def _add_entry(self, section: Section, node: Node, *, is_overlay: bool) -> None:
        if not node.is_mapping:
            self.bad(node, _("must be a mapping"), _("Write `- {key: ..., ...}`."))
            return
        key = self._key_of(section, node)
        if key is None:
            return
        known = self.entries[section.name].get(key)
        given = dict(node.value)
        if section.key_fields == (KEY_FIELD.name,):
            del given[KEY_FIELD.name]
        if is_overlay and DROP in given:
            self._drop(section, key, node)
        elif known is None:
            self.entries[section.name][key] = Read(section, key, node, given)
        elif is_overlay:
            known.given = {**known.given, **given}
        else:
            reason = _("is the key of line %(line)d too") % {"line": known.node.line}
            path = f"{node.path}.{section.key_fields[0]}"
            self.bad(node, reason, _("Give each entry a key of its own."), path=path)

    def put(self, section: Section, node: Node) -> str | None:
        """Have one entry as the node says, in place of the one of that key; give its key."""
        key = section.name if section.is_single else self._key_of(section, node)
        if key is not None:
            given = {name: part for name, part in node.value.items() if name != KEY_FIELD.name}
            self.entries[section.name][key] = Read(section, key, node, given)
        return key

    def take_out(self, section: Section, key: str) -> None:
        """Have the entry as if nothing had named it."""
        self.entries[section.name].pop(key, None)

    def _drop(self, section: Section, key: str, node: Node) -> None:
        if self.entries[section.name].pop(key, None) is None:
            remedy = _("Drop only what the farm file names.")
            self.bad(node, _("drops %(key)s, which is not there") % {"key": key}, remedy)

    def _key_of(self, section: Section, node: Node) -> str | None:
        fields = [
            KEY_FIELD if name == KEY_FIELD.name else _named(section, name)
            for name in section.key_fields
        ]
        parts = [self._key_part(f, node) for f in fields]
        if None in parts:
            return None
        key = "/".join(str(part) for part in parts)
        if len(key) > MAX_KEY:
            reason = _("is longer than %(n)d letters") % {"n": MAX_KEY}
            self.bad(node, reason, _("Shorten it."), path=f"{node.path}.{fields[-1].name}")
            return None
        return key

    def _key_part(self, f: Field, node: Node) -> str | None:
        if f.name not in node.value:
            remedy = _("Add it: %(help)s.") % {"help": f.help}
            self.bad(node, _("is missing"), remedy, path=f"{node.path}.{f.name}")
            return None
        part = self._key(f, node.value[f.name])
        return part if isinstance(part, str) else None

    def read_all(self) -> dict[str, dict[str, Values]]:
        """Read every entry; raise BrokenFileError with all faults there are."""
        everything = self.read_whole()
        if self.faults:
            raise BrokenFileError(self.faults)
        return everything

    def read_whole(self) -> dict[str, dict[str, Values]]:
        """Read every entry and gather all faults; what has faults of its own is left out."""
        for section in self.sections.values():
            if section.is_single and not self.entries[section.name]:
                self._add_single(section, Node({}, section.name, 1, self.file))
        for entry in self._all():
            values = self.read_fields(entry.section.fields, entry.given, entry.node)
            entry.values = None if values is None else entry.section.tidy(values)
        everything = {
            name: {e.key: e.values for e in entries.values() if e.values is not None}
            for name, entries in self.entries.items()
        }
        self._check_place_keys()
        self._check_references()
        self._check_rings()
        self._check_sections(everything)
        return everything

    def _all(self) -> Iterator[Read]:
        for entries in self.entries.values():
            yield from entries.values()

    def _places(self) -> dict[str, Read]:
        return {entry.key: entry for entry in self._all() if entry.section.is_placed}

    def _check_place_keys(self) -> None:
        seen: dict[str, Read] = {}
        for entry in self._all():
            if not entry.section.is_placed:
                continue
            other = seen.setdefault(entry.key, entry)
            if other is not entry:
                reason = _("is the key of %(path)s too") % {"path": other.node.path}
                path = f"{entry.node.path}.key"
                self.bad(entry.node, reason, _("No two places may share a key."), path=path)

    def _check_references(self) -> None:
        places = self._places()
        for entry in self._all():
            for f, node in references(entry.section.fields, entry.given):
                known = places if f.refers_to == ANY_PLACE else self.entries[f.refers_to]
                if isinstance(node.value, str) and node.value and node.value not in known:
                    what = _("the places") if f.refers_to == ANY_PLACE else f.refers_to
                    reason = _("is not among %(section)s") % {"section": what}
                    self.bad(node, reason, _("Name one that is there, or add it."))

    def _check_rings(self) -> None:
        """Refuse places that are part of, or drain to, themselves by way of others."""
        places = self._places()
        for name in ("parent", "drains_to"):
            for key, entry in places.items():
                if _comes_back(key, name, places):
                    node = entry.given[name]
                    remedy = _("Follow it place by place: it must end somewhere.")
                    self.bad(node, _("leads back to %(key)s") % {"key": key}, remedy)

    def _check_sections(self, everything: dict[str, dict[str, Values]]) -> None:
        for entry in self._all():
            if entry.section.check is None or entry.values is None:
                continue
            asked = Entry(entry.key, entry.values, everything)
            for complaint in entry.section.check(asked):
                owner = Node(entry.given, entry.node.path, entry.node.line, entry.node.file)
                node = owner.at(complaint.field)
                path = f"{entry.node.path}.{complaint.field}"
                self.bad(node, str(complaint.reason), str(complaint.remedy), path=path)


def _named(section: Section, name: str) -> Field:
    return next(f for f in section.fields if f.name == name)


def _comes_back(key: str, name: str, places: Mapping[str, Read]) -> bool:
    seen = {key}
    at: Any = places[key]
    while at is not None and name in at.given:
        following = at.given[name].value
        if following == key:
            return True
        if following in seen:
            return False  # a ring further on: told there
        seen.add(following)
        at = places.get(following)
    return False
