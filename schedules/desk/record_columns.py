"""Columns of reports: each as a person reads it and as a program does."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy

from .base import Desk
from .paper import REST, Width
from .record_period import say_date

Get = Callable[[Any], Any]
Head = str | Promise | Callable[[Desk], str]
BREAK = "\N{ZERO WIDTH SPACE}"  # where a long id may go on in the next line
STAYS = "\N{NO-BREAK SPACE}"
NOTHING = "–"


@dataclass(frozen=True, slots=True)
class Raw:
    """One column of the CSV: its name ends in its unit."""

    name: str
    datatype: str
    get: Callable[[Desk, Any], Any]


@dataclass(frozen=True, slots=True)
class Col:
    """One column of page and PDF, with what the CSV has of it."""

    head: Head
    say: Callable[[Desk, Any], str]
    raws: tuple[Raw, ...]
    width: Width = REST
    is_number: bool = False

    def head_words(self, desk: Desk) -> str:
        """Name it in the reader's language."""
        return self.head(desk) if callable(self.head) else str(self.head)


def plain(name: str, head: Head, get: Get, width: Width = REST) -> Col:
    """A text that somebody wrote."""
    raw = Raw(name, "string", lambda _d, row: get(row))
    return Col(head, lambda _d, row: str(get(row)) or NOTHING, (raw,), width)


def count(name: str, head: Head, get: Get, width: Width = 20) -> Col:
    """A whole number."""
    raw = Raw(name, "integer", lambda _d, row: get(row))
    return Col(head, lambda _d, row: _number(get(row)), (raw,), width, is_number=True)


def _number(value: int | None) -> str:
    return NOTHING if value is None else f"{value:,}"


def quantity(
    name: str, head: Head, get: Get, digits: int = 1, *, us: str | None = None, width: Width = 26
) -> Col:
    """A stored quantity; `name` ends in its SI unit, which is the CSV's."""

    def say(desk: Desk, row: Any) -> str:
        value = get(row)
        return NOTHING if value is None else desk.amount(value, name, us, digits)

    raw = Raw(name, "double", lambda _d, row: _rounded(get(row)))
    return Col(head, say, (raw,), width, is_number=True)


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 4)


def day(name: str, head: Head, get: Get, width: Width = 32) -> Col:
    """A date."""

    def say(desk: Desk, row: Any) -> str:
        on: date | None = get(row)
        return say_date(desk, on) if on else NOTHING

    return Col(head, say, (Raw(name, "date", lambda _d, row: _iso(get(row))),), width)


def _iso(on: date | None) -> str | None:
    return on.isoformat() if on else None


def moment(name: str, head: Head, get: Get, width: Width = 32) -> Col:
    """A moment, in the farm's time."""

    def say(desk: Desk, row: Any) -> str:
        at: datetime | None = get(row)
        return f"{say_date(desk, at)} {desk.clock(at).replace(' ', STAYS)}" if at else NOTHING

    def raw(desk: Desk, row: Any) -> str | None:
        at: datetime | None = get(row)
        return at.astimezone(desk.caller.site.zone).isoformat() if at else None

    return Col(head, say, (Raw(name, "datetime", raw),), width)


def place(name: str, head: Head, get: Get, width: Width = 30) -> Col:
    """A place, in the farm's own words."""
    raw = Raw(name, "string", lambda d, row: d.place(get(row)))
    return Col(head, lambda d, row: d.place(get(row)), (raw,), width)


def said_by(get: Get, width: Width = 30) -> Col:
    """Who it comes from; nobody where that is not told."""

    def name(row: Any) -> str:
        actor = get(row)
        return actor.name if actor else ""

    return plain("by", gettext_lazy("By"), name, width)


def trace(width: Width = 34) -> Col:
    """The record's own number, and the event of a phone that it came by, if it came by one."""

    def say(_desk: Desk, row: Any) -> str:
        event = event_of(row)
        told = f" · {str(event).replace('-', f'-{BREAK}')}" if event else ""
        return f"{row.pk}{told}"

    raws = (
        Raw("record_id", "integer", lambda _d, row: row.pk),
        Raw("event_id", "string", lambda _d, row: str(event_of(row) or "")),
    )
    return Col(gettext_lazy("Record no."), say, raws, width)


def event_of(row: Any) -> Any:
    """Give the key of the event that a row came by; none where it was typed at the desk."""
    return getattr(row, "event_id", None)
