"""Shifts of coming days that have fewer people than they need, nobody named."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from django.db import connection

from equipment.site.calc.local_time import resolve
from equipment.site.models import Site

from .build import Kinds
from .models import WORKING, ShiftDemand

Slot = tuple[date, str, str]  # local date, kind of shift, skill or (empty) all

_HEADS = """
SELECT shift.local_date, shift.pattern_id, coalesce(skill.key, ''), grouping(skill.key),
    count(DISTINCT shift.id)
FROM crews_shift AS shift
LEFT JOIN crews_workerskill AS held ON held.worker_id = shift.worker_id
    AND held.from_on <= shift.local_date
    AND (held.until_on IS NULL OR held.until_on > shift.local_date)
LEFT JOIN crews_skill AS skill ON skill.id = held.skill_id
WHERE shift.site_id = %(site)s AND shift.presence = ANY(%(working)s)
    AND shift.local_date >= %(from_on)s AND shift.local_date < %(until_on)s
GROUP BY GROUPING SETS ((1, 2), (1, 2, skill.key))
"""


@dataclass(frozen=True, slots=True)
class ShortHeads:
    """A shift that lacks people: of a skill, or (empty) in all; `kind` is its name."""

    on: date
    kind: str
    skill: str
    n_needed: int
    n_there: int
    starts_at: datetime
    skill_name: str = ""
    key: str = field(default="", compare=False)  # of the kind of shift, as the roster has it


def short_heads(site: Site, from_on: date, until_on: date, now: datetime) -> list[ShortHeads]:
    """Give what is said to be needed and is not there, of shifts that begin after `now`: 3 queries.

    The need is what the roster goes by: the farm's own figure or what the work asks, the larger.
    Shifts of which nothing is said are left out.
    """
    kinds = Kinds.of(site.pk)
    there = _there(site.pk, kinds, from_on, until_on)
    needed, names = _needed(site.pk, kinds, from_on, until_on)
    found = []
    for (on, kind, skill), n_needed in sorted(needed.items()):
        first = kinds.patterns[kind][0]
        starts_at = resolve(datetime.combine(on, first.starts_local), site.zone)
        n_there = there[on, kind, skill]
        if n_there < n_needed and starts_at > now:
            name = names.get(skill, "")
            found.append(
                ShortHeads(on, first.name, skill, n_needed, n_there, starts_at, name, kind)
            )
    return found


def _needed(
    site_id: int, kinds: Kinds, from_on: date, until_on: date
) -> tuple[dict[Slot, int], dict[str, str]]:
    """The larger of a date's own need and that of every date, as `build_week` has it, and the names
    of skills: 1 query.
    """
    kind_of = kinds.of_pattern
    said: dict[tuple[date | None, str, str], int] = defaultdict(int)
    rows = ShiftDemand.objects.filter(site_id=site_id, pattern__retired_at=None)
    rows = rows.exclude(local_date__lt=from_on).exclude(local_date__gte=until_on)
    names: dict[str, str] = {}
    for on, pattern_id, skill, name, target in rows.values_list(
        "local_date", "pattern_id", "skill__key", "skill__name", "target"
    ):
        names[skill or ""] = name or ""
        said[on, kind_of[pattern_id], skill or ""] += target
    found: dict[Slot, int] = {}
    for on in _dates(from_on, until_on):
        for _day, kind, skill in list(said):
            found[on, kind, skill] = max(
                said.get((on, kind, skill), 0), said.get((None, kind, skill), 0)
            )
    return found, names


def _dates(from_on: date, until_on: date) -> Iterator[date]:
    return map(date.fromordinal, range(from_on.toordinal(), until_on.toordinal()))


def _there(site_id: int, kinds: Kinds, from_on: date, until_on: date) -> dict[Slot, int]:
    """People on shift by date, kind of shift and skill held, and in all: 1 query."""
    facts: dict[str, Any] = {
        "site": site_id,
        "working": list(WORKING),
        "from_on": from_on,
        "until_on": until_on,
    }
    with connection.cursor() as cursor:
        cursor.execute(_HEADS, facts)
        rows = cursor.fetchall()
    kind_of = kinds.of_pattern
    found: dict[Slot, int] = defaultdict(int)
    for on, pattern_id, skill, is_all, n in rows:
        if pattern_id in kind_of and (is_all or skill):
            found[on, kind_of[pattern_id], "" if is_all else skill] += n
    return found
