"""Making and ending the links of calendars, and keeping account of what each has shown."""

from __future__ import annotations

import uuid
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Model
from django.utils.translation import gettext as _

from crews.devices.services import hashed
from crews.people.models import Crew, Worker
from equipment.machines.models import Machine
from equipment.sandyard.models import Pad
from equipment.site.errors import NotFoundError
from equipment.site.models import Actor
from equipment.site.writes import site_write

from .contents import BACK, Item, items_of
from .models import Calendar, CalendarEntry, CalendarKind

SUBJECTS: dict[CalendarKind, type[Model]] = {
    CalendarKind.WORKER: Worker,
    CalendarKind.CREW: Crew,
    CalendarKind.MACHINE: Machine,
    CalendarKind.PAD: Pad,
}
READ_NOTED_EACH = timedelta(minutes=10)


def make_link(
    *, site_id: int, kind: CalendarKind, subject_id: int, token: str, by: Actor, at: datetime
) -> Calendar:
    """Let whoever holds the token read a calendar. A link made before ends at once."""
    subjects = SUBJECTS[kind]._default_manager.filter(site_id=site_id, pk=subject_id)
    retired = {"place__retired_at": None} if kind == CalendarKind.PAD else {"retired_at": None}
    with site_write(site_id, at) as write:
        if not subjects.filter(**retired).exists():
            raise NotFoundError(_("There is nothing of that number here."))
        calendar, _made = Calendar.objects.update_or_create(
            site_id=site_id,
            kind=kind,
            **_reference(kind, subject_id),
            defaults={
                "token_hash": hashed(token),
                "made_by": by,
                "made_at": at,
                "read_at": None,
            },
        )
        write.touch()
    return calendar


def _reference(kind: CalendarKind, subject_id: int) -> dict[str, Any]:
    return {f"{name}_id": subject_id if name == kind else None for name in CalendarKind.values}


def end_link(*, site_id: int, calendar_id: int, at: datetime) -> Calendar:
    """End a calendar's link at once. Twice changes nothing."""
    with site_write(site_id, at) as write:
        calendars = Calendar.objects.filter(site_id=site_id, id=calendar_id)
        calendar = calendars.first()
        if calendar is None:
            raise NotFoundError(_("There is no such calendar here."))
        if calendars.exclude(token_hash="").update(token_hash=""):
            write.touch()
        calendar.token_hash = ""
    return calendar


def bring_up_to_date(calendar: Calendar, at: datetime) -> list[CalendarEntry]:
    """Give what a calendar shows now, having counted what changed since it was last read.

    A new event begins at SEQUENCE 0 and each change adds one (RFC 5545, 3.8.7.4). What went before
    it was over stays, cancelled, for two weeks after its time; what is over is let go.
    """
    with site_write(calendar.site_id, at):
        Calendar.objects.select_for_update(no_key=True).get(id=calendar.pk)
        items = {item.key: item for item in items_of(calendar, at)}
        entries = {entry.key: entry for entry in calendar.entries.all()}
        for key, item in items.items():
            _show(calendar, entries.get(key), item, at)
        for key in entries.keys() - items.keys():
            _let_go(entries[key], at)
        is_noted = calendar.read_at is not None and at - calendar.read_at < READ_NOTED_EACH
        if not is_noted:
            Calendar.objects.filter(id=calendar.pk).update(read_at=at)
    return list(calendar.entries.order_by("ends_at", "uid"))


def _show(calendar: Calendar, entry: CalendarEntry | None, item: Item, at: datetime) -> None:
    facts: dict[str, Any] = {
        "body": item.body(),
        "ends_at": item.ends_at(calendar.site),
        "changed_at": at,
        "is_cancelled": False,
    }
    if entry is None:
        uid = uuid.uuid4()
        CalendarEntry.objects.create(
            site_id=calendar.site_id, calendar=calendar, key=item.key, uid=uid, **facts
        )
    elif entry.body != facts["body"] or entry.is_cancelled:
        CalendarEntry.objects.filter(id=entry.pk).update(sequence=entry.sequence + 1, **facts)


def _let_go(entry: CalendarEntry, at: datetime) -> None:
    if entry.ends_at < at - BACK:
        entry.delete()
    elif entry.ends_at > at and not entry.is_cancelled:
        CalendarEntry.objects.filter(id=entry.pk).update(
            sequence=entry.sequence + 1, changed_at=at, is_cancelled=True
        )
