"""Set up: every fact of the farm file as a form, with what was changed and an undo."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _

from equipment.site.errors import NotFoundError
from equipment.site.farmfields import Field, Kind, Values
from equipment.site.farmrows import Farm, Row, Section
from equipment.site.models import LEADS, Role
from schedules.farmfile.edits import (
    ASKED,
    ChangedSinceError,
    Moved,
    entries_of,
    in_use,
    mark_of,
    undo_edit,
)
from schedules.farmfile.faults import BrokenFileError, Fault
from schedules.farmfile.models import FarmEdit, HowEdited
from schedules.farmfile.queries import guide_facts, last_edits, names_in
from schedules.farmfile.registry import all_sections
from schedules.farmfile.services import dump_site

from .base import Desk, desk_view, done, page_context
from .set_up_fields import (
    asked_fields,
)
from .set_up_guide import guide_of, say_guide
from .set_up_usual import SAMPLES, usual_links
from .set_up_words import GROUPS, NEEDED, Names, label_of, name_of, own_words, say_shown, title_of

N_LAST = 20  # changes that the page lists
MOST_COLUMNS = 8
ON_PLACE = {"x_m", "y_m", "parent", "drains_to"}  # of every place: said in its form alone
FIRST = f"{ASKED}[0]"


@dataclass(frozen=True, slots=True)
class SectionLine:
    """One section in the list: how much of it there is, and what lacks without it."""

    name: str
    title: str
    about: str
    count: str
    missing: str


@dataclass(frozen=True, slots=True)
class MovedLine:
    """One entry that changed, in words."""

    title: str
    name: str
    what: str
    changes: list[str]


@dataclass(frozen=True, slots=True)
class EditLine:
    """One change with who made it, and whether it can be undone."""

    edit: FarmEdit
    when: str
    what: str
    lines: list[MovedLine]
    n_more: int
    can_undo: bool


def farm_of(desk: Desk) -> Farm:
    """Give the farm with its sections: no query yet."""
    return Farm(desk.caller.site, all_sections(), desk.now)


# The list ---------------------------------------------------------------------------------------


def set_up_context(desk: Desk) -> dict[str, Any]:
    """Give the way to a first plan, all sections and the last changes: 3 queries."""
    farm = farm_of(desk)
    facts = guide_facts(farm, desk.language)
    groups = [
        (title, [_section_line(desk, farm.sections[n], facts.n_in_use[n]) for n in names])
        for title, names in GROUPS
    ]
    guide = say_guide(desk, facts)
    return {
        "groups": groups,
        "guide": guide if guide.next else None,
        "finding": guide.finding,
        "edits": [_edit_line(desk, edit) for edit in last_edits(desk.site_id, N_LAST)],
        "may_change": desk.caller.role == Role.MANAGER,
    }


def _section_line(desk: Desk, section: Section, n: int) -> SectionLine:
    single = _("set") if n else _("the usual figures")
    count = single if section.is_single else f"{n:,}"
    missing = "" if n or section.name not in NEEDED else str(NEEDED[section.name])
    about = own_words(desk, str(section.help))
    return SectionLine(section.name, title_of(desk, section.name), about, count, missing)


def _edit_line(desk: Desk, edit: FarmEdit) -> EditLine:
    moved = entries_of(edit)
    shown = [moved_line(desk, each, {}) for each in moved[:3]]
    return EditLine(
        edit,
        f"{desk.day(edit.made_at)} {desk.clock(edit.made_at)}",
        str(HowEdited(edit.how).label),
        shown,
        len(moved) - len(shown),
        not hasattr(edit, "undone_by"),
    )


def moved_line(desk: Desk, moved: Moved, names: Names) -> MovedLine:
    """Say what became of one entry, field by field."""
    section = all_sections()[moved.section]
    name = name_of(desk, section, moved.key, moved.after or moved.before or {}, names)
    if moved.before is None:
        return MovedLine(title_of(desk, section.name), name, _("new, or in use again"), [])
    if moved.after is None:
        return MovedLine(title_of(desk, section.name), name, _("out of use"), [])
    changes = [
        f"{label_of(desk, f)}: {_shown(desk, section, f, moved.before, names)}"
        f" → {_shown(desk, section, f, moved.after, names)}"
        for f in section.fields
        if moved.before.get(f.name) != moved.after.get(f.name)
    ]
    return MovedLine(title_of(desk, section.name), name, _("changed"), changes)


def _shown(desk: Desk, section: Section, f: Field, values: Values, names: Names) -> str:
    said = say_shown(desk, section, f, values.get(f.name), names)
    return said if len(said) <= 80 else f"{said[:77]}…"


# One section ------------------------------------------------------------------------------------


def section_of(desk: Desk, name: str) -> Section:
    """Give a section by its name; who does not decide for others does not see it."""
    desk.caller.require(*LEADS)
    section = all_sections().get(name)
    if section is None:
        raise NotFoundError(_("The farm file has no such part."))
    return section


def referred(section: Section) -> set[str]:
    """Name the sections that entries of a section refer to."""
    fields = [*section.fields, *(part for f in section.fields for part in f.parts)]
    return {f.refers_to for f in fields if f.refers_to}


def section_context(desk: Desk, section: Section) -> dict[str, Any]:
    """Give the entries of a section: at most 14 queries besides the frame's."""
    farm = farm_of(desk)
    rows = section.rows.read(farm, section)
    names = names_in(farm, sorted(referred(section)), desk.language)
    columns = _columns(section)
    lines = [_line(desk, section, entry, columns, names) for entry in rows.items()]
    return {
        "section": section,
        "title": title_of(desk, section.name),
        "about": own_words(desk, str(section.help)),
        "heads": [(label_of(desk, f), f.kind in (Kind.WHOLE, Kind.NUMBER)) for f in columns],
        "lines": [line for line in lines if not line["is_retired"]],
        "retired": [line for line in lines if line["is_retired"]],
        "may_change": desk.caller.role == Role.MANAGER,
        "guide": guide_of(desk),
        "usual": usual_links(desk, section.name),
        "sample": "\n".join(SAMPLES.get(section.name, ())),
        "headings": [f"{name} = {label}" for name, label in _headings_shown(desk, section)],
    }


def _headings_shown(desk: Desk, section: Section) -> list[tuple[str, str]]:
    return [(f.name, label_of(desk, f)) for f in asked_fields(section, is_new=True)]


def _columns(section: Section) -> list[Field]:
    """Choose what the table shows: what entries need first, the form has the rest."""
    plain = [
        f
        for f in section.fields
        if f.name not in ON_PLACE and f.kind is not Kind.DOCUMENT and f.name not in ("how", "name")
    ]
    needed = [f for f in plain if f.is_required]
    chosen = [*needed, *(f for f in plain if not f.is_required)][:MOST_COLUMNS]
    return [f for f in plain if f in chosen]


def _line(
    desk: Desk, section: Section, entry: tuple[str, Row], columns: Sequence[Field], names: Names
) -> dict[str, Any]:
    key, row = entry
    return {
        "key": key,
        "name": name_of(desk, section, key, row.values, names),
        "cells": [
            (
                say_shown(desk, section, f, row.values[f.name], names),
                f.kind in (Kind.WHOLE, Kind.NUMBER),
            )
            for f in columns
        ],
        "is_retired": row.is_retired,
        "mark": mark_of(in_use(section, row)),
    }


def say_fault(desk: Desk, fault: Fault) -> str:
    """Say a fault that lies in another entry: where, what, what to do."""
    name, _dot, rest = fault.path.partition(".")
    section = all_sections().get(name)
    if section is None:
        return str(fault)
    key, _dot, inner = rest.partition(".")
    found = next((f for f in section.fields if f.name == inner.split(".")[0].split("[")[0]), None)
    where = [title_of(desk, name), key, label_of(desk, found) if found else inner]
    return f"{' · '.join(part for part in where if part)}: {fault.reason}. {fault.remedy}"


# Deeds --------------------------------------------------------------------------------------------


@desk_view
def set_up(desk: Desk) -> HttpResponse:
    context = page_context(desk, "set-up") | set_up_context(desk)
    return render(desk.request, "desk/set_up.html", context)


@desk_view
def undo(desk: Desk, pk: int) -> HttpResponse:
    desk.caller.require(Role.MANAGER)
    try:
        undo_edit(site_id=desk.site_id, edit_id=pk, by=desk.caller.actor, at=desk.now)
    except ChangedSinceError as error:
        error.detail = _say_changed(desk, error)
        raise
    except BrokenFileError as error:
        error.detail = "\n".join(say_fault(desk, fault) for fault in error.faults)
        error.errors = []
        raise
    return done(desk, _("Undone. It is a change itself, and can be undone too."), "set-up")


def _say_changed(desk: Desk, error: ChangedSinceError) -> str:
    names = ", ".join(f"{title_of(desk, section)} {key}" for section, key in error.found)
    words = _("%s: changed since. Undo the later change first, or change it by hand.")
    return words % names


@desk_view
def download(desk: Desk) -> HttpResponse:
    """Give the farm as a file that can be loaded again."""
    desk.caller.require(*LEADS)
    site = desk.caller.site
    text = dump_site(site=site, at=desk.now)
    answer = HttpResponse(text, content_type="application/yaml; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="{site.slug}.yaml"'
    return answer
