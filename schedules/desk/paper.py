"""What all paper of the desk stands on: size, both languages, the way back, and Typst.

A sheet is for a farm, or a night, without paired phones. Whoever reads it may read one language
alone, so each line says both; only what is printed for the person who asks speaks theirs.
"""

from __future__ import annotations

import io
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from datetime import date, datetime
from pathlib import Path
from typing import Any, TypeVar

import segno
import typst
from django.http import HttpResponse
from django.utils import translation
from django.utils.functional import Promise
from django.utils.translation import gettext as _

from equipment.site.errors import InvalidInputError
from schedules.dayplan.queries import latest_plan

from .base import Desk
from .wording import say_said

SOURCE = Path(__file__).with_name("paper.typ").read_bytes()
PAPERS = {"letter": "us-letter", "a4": "a4"}
LANGUAGES = ("en", "es")
N_BLANK = 4  # lines left to write on
REST = "1fr"  # a column that takes what is left

Width = float | str
Cell = str | Sequence[Any] | Mapping[str, Any]  # as paper.typ shows them
T = TypeVar("T")
Say = Callable[[Desk], str]


@dataclass(frozen=True, slots=True)
class Table:
    """A table whose name and heads repeat on each page; widths are millimetres or `REST`."""

    name: str
    note: str
    columns: tuple[Width, ...]
    heads: Sequence[Cell]
    rows: Sequence[Sequence[Cell]]
    blank: Sequence[Cell] = ()
    n_blank: int = 0


@dataclass(frozen=True, slots=True)
class Sheet:
    """Pages that are handed out together, the address that its code leads back to, and cautions."""

    tables: Sequence[Table]
    back: str
    below: Sequence[Cell] = field(default_factory=list)


def both(desk: Desk, say: Callable[[Desk], T]) -> dict[str, T]:
    """Say something in English and in Spanish, nouns of the farm among it."""
    found = {}
    for language in LANGUAGES:
        with translation.override(language):
            found[language] = say(replace(desk, language=language))
    return found


def a_line(desk: Desk, say: Say) -> str:
    """Say both on one line; once where they are the same."""
    return " / ".join(dict.fromkeys(both(desk, say).values()))


def two_lines(desk: Desk, say: Say) -> list[str]:
    """Say both below each other; once where they are the same."""
    return list(dict.fromkeys(both(desk, say).values()))


def word_line(desk: Desk, word: str | Promise) -> str:
    """Say a marked word in both languages on one line."""
    return a_line(desk, lambda _d: str(word))


def word_lines(desk: Desk, word: str | Promise) -> list[str]:
    """Say a marked word in both languages below each other."""
    return two_lines(desk, lambda _d: str(word))


def day_line(desk: Desk, on: date | datetime) -> str:
    """Say a day in both languages on one line."""
    return a_line(desk, lambda d: d.day(on))


def day_lines(desk: Desk, on: date | datetime) -> list[str]:
    """Say a day in both languages below each other."""
    return two_lines(desk, lambda d: d.day(on))


def said_in_both(texts: Mapping[str, str], otherwise: str = "") -> dict[str, str]:
    """Give a text of the farm file in both languages."""
    return {language: say_said(texts, language) or otherwise for language in LANGUAGES}


def boxes(n: int, text: str = "") -> dict[str, Any]:
    """Boxes of 6 mm to tick, after a text."""
    return {"boxes": n, "text": text}


def asked_paper(desk: Desk) -> str:
    """Give the paper that was asked for, `?paper=a4` or `letter`; else the site's habit."""
    usual = "letter" if desk.caller.site.units == "us" else "a4"
    paper = desk.request.GET.get("paper", usual)
    if paper not in PAPERS:
        raise InvalidInputError(_("paper must be letter or a4."))
    return PAPERS[paper]


def print_sheets(desk: Desk, sheets: Sequence[Sheet], *, title: str, name: str) -> HttpResponse:
    """Print sheets for everybody, in both languages, with the plan they were printed by: 1 query.

    Heads of pages, the foot and the code that leads back are the same on all of them.
    """
    plan = latest_plan(desk.site_id)
    day = both(desk, lambda d: d.day(d.now))
    foot = {
        "printed": f"{a_line(desk, lambda _d: _('printed'))} {desk.clock(desk.now)} {day['en']}, "
        f"plan {plan.number if plan else 0}",
        "page": a_line(desk, lambda _d: _("page")),
        "of": a_line(desk, lambda _d: _("of")),
    }
    return _answer(desk, sheets, title=title, name=name, foot=foot, lang="en", is_wide=False)


def print_report(desk: Desk, sheet: Sheet, *, title: str, name: str) -> HttpResponse:
    """Print what the reader asked for, in the reader's language, on wide pages. No query."""
    day = f"{desk.day(desk.now)} {desk.now.astimezone(desk.caller.site.zone).year}"
    foot = {
        "printed": f"{_('printed')} {desk.clock(desk.now)} {day}",
        "page": _("page"),
        "of": _("of"),
    }
    language = desk.language
    return _answer(desk, [sheet], title=title, name=name, foot=foot, lang=language, is_wide=True)


def _answer(
    desk: Desk, sheets: Sequence[Sheet], *, title: str, name: str, **facts: Any
) -> HttpResponse:
    data = {
        "title": title,
        "paper": asked_paper(desk),
        **facts,
        "sheets": [{**asdict(sheet), "qr": _qr(desk, sheet.back)} for sheet in sheets],
    }
    pdf = typst.compile(SOURCE, sys_inputs={"data": json.dumps(data)})
    response = HttpResponse(bytes(pdf), content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{name}.pdf"'
    return response


def _qr(desk: Desk, back: str) -> str:
    """Draw the code of a page's whole address."""
    buffer = io.BytesIO()
    address = desk.request.build_absolute_uri(back)
    segno.make(address, error="m").save(buffer, kind="svg", scale=3, border=2)
    return buffer.getvalue().decode()
