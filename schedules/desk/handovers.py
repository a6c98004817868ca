"""What crews left to the next, on the page of crews."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext as _

from schedules.handover.queries import latest_handovers, open_safety_items

from .base import Desk


@dataclass(frozen=True, slots=True)
class HandoverLine:
    """One crew's latest handover in words, with the safety items that go on."""

    crew: str
    said: str
    taken: str
    boxes: list[tuple[str, list[str]]]
    safety: list[str]


def handover_lines(desk: Desk) -> list[HandoverLine]:
    """Give each crew's latest handover, the newest first: 2 queries."""
    items = open_safety_items(desk.site_id)
    rows = sorted(latest_handovers(desk.site_id), key=lambda row: row.made_at, reverse=True)
    return [
        HandoverLine(
            crew=row.crew.name,
            said=f"{row.by.name}, {desk.moment(row.made_at)}",
            taken=(
                _("Taken by %(name)s, %(when)s")
                % {"name": row.taken_by.name, "when": desk.moment(row.taken_at)}
                if row.taken_by and row.taken_at
                else _("Not taken yet")
            ),
            boxes=[
                (words, lines)
                for words, lines in (
                    (_("Left undone"), row.left),
                    (_("Broken"), row.broken),
                    (_("To watch"), row.watch),
                    (_("First"), row.first),
                )
                if lines
            ],
            safety=[
                f"{item.text} ({item.raised_by.name}, {desk.moment(item.raised_at)})"
                for item in items.get(row.crew_id, [])
            ],
        )
        for row in rows
    ]
