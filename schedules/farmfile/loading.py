"""Writes what a farm file says, and only that: entry by entry, field by field."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Set
from dataclasses import dataclass, field
from typing import Any

from django.utils.translation import gettext as _

from equipment.site.farmfields import ANY_PLACE, Values
from equipment.site.farmrows import Farm, Row, Section
from equipment.site.models import Place
from equipment.site.writes import SiteWrite

from .entries import Read
from .faults import BrokenFileError, Fault
from .models import LoadedEntry

RETIRED = "retired"  # stands for a field where an entry as a whole was taken out of use by hand


@dataclass(frozen=True, slots=True)
class KeptByHand:
    """What somebody changed since the last load, and the file would have set otherwise."""

    section: str
    key: str
    field: str
    in_file: Any
    now: Any


@dataclass
class LoadReport:
    """What a load did, counted by section, and what it left as people had set it."""

    site: str
    created: Counter[str] = field(default_factory=Counter)
    changed: Counter[str] = field(default_factory=Counter)
    retired: Counter[str] = field(default_factory=Counter)
    kept_by_hand: list[KeptByHand] = field(default_factory=list)

    @property
    def is_empty(self) -> bool:
        return not (self.created or self.changed or self.retired)


Entries = Mapping[str, Mapping[str, Row]]  # by section and key


def rows_now(farm: Farm) -> dict[str, dict[str, Row]]:
    """Read every entry of the site, retired ones too: 1 query a section and one for each key."""
    return {s.name: s.rows.read(farm, s) for s in farm.sections.values()}


class Loader:
    """One load into one site, inside the site's write transaction.

    `only` some entries are written where a person changes them: what the last file said stays.
    """

    def __init__(
        self,
        farm: Farm,
        write: SiteWrite,
        where: Mapping[str, Mapping[str, Read]],
        *,
        take_file: bool,
        now: Entries | None = None,
        only: Set[tuple[str, str]] | None = None,
    ) -> None:
        self.farm = farm
        self.only = only
        self.where = where
        self.write = write
        self.take_file = take_file
        self.report = LoadReport(farm.site.slug)
        self.remembered: list[LoadedEntry] = []
        self.now = rows_now(farm) if now is None else now
        loaded = LoadedEntry.objects.filter(site=farm.site)
        self.last = {(entry.section, entry.key): entry for entry in loaded}

    def load(self, everything: Mapping[str, Mapping[str, Values]]) -> LoadReport:
        self._make_places(everything)
        for section in self.farm.sections.values():
            for key, values in everything[section.name].items():
                if self._is_asked(section, key):
                    self._load_entry(section, key, values, self.now[section.name].get(key))
            self.farm.forget(section.name)
        for section in reversed(list(self.farm.sections.values())):
            self._retire_unnamed(section, everything[section.name])
        LoadedEntry.objects.bulk_create(
            self.remembered,
            update_conflicts=True,
            unique_fields=("site", "section", "key"),
            update_fields=("value", "loaded_at"),
        )
        if not self.report.is_empty:
            names = sorted({*self.report.created, *self.report.changed, *self.report.retired})
            self.write.change("farm.loaded", sections=names)
        return self.report

    def _is_asked(self, section: Section, key: str) -> bool:
        return self.only is None or (section.name, key) in self.only

    def _make_places(self, everything: Mapping[str, Mapping[str, Values]]) -> None:
        """Make the places first: what stands on them, and drains to them, may come in any order."""
        known = dict(Place.objects.filter(site=self.farm.site).values_list("key", "kind"))
        new, faults = [], []
        for section in self.farm.sections.values():
            for key, values in everything[section.name].items():
                if not section.is_placed or key in self.now[section.name]:
                    continue
                kind = values["kind"] if section.name == ANY_PLACE else section.place_kinds[0]
                new.append(Place(site=self.farm.site, key=key, kind=kind))
                if key in known:
                    faults.append(self._taken(section, key, known[key]))
        if faults:
            raise BrokenFileError(faults)
        Place.objects.bulk_create(new)
        self.farm.forget(ANY_PLACE)

    def _taken(self, section: Section, key: str, kind: str) -> Fault:
        node = self.where[section.name][key].node
        reason = _("was the key of a %(kind)s here") % {"kind": kind}
        remedy = _("Choose another key: keys are never used again.")
        return node.fault(reason, remedy, path=f"{node.path}.key")

    def _load_entry(self, section: Section, key: str, values: Values, row: Row | None) -> None:
        last = self.last.get((section.name, key))
        if row is None:
            section.rows.create(self.farm, section, key, values)
            self._tell(section, key, self.report.created)
        elif row.is_retired and last is not None and not self.take_file:
            self._keep(section, key, RETIRED, False, True)
        else:
            changes = self._changes(section, key, values, row, last)
            if row.is_retired:
                section.rows.retire(self.farm, section, key, None)
            if changes:
                section.rows.update(self.farm, section, key, changes)
            if changes or row.is_retired:
                self._tell(section, key, self.report.changed)
        self._remember(section, key, values, last)

    def _changes(
        self, section: Section, key: str, values: Values, row: Row, last: LoadedEntry | None
    ) -> Values:
        """Give the fields to set: those that differ, but for those set by hand since."""
        changes = {}
        for f in section.fields:
            wanted, now = values[f.name], row.values[f.name]
            if wanted == now:
                continue
            is_from_file = last is not None and now == last.value.get(f.name, f.default)
            is_old = row.is_retired and last is None  # retired by an earlier file
            if is_from_file or is_old or self.take_file:
                changes[f.name] = wanted
            else:
                self._keep(section, key, f.name, wanted, now)
        return changes

    def _remember(
        self, section: Section, key: str, values: Values, last: LoadedEntry | None
    ) -> None:
        if self.only is not None:
            return
        if last is None:
            entry = LoadedEntry(site=self.farm.site, section=section.name, key=key, value=values)
            entry.loaded_at = self.farm.at
            self.remembered.append(entry)
        elif last.value != values:
            last.value, last.loaded_at = values, self.farm.at
            last.save(update_fields=["value", "loaded_at"])

    def _retire_unnamed(self, section: Section, named: Mapping[str, Values]) -> None:
        for key, row in self.now[section.name].items():
            last = self.last.get((section.name, key))
            if key in named or row.is_retired or not self._is_asked(section, key):
                continue
            if last is None and not self.take_file:
                continue
            if last is not None and not self.take_file and row.values != last.value:
                self._keep(section, key, RETIRED, True, False)
                continue
            self._tell(section, key, self.report.retired)
            section.rows.retire(self.farm, section, key, self.farm.at)
            if last is not None and self.only is None:
                last.delete()

    def _keep(self, section: Section, key: str, name: str, in_file: Any, now: Any) -> None:
        self.report.kept_by_hand.append(KeptByHand(section.name, key, name, in_file, now))

    def _tell(self, section: Section, key: str, count: Counter[str]) -> None:
        count[section.name] += 1
        if section.topic and count is not self.report.created:
            subject_id = section.rows.subject_id(self.farm, section, key)
            self.write.change(section.topic, subject_id)
