"""Verbs of the desk's Set up: facts of the farm file changed by hand, and each change undone."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from equipment.site.errors import DomainError, NotFoundError
from equipment.site.farmfields import Kind, Values
from equipment.site.farmrows import Farm, Row, Section
from equipment.site.models import Actor, Site
from equipment.site.writes import SiteWrite, site_write

from .document import Node, node_of
from .entries import FarmReader
from .faults import BrokenFileError, Fault
from .loading import Entries, Loader, LoadReport, rows_now
from .models import FarmEdit, HowEdited
from .registry import all_sections
from .services import as_written

ASKED = "asked"  # where a fault of what was asked for lies: asked[0].name
Key = tuple[str, str]  # section and key


@dataclass(frozen=True, slots=True)
class Asked:
    """One entry as a person wants it, in the words of the file; `given` None takes it out of use.

    What is not given is as its default has it, or, where the entry is only a `part`, as it was.
    `base` is the mark of the entry as the person saw it.
    """

    section: str
    key: str
    given: Values | None
    is_part: bool = False
    is_new: bool = False
    base: str | None = None


@dataclass(frozen=True, slots=True)
class Moved:
    """One entry that changed: its values before and after, None where it was not in use."""

    section: str
    key: str
    before: Values | None
    after: Values | None


@dataclass(frozen=True, slots=True)
class Edited:
    """What an edit did, or would do."""

    moved: list[Moved]
    report: LoadReport
    edit: FarmEdit | None = None

    @property
    def mark(self) -> str:
        """Say in few signs what it does, so that what was looked at can be told from other."""
        return mark_of([[asdict(m) for m in self.moved], [asdict(k) for k in self.kept]])

    @property
    def kept(self) -> list[Any]:
        return self.report.kept_by_hand


class ChangedSinceError(DomainError):
    """Somebody else changed what a person was about to: nothing is overwritten."""

    code = "changed_since"
    status = 409

    def __init__(self, found: Sequence[Key]) -> None:
        self.found = list(found)
        names = ", ".join(f"{section}: {key}" for section, key in found)
        super().__init__(_("Changed since you looked: %s. Nothing was saved.") % names)


class LookedAtOtherError(DomainError):
    """What would be done is no longer what the person looked at."""

    code = "looked_at_other"
    status = 409

    def __init__(self) -> None:
        super().__init__(_("The farm has changed since you looked. Look again, then take it in."))


class UndoneBeforeError(DomainError):
    """A change can be undone once."""

    code = "undone_before"
    status = 409


def mark_of(value: Any) -> str:
    """Give a mark that differs where the value does; what is not in use is None."""
    text = json.dumps(value, sort_keys=True, default=str)
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def in_use(section: Section, row: Row | None) -> Values | None:
    """Give an entry's values, None where it is not in use; of a single one its defaults."""
    if row is None and section.is_single and all(not f.is_required for f in section.fields):
        return section.tidy({f.name: f.default for f in section.fields})
    return None if row is None or row.is_retired else row.values


def edit_farm(
    *,
    site_id: int,
    asked: Sequence[Asked],
    by: Actor,
    at: datetime,
    how: HowEdited = HowEdited.FORM,
    undoes: FarmEdit | None = None,
    seen: str | None = None,
    dry_run: bool = False,
) -> Edited:
    """Make the entries as asked, by the rules of a load, or raise with all that is in the way.

    Nothing else is written, and what the last file said stays, so that a later load of it lists
    this as set by hand. An entry whose mark is no longer its `base` raises ChangedSinceError; what
    would do other than `seen` LookedAtOtherError. What changes nothing leaves no change behind.
    """
    with transaction.atomic():
        site = _locked(site_id)
        with site_write(site_id, at) as write:
            farm = Farm(site, all_sections(), at)
            _lock_rows(farm, {each.section for each in asked})
            now = rows_now(farm)
            _refuse_changed(farm, asked, now)
            reader, keys = _read(farm.sections, asked, now)
            everything = _read_whole(reader, farm.sections, now)
            loader = Loader(
                farm, write, reader.entries, take_file=True, now=now, only=frozenset(keys)
            )
            report = loader.load(everything)
            after = {name: _rows_again(farm, name) for name in {name for name, _key in keys}}
            moved = _moved(farm.sections, now, after, keys)
            edit = _record(write, farm, moved, by=by, how=how, undoes=undoes)
            edited = Edited(moved, report, edit)
            if seen is not None and seen != edited.mark:
                raise LookedAtOtherError
        if dry_run:
            transaction.set_rollback(True)
    return edited


def load_file(
    *,
    site_id: int,
    document: Node,
    by: Actor,
    at: datetime,
    take_file: bool,
    seen: str | None = None,
    dry_run: bool = False,
) -> Edited:
    """Load a whole file into this site as `load_site` does, as one change that can be undone."""
    slug = Site.objects.values_list("slug", flat=True).get(pk=site_id)
    _refuse_other_site(document, slug)
    reader = FarmReader(all_sections())
    reader.add(document, is_overlay=False)
    everything = reader.read_all()
    with transaction.atomic():
        site = _locked(site_id)
        with site_write(site_id, at) as write:
            farm = Farm(site, all_sections(), at)
            loader = Loader(farm, write, reader.entries, take_file=take_file)
            report = loader.load(everything)
            after = rows_now(Farm(site, farm.sections, at))
            moved = _moved(farm.sections, loader.now, after, _keys(loader.now, after))
            edited = Edited(moved, report, _record(write, farm, moved, by=by, how=HowEdited.FILE))
            if seen is not None and seen != edited.mark:
                raise LookedAtOtherError
        if dry_run:
            transaction.set_rollback(True)
    return edited


def undo_edit(*, site_id: int, edit_id: int, by: Actor, at: datetime) -> Edited:
    """Put every entry back as it was before a change; refused where one has changed since.

    An undo is a change of its own, which can be undone too.
    """
    edit = FarmEdit.objects.select_related("undone_by").filter(site_id=site_id, pk=edit_id).first()
    if edit is None:
        raise NotFoundError(_("There is no such change here."))
    if hasattr(edit, "undone_by"):
        raise UndoneBeforeError(_("This was undone before. Undo the undoing to have it again."))
    sections = all_sections()
    asked = [
        Asked(
            each.section,
            each.key,
            _written(sections[each.section], each.key, each.before),
            base=mark_of(each.after),
        )
        for each in entries_of(edit)
    ]
    return edit_farm(site_id=site_id, asked=asked, by=by, at=at, how=HowEdited.UNDO, undoes=edit)


def entries_of(edit: FarmEdit) -> list[Moved]:
    """Give what a change moved; sections that are no longer there are left out."""
    known = all_sections()
    return [Moved(**entry) for entry in edit.entries if entry["section"] in known]


def _locked(site_id: int) -> Site:
    """Take the site as a load does: two edits of one site come one after the other."""
    return Site.objects.select_for_update(no_key=True).get(pk=site_id)


def _lock_rows(farm: Farm, names: Iterable[str]) -> None:
    """Keep verbs that write these rows out until this commits: 1 query a section."""
    for name in sorted(names):
        section = farm.sections[name]
        if section.rows.model is not Site:
            rows = section.rows.select(farm, section)
            list(rows.select_for_update(no_key=True, of=("self",)))


def _rows_again(farm: Farm, name: str) -> dict[str, Row]:
    section = farm.sections[name]
    return section.rows.read(Farm(farm.site, farm.sections, farm.at), section)


def _written(section: Section, key: str, values: Values | None) -> Values | None:
    return None if values is None else as_written(section, key, values)


def _refuse_other_site(document: Node, slug: str) -> None:
    found = document.at("site.slug")
    if found.value != slug:
        reason = _("is not this farm, which is %(slug)s") % {"slug": slug}
        remedy = _("Choose the right file, or begin it with `site: {slug: %(slug)s, ...}`.")
        fault = Fault(
            found.file, found.line, "site.slug", _plain(found), reason, remedy % {"slug": slug}
        )
        raise BrokenFileError([fault])


def _plain(node: Node) -> Any:
    return None if node.is_mapping or node.is_list else node.value


def _refuse_changed(farm: Farm, asked: Sequence[Asked], now: Entries) -> None:
    found = [
        (each.section, each.key)
        for each in asked
        if each.base is not None
        and each.base
        != mark_of(in_use(farm.sections[each.section], now[each.section].get(each.key)))
    ]
    if found:
        raise ChangedSinceError(found)


def _reader(sections: Mapping[str, Section], now: Entries) -> FarmReader:
    """Give a reader that has read the farm as it is; faults name the entry by section and key."""
    reader = FarmReader(sections)
    for name, rows in now.items():
        for key, row in rows.items():
            if not row.is_retired:
                written = as_written(sections[name], key, row.values)
                reader.put(sections[name], node_of(written, f"{name}.{key}"))
    return reader


def _read(
    sections: Mapping[str, Section], asked: Sequence[Asked], now: Entries
) -> tuple[FarmReader, set[Key]]:
    """Lay what is asked for over the farm as it is."""
    reader = _reader(sections, now)
    keys = set()
    for n, each in enumerate(asked):
        section = sections[each.section]
        if each.given is None:
            reader.take_out(section, each.key)
            keys.add((each.section, each.key))
            continue
        node = node_of(_whole(section, each, now[each.section]), f"{ASKED}[{n}]", n)
        key = reader.put(section, node)
        if key is None:
            continue
        if each.is_new and key in now[each.section]:
            _refuse_taken(reader, node, section, now[each.section][key])
        if (each.section, key) in keys:
            reason = _("stands twice")
            reader.bad(node, reason, _("Keep one of the two."), path=f"{node.path}.key")
        keys.add((each.section, key))
    return reader, keys


def _whole(section: Section, asked: Asked, rows: Mapping[str, Row]) -> Values:
    """Give what is asked for with what an entry has that is only partly given."""
    assert asked.given is not None
    has_key = section.key_fields == ("key",) and not section.is_single
    named = {"key": asked.key} if has_key and asked.key else {}
    known = rows.get(asked.key) if asked.is_part else None
    kept = as_written(section, asked.key, known.values) if known else {}
    texts = {f.name for f in section.fields if f.kind is Kind.WORDS and f.name in kept}
    said = {
        name: {**kept[name], **value} if name in texts and isinstance(value, dict) else value
        for name, value in asked.given.items()
    }
    return {**kept, **named, **said}


def _refuse_taken(reader: FarmReader, node: Node, section: Section, row: Row) -> None:
    path = f"{node.path}.{section.key_fields[0]}"
    if row.is_retired:
        remedy = _("Bring that one back, or choose another key.")
        reader.bad(node, _("is the key of one that is out of use"), remedy, path=path)
    else:
        remedy = _("Change that one, or choose another key.")
        reader.bad(node, _("is the key of another one here"), remedy, path=path)


def _read_whole(
    reader: FarmReader, sections: Mapping[str, Section], now: Entries
) -> dict[str, dict[str, Values]]:
    """Read all; faults that the farm had before are nobody's who changes something else.

    Where what is asked for has faults, those of others may only follow from them: not told yet.
    """
    everything = reader.read_whole()
    faults = [fault for fault in reader.faults if fault.path.startswith(ASKED)] or reader.faults
    if faults:
        before = _reader(sections, now)
        before.read_whole()
        known = {(fault.path, fault.reason) for fault in before.faults}
        faults = [fault for fault in faults if (fault.path, fault.reason) not in known]
    if faults:
        raise BrokenFileError(faults)
    return everything


def _keys(*states: Entries) -> set[Key]:
    return {(name, key) for state in states for name, rows in state.items() for key in rows}


def _moved(
    sections: Mapping[str, Section], before: Entries, after: Entries, keys: Iterable[Key]
) -> list[Moved]:
    """Say which entries differ, in the order of the file."""
    order = {name: n for n, name in enumerate(sections)}
    found = [
        Moved(
            name,
            key,
            in_use(sections[name], before[name].get(key)),
            in_use(sections[name], after[name].get(key)),
        )
        for name, key in sorted(keys, key=lambda pair: (order[pair[0]], pair[1]))
    ]
    return [each for each in found if each.before != each.after]


def _record(
    write: SiteWrite,
    farm: Farm,
    moved: Sequence[Moved],
    *,
    by: Actor,
    how: HowEdited,
    undoes: FarmEdit | None = None,
) -> FarmEdit | None:
    if not moved:
        return None
    write.touch()
    return FarmEdit.objects.create(
        site=farm.site,
        made_at=farm.at,
        by=by,
        how=how,
        undoes=undoes,
        entries=[asdict(each) for each in moved],
    )
