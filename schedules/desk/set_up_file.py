"""Set up, many at once: pasted rows, a whole file; looked at first, then taken in."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import path
from django.utils import translation
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST

from equipment.site.errors import InvalidInputError, NotFoundError
from equipment.site.farmfields import Kind
from equipment.site.farmrows import Section
from equipment.site.models import Language, Role
from schedules.farmfile.document import read_text
from schedules.farmfile.edits import (
    ASKED,
    Asked,
    Edited,
    LookedAtOtherError,
    edit_farm,
    load_file,
)
from schedules.farmfile.faults import BrokenFileError, Fault
from schedules.farmfile.models import HowEdited
from schedules.farmfile.pasted import CellFault, NoRowsError, PastedRow, fields_of, read_rows
from schedules.farmfile.queries import names_in
from schedules.farmfile.registry import all_sections

from .base import Desk, desk_view, done, page_context
from .set_up import (
    download,
    farm_of,
    moved_line,
    referred,
    say_fault,
    section_of,
    set_up,
    undo,
)
from .set_up_entry import done_at, entry_page, new_page, section_page
from .set_up_fields import faults_of_asked
from .set_up_words import choices_of, label_of, say_shown, title_of

MAX_BYTES = 1_000_000
MOST_LINES = 200  # of what would change, that a look lists

# A whole file ------------------------------------------------------------------------------------


@desk_view
def load_page(desk: Desk) -> HttpResponse:
    """Look at what a file would do, then do exactly that."""
    desk.caller.require(Role.MANAGER)
    if desk.request.method != "POST":
        return _draw_load(desk, {}, 200)
    is_kept = desk.request.POST.get("by_hand") != "overwrite"
    text, name = _posted_file(desk)
    shown: dict[str, Any] = {"text": text, "file_name": name, "is_kept": is_kept}
    seen = desk.request.POST.get("seen", "")
    try:
        edited = _load(desk, text, name, is_kept=is_kept, seen=seen)
    except LookedAtOtherError as error:
        edited = _load(desk, text, name, is_kept=is_kept, seen="")
        shown |= {"refusal": error.detail} | _look_context(desk, edited)
        return _draw_load(desk, shown, error.status)
    except BrokenFileError as error:
        faults = [_say_line(fault) for fault in error.faults]
        return _draw_load(desk, shown | {"faults": faults}, error.status)
    if seen:
        return done(desk, _say_done(len(edited.moved)), "set-up")
    return _draw_load(desk, shown | _look_context(desk, edited), 200)


def _say_line(fault: Fault) -> str:
    value = None if fault.value is None else f"= {fault.value}"
    what = " ".join(filter(None, [fault.path, value, fault.reason]))
    return _("Line %(line)d: %(what)s. %(remedy)s") % {
        "line": fault.line,
        "what": what,
        "remedy": fault.remedy,
    }


def _posted_file(desk: Desk) -> tuple[str, str]:
    """Give the file's text, from the file or as it was looked at, and its name."""
    upload = desk.request.FILES.get("file")
    text, name = desk.request.POST.get("text", ""), desk.request.POST.get("name", "")
    if upload is not None:
        name = str(upload.name or "")
        if (upload.size or 0) > MAX_BYTES:
            raise InvalidInputError(_too_large())
        raw = upload.read()
        try:
            text = raw.decode("utf-8-sig")
        except UnicodeDecodeError as error:
            words = _("%s is no text: choose a farm file, saved as UTF-8.")
            raise InvalidInputError(words % name) from error
    if len(text.encode()) > MAX_BYTES:
        raise InvalidInputError(_too_large())
    if not text.strip():
        raise InvalidInputError(_("Choose a file that is not empty."))
    return text.replace("\r\n", "\n"), name[:100] or "farm.yaml"


def _too_large() -> str:
    return _("The file is larger than 1 MB. Is it a farm file?")


def _load(desk: Desk, text: str, name: str, *, is_kept: bool, seen: str) -> Edited:
    return load_file(
        site_id=desk.site_id,
        document=read_text(text.encode(), name),
        by=desk.caller.actor,
        at=desk.now,
        take_file=not is_kept,
        seen=seen or None,
        dry_run=not seen,
    )


def _look_context(desk: Desk, edited: Edited) -> dict[str, Any]:
    """Say what would come of it, in words."""
    sections = all_sections()
    moved = edited.moved
    concerned = {m.section for m in moved[:MOST_LINES]} | {k.section for k in edited.kept}
    wanted = {name for section in concerned for name in referred(sections[section])}
    names = names_in(farm_of(desk), sorted(wanted), desk.language)
    return {
        "is_looked": True,
        "seen": edited.mark,
        "finding": _say_would(moved),
        "moved": [moved_line(desk, each, names) for each in moved[:MOST_LINES]],
        "n_more": max(0, len(moved) - MOST_LINES),
        "kept": [_say_kept(desk, each) for each in edited.kept],
    }


def _say_would(moved: Sequence[Any]) -> str:
    if not moved:
        return _("It would change nothing.")
    n_new = sum(each.before is None for each in moved)
    n_gone = sum(each.after is None for each in moved)
    return _("%(new)d new, %(changed)d changed, %(gone)d out of use.") % {
        "new": n_new,
        "changed": len(moved) - n_new - n_gone,
        "gone": n_gone,
    }


def _say_kept(desk: Desk, kept: Any) -> str:
    """Say what a person had set and the file says otherwise."""
    section = all_sections()[kept.section]
    where = f"{title_of(desk, kept.section)} · {kept.key}"
    f = next((f for f in section.fields if f.name == kept.field), None)
    if f is None:
        gone, there = _("out of use"), _("in use")
        return f"{where}: {gone if kept.now else there}"
    now, said = (say_shown(desk, section, f, v, {}) for v in (kept.now, kept.in_file))
    told = {"where": f"{where} · {label_of(desk, f)}", "now": now, "file": said}
    return _("%(where)s: %(now)s (file: %(file)s)") % told


def _say_done(n: int) -> str:
    if not n:
        return _("Nothing was different.")
    words = ngettext("%d entry was taken in.", "%d entries were taken in.", n) % n
    undo = _("It can be undone under Last changes.")
    return f"{words} {undo}"


def _draw_load(desk: Desk, shown: dict[str, Any], status: int) -> HttpResponse:
    context = page_context(desk, "set-up") | {"is_kept": True} | shown
    return render(desk.request, "desk/set_up_load.html", context, status=status)


# Rows from a spreadsheet --------------------------------------------------------------------------


def headings_of(desk: Desk, section: Section) -> dict[str, str]:
    """Give what people may call each column, in both languages, in small letters."""
    found = {}
    for language in Language.values:
        with translation.override(language):
            reader = replace(desk, language=language)
            for f in fields_of(section):
                for label in (label_of(reader, f), str(f.help)):
                    found[label.casefold()] = f.name
                    if f.kind is Kind.WORDS:
                        for code, said in Language.choices:
                            found[f"{label} ({said})".casefold()] = f"{f.name}.{code}"
    return found


def said_of(desk: Desk, section: Section) -> dict[str, dict[str, str]]:
    """Give what people may call a choice or another entry, by field: 1 query a section named.

    What two things are called is left out: then only the key will do, which always does.
    """
    names = names_in(farm_of(desk), sorted(referred(section)), desk.language)
    fields = fields_of(section)
    every = [*fields, *(part for f in fields for part in f.parts)]
    said = {f.name: _by_name(names[f.refers_to].items()) for f in every if f.refers_to}
    for language in Language.values:
        with translation.override(language):
            for f in every:
                if f.choices:
                    known = _by_name(choices_of(section, f).items())
                    said[f.name] = said.get(f.name, {}) | known
    return said


def _by_name(known: Iterable[tuple[str, str]]) -> dict[str, str]:
    found = [(name.casefold(), key) for key, name in known]
    called = Counter(name for name, _key in found)
    once = {name: key for name, key in found if called[name] == 1}
    return once | {key.casefold(): key for _name, key in found}


@desk_view
def paste(desk: Desk, name: str) -> HttpResponse:
    """Look at pasted rows, then take exactly those in."""
    desk.caller.require(Role.MANAGER)
    section = section_of(desk, name)
    if section.is_single:
        raise NotFoundError(_("There is only one of it."))
    posted = desk.request.POST
    text, seen = posted.get("rows", ""), posted.get("seen", "")
    if len(text.encode()) > MAX_BYTES:
        raise InvalidInputError(_too_large())
    shown: dict[str, Any] = {"text": text, "section": section, "title": title_of(desk, name)}
    try:
        columns, rows = read_rows(section, text, headings_of(desk, section), said_of(desk, section))
    except NoRowsError as error:
        return _draw_rows(desk, shown | {"faults": [error.detail]}, error.status)
    shown |= {"heads": [_head(desk, c.f.name, section, c.language) for c in columns]}
    shown |= {"rows": rows, "n_columns": len(columns)}
    if any(row.faults for row in rows):
        return _draw_rows(desk, shown | _cells(desk, section, rows, columns), 422)
    return _take_rows(desk, section, rows, columns, shown | {"seen_before": seen})


def _take_rows(
    desk: Desk, section: Section, rows: list[PastedRow], columns: Any, shown: dict[str, Any]
) -> HttpResponse:
    seen = shown["seen_before"]
    try:
        edited = _edit_rows(desk, section, rows, seen)
    except BrokenFileError as error:
        for n, row in enumerate(rows):
            found = faults_of_asked(error.faults, f"{ASKED}[{n}]")
            row.faults += [CellFault(f.name, f.reason, f.remedy) for f in found]
        others = [say_fault(desk, f) for f in error.faults if not f.path.startswith(ASKED)]
        shown |= {"faults": others} | _cells(desk, section, rows, columns)
        return _draw_rows(desk, shown, error.status)
    except LookedAtOtherError as error:
        edited = _edit_rows(desk, section, rows, "")
        shown |= {"faults": [error.detail]} | _cells(desk, section, rows, columns)
        return _draw_rows(desk, shown | _look_context(desk, edited), error.status)
    if seen:
        return done_at(desk, _say_done(len(edited.moved)), "set-up-section", section.name)
    context = shown | _cells(desk, section, rows, columns) | _look_context(desk, edited)
    return _draw_rows(desk, context, 200)


def _edit_rows(desk: Desk, section: Section, rows: list[PastedRow], seen: str) -> Edited:
    return edit_farm(
        site_id=desk.site_id,
        asked=[Asked(section.name, row.key, row.given, is_part=True) for row in rows],
        by=desk.caller.actor,
        at=desk.now,
        how=HowEdited.ROWS,
        seen=seen or None,
        dry_run=not seen,
    )


def _head(desk: Desk, name: str, section: Section, language: str) -> str:
    f = next(f for f in fields_of(section) if f.name == name)
    label = label_of(desk, f)
    return f"{label} ({dict(Language.choices)[language]})" if language else label


def _cells(desk: Desk, section: Section, rows: list[PastedRow], columns: Any) -> dict[str, Any]:
    """Give each row with the faults of each cell below it, and those of the whole row."""
    names = [column.name for column in columns]
    labels = {f.name: label_of(desk, f) for f in fields_of(section)}
    lines = []
    for row in rows:
        by_cell: list[tuple[str, list[str]]] = [
            (text, [f"{f.reason}. {f.remedy}" for f in row.faults if _column_of(f, names) == name])
            for name, text in zip(names, row.cells, strict=False)
        ]
        rest = [f for f in row.faults if _column_of(f, names) == ""]
        of_row = [
            " ".join(filter(None, [labels.get(f.column.split(".")[0]), f"{f.reason}. {f.remedy}"]))
            for f in rest
        ]
        lines.append({"line": row.line, "key": row.key, "cells": by_cell, "faults": of_row})
    return {"lines": lines, "n_faulty": sum(bool(row.faults) for row in rows)}


def _column_of(fault: CellFault, names: list[str]) -> str:
    """Give the column in which a fault is shown; '' for the whole row."""
    fitting = [
        name for name in names if fault.column == name or fault.column.startswith(f"{name}.")
    ]
    return fitting[0] if fitting else ""


def _draw_rows(desk: Desk, shown: dict[str, Any], status: int) -> HttpResponse:
    context = page_context(desk, "set-up") | shown
    return render(desk.request, "desk/set_up_rows.html", context, status=status)


AT = "farm/<slug:slug>/set-up/"
urlpatterns = [
    path(AT, set_up, name="set-up"),
    path(f"{AT}farm.yaml", download, name="set-up-file"),
    path(f"{AT}load/", load_page, name="set-up-load"),
    path(f"{AT}changes/<int:pk>/undo/", require_POST(undo), name="undo-edit"),
    path(f"{AT}<slug:name>/", section_page, name="set-up-section"),
    path(f"{AT}<slug:name>/new/", new_page, name="set-up-new"),
    path(f"{AT}<slug:name>/paste/", require_POST(paste), name="set-up-paste"),
    path(f"{AT}<slug:name>/entry/<path:key>/", entry_page, name="set-up-entry"),
]
