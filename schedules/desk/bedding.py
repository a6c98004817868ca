"""What the beds got: from each pen back to its batches."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import timedelta
from itertools import groupby
from operator import attrgetter

from equipment.site.calc.local_time import local_date_of
from schedules.sand.models import SandMove
from schedules.sand.queries import beddings

from .base import Desk
from .sand_words import say_tons

SHOWN_D = 28  # what lies further back is given by the API


@dataclass(frozen=True, slots=True)
class BeddedLine:
    """One batch in one pen's beds."""

    pen: str
    number: int
    days: str
    amount: str


def bedded_lines(desk: Desk) -> list[BeddedLine]:
    """Say for each pen which batches came into its beds, the newest first: 1 query."""
    since = desk.now - timedelta(days=SHOWN_D)
    by_batch = attrgetter("target.place_id", "batch.number")
    moves = beddings(desk.site_id).filter(at__gte=since)
    moves = moves.order_by("target__place__key", "-batch__number", "at", "pk")
    return [_line(desk, list(rows)) for _key, rows in groupby(moves, by_batch)]


def _line(desk: Desk, moves: list[SandMove]) -> BeddedLine:
    first = moves[0]
    assert first.target.place is not None  # the query asks for sand that came into a pen
    return BeddedLine(
        pen=desk.place(first.target.place),
        number=first.batch.number,
        days=_days(desk, moves),
        amount=say_tons(desk, sum(move.dry_kg for move in moves), digits=1),
    )


def _days(desk: Desk, moves: Iterable[SandMove]) -> str:
    zone = desk.caller.site.zone
    return ", ".join(desk.day(on) for on in sorted({local_date_of(m.at, zone) for m in moves}))
