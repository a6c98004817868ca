"""One entry of the farm file as a form: changed, made, taken out of use, brought back."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _

from equipment.site.errors import NotFoundError
from equipment.site.farmfields import Field, Values
from equipment.site.farmrows import Section
from equipment.site.models import Role
from schedules.farmfile.edits import ASKED, Asked, ChangedSinceError, edit_farm, in_use, mark_of
from schedules.farmfile.entries import KEY_FIELD
from schedules.farmfile.faults import BrokenFileError
from schedules.farmfile.pasted import make_key
from schedules.farmfile.queries import last_edit_of, names_in

from .base import Desk, desk_view, done, page_context
from .set_up import farm_of, referred, say_fault, section_context, section_of
from .set_up_fields import (
    Box,
    BoxFault,
    Typed,
    asked_fields,
    boxes_of,
    faults_of_asked,
    put_faults,
    read_typed,
    say_typed,
    without_blank_lines,
)
from .set_up_usual import usual_values
from .set_up_words import label_of, name_of, own_words, title_of

FIRST = f"{ASKED}[0]"  # where faults of the one entry lie


@dataclass
class EntryPage:
    """The form of one entry, as it is drawn: what is typed, what is wrong, what stands now."""

    section: Section
    key: str = ""
    typed: Typed | None = None
    begun: Values | None = None
    faults: Sequence[BoxFault] = ()
    others: Sequence[str] = ()
    is_clash: bool = False

    @property
    def is_new(self) -> bool:
        return not self.key


def entry_context(desk: Desk, page: EntryPage) -> dict[str, Any]:
    """Give the form of an entry: at most 12 queries besides the frame's."""
    section = page.section
    farm = farm_of(desk)
    row = None if page.is_new else section.rows.read(farm, section).get(page.key)
    values = in_use(section, row)
    if not page.is_new and row is None and values is None:
        raise NotFoundError(_("There is no such entry here."))
    shown = values if values is not None else (row.values if row else {})
    names = names_in(farm, sorted(referred(section)), desk.language)
    fields = asked_fields(section, is_new=page.is_new)
    stored = say_typed(fields, shown if not page.is_new else _usual(fields) | (page.begun or {}))
    typed = stored if page.typed is None else page.typed
    boxes = boxes_of(desk, section, fields, typed, names)
    homeless = put_faults(boxes, page.faults)
    return {
        "section": section,
        "title": title_of(desk, section.name),
        "about": own_words(desk, str(section.help)),
        "name": _("New") if page.is_new else name_of(desk, section, page.key, shown, names),
        "key": page.key,
        "is_new": page.is_new,
        "is_retired": row is not None and row.is_retired,
        "boxes": _needed_first(boxes) if page.is_new else [(boxes, "")],
        "mark": mark_of(values),
        "faults": [*page.others, *(str(fault) for fault in homeless)],
        "n_faults": len(page.faults) + len(page.others),
        "clash": _clash(desk, page, stored, fields) if page.is_clash else None,
        "last": None if page.is_new else _last(desk, page),
    }


def _needed_first(boxes: Sequence[Box]) -> list[tuple[list[Box], str]]:
    """Part what a new entry must have from what may stay as it is, with a word above each."""
    needed = [box for box in boxes if box.is_required and box.name != KEY_FIELD.name]
    rest = [box for box in boxes if box not in needed]
    parted = [(needed, _("Needed")), (rest, _("May stay as it is"))]
    return [(some, words) for some, words in parted if some]


def _usual(fields: Iterable[Field]) -> dict[str, Any]:
    return {f.name: f.default for f in fields if not f.is_required}


def _last(desk: Desk, page: EntryPage) -> str:
    """Say who changed the entry last, so far as it was changed here."""
    edit = last_edit_of(desk.site_id, page.section.name, page.key)
    if edit is None:
        return ""
    told = {"who": edit.by.name, "when": f"{desk.day(edit.made_at)} {desk.clock(edit.made_at)}"}
    return _("Last changed here by %(who)s, %(when)s.") % told


def _clash(desk: Desk, page: EntryPage, stored: Typed, fields: Iterable[Field]) -> list[str]:
    """Say what stands there now where something else was typed."""
    by_name = {f.name: f for f in fields}
    typed = page.typed or {}
    names = sorted({*stored, *typed} & {n for n in {*stored, *typed} if n.split(".")[0] in by_name})
    return [
        _("%(field)s: now %(now)s, you typed %(typed)s")
        % {
            "field": label_of(desk, by_name[name.split(".")[0]]),
            "now": ", ".join(stored.get(name, ())) or "–",
            "typed": ", ".join(typed.get(name, ())) or "–",
        }
        for name in names
        if list(stored.get(name, ())) != list(typed.get(name, ()))
    ]


# Deeds --------------------------------------------------------------------------------------------


@desk_view
def section_page(desk: Desk, name: str) -> HttpResponse:
    """List a section's entries; what there is only one of is its form."""
    section = section_of(desk, name)
    if section.is_single:
        return _entry(desk, section, name)
    context = page_context(desk, "set-up") | section_context(desk, section)
    return render(desk.request, "desk/set_up_section.html", context)


@desk_view
def entry_page(desk: Desk, name: str, key: str) -> HttpResponse:
    return _entry(desk, section_of(desk, name), key)


@desk_view
def new_page(desk: Desk, name: str) -> HttpResponse:
    section = section_of(desk, name)
    if section.is_single:
        raise NotFoundError(_("There is only one of it."))
    return _entry(desk, section, "")


def _entry(desk: Desk, section: Section, key: str) -> HttpResponse:
    desk.caller.require(Role.MANAGER)
    if desk.request.method == "POST":
        return _save(desk, section, key)
    begun = usual_values(section.name, desk.request.GET.get("from", "")) if not key else None
    return _draw(desk, EntryPage(section, key, begun=begun), 200)


def _draw(desk: Desk, page: EntryPage, status: int) -> HttpResponse:
    context = page_context(desk, "set-up") | entry_context(desk, page)
    return render(desk.request, "desk/set_up_entry.html", context, status=status)


def _save(desk: Desk, section: Section, key: str) -> HttpResponse:
    """Save what was typed, take the entry out of use, or bring it back; all of it or nothing."""
    posted = desk.request.POST
    fields = asked_fields(section, is_new=not key)
    typed = without_blank_lines(fields, {n: [str(t) for t in ts] for n, ts in posted.lists()})
    page = EntryPage(section, key, typed)
    deed, mark = posted.get("deed", "save"), posted.get("mark", "")
    if deed == "save":
        given, page.faults = read_typed(fields, typed)
        if page.faults:
            return _draw(desk, page, BrokenFileError.status)
        return _make(desk, page, _asked(desk, page, given, mark))
    page.typed = None
    is_again = deed == "again"
    given_again: Values | None = {} if is_again else None
    return _make(desk, page, Asked(section.name, key, given_again, is_part=is_again, base=mark))


def _make(desk: Desk, page: EntryPage, asked: Asked) -> HttpResponse:
    """Do what is asked, or show the form again with what is in the way."""
    try:
        edited = edit_farm(site_id=desk.site_id, asked=[asked], by=desk.caller.actor, at=desk.now)
    except BrokenFileError as error:
        page.faults = faults_of_asked(error.faults, FIRST)
        page.others = [say_fault(desk, f) for f in error.faults if not f.path.startswith(ASKED)]
        return _draw(desk, page, error.status)
    except ChangedSinceError as error:
        page.is_clash = True
        return _draw(desk, page, error.status)
    return _saved(desk, page.section, len(edited.moved))


def _asked(desk: Desk, page: EntryPage, given: Values, mark: str) -> Asked:
    """Ask for an entry as typed, with what it is known by, which the form does not ask."""
    section, key = page.section, page.key
    if section.name == "site":
        given = {"slug": desk.caller.site.slug, **given}
    if not key:
        has_key = section.key_fields == ("key",)
        made = str(given.pop("key", "") or make_key(section, given) or _only(desk, section))
        made = made if has_key else ""
        return Asked(section.name, made, given, is_new=True)
    if section.key_fields == ("key",):
        return Asked(section.name, key, given, base=mark)
    known_by = dict(zip(section.key_fields, key.split("/"), strict=True))
    return Asked(section.name, key, {**known_by, **given}, base=mark)


def _only(desk: Desk, section: Section) -> str:
    """Give the key of a place without a label that is the first of its kind: `parlor`."""
    if len(section.place_kinds) != 1 or section.rows.in_use(farm_of(desk), section).exists():
        return ""
    return section.place_kinds[0].value.replace("_", "-")


def _saved(desk: Desk, section: Section, n: int) -> HttpResponse:
    words = _("Saved. It can be undone under Last changes.") if n else _("Nothing was different.")
    if section.is_single:
        return done(desk, words, "set-up")
    return done_at(desk, words, "set-up-section", section.name)


def done_at(desk: Desk, words: str, page: str, *args: str) -> HttpResponse:
    """As `done`, for a page below another."""
    answer = done(desk, words, "set-up")
    assert isinstance(answer, HttpResponseRedirect)
    return HttpResponseRedirect(reverse(page, args=[desk.caller.site.slug, *args]))
