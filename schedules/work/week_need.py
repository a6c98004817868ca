"""What the open work of coming days asks of people and machines, day by day.

Of jobs alone: no row that is read here says who does them.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import connection

from .models import Status

Spans = Sequence[tuple[datetime, datetime]]

# A job counts on each day by the share of its time that lies there: of what is left of its
# window. What is late, or ends within a minute, counts on the first day. Of work under way the
# minutes since its start are taken off.
_NEEDS = """
WITH day AS (
    SELECT opens, closes, n - 1 AS n
    FROM unnest(%(opens)s::timestamptz[], %(closes)s::timestamptz[])
        WITH ORDINALITY AS day(opens, closes, n)
), job AS (
    SELECT skill, machine_kinds, n_people,
        greatest(starts_after, %(now)s::timestamptz) AS opens,
        greatest(due_at, %(now)s + interval '1 minute') AS closes,
        greatest(duration_min - CASE WHEN status = %(begun)s
            THEN extract(epoch FROM greatest(%(now)s - started_at, interval '0')) / 60
            ELSE 0 END, 0) AS left_min
    FROM schedules_workorder
    WHERE site_id = %(site)s AND status IN (%(open)s, %(begun)s)
        AND starts_after < %(until)s
)
SELECT day.n, job.skill, job.machine_kinds::text, sum(job.left_min * job.n_people * share.frac),
    sum(job.left_min * share.frac), coalesce(min(named.name), '')
FROM job
LEFT JOIN crews_skill AS named ON named.site_id = %(site)s AND named.key = job.skill
JOIN day ON job.opens < day.closes AND job.closes > day.opens
CROSS JOIN LATERAL (
    SELECT extract(epoch FROM least(job.closes, day.closes) - greatest(job.opens, day.opens))
        / extract(epoch FROM job.closes - job.opens) AS frac
) AS share
GROUP BY 1, 2, 3
ORDER BY 1, 2, 3
"""


@dataclass(frozen=True, slots=True)
class DayNeed:
    """What one day's work of one skill and choice of machine kinds asks for.

    `person_min` are minutes of one person; `machine_kinds` are those of which any one will do.
    """

    n_day: int
    skill: str
    machine_kinds: frozenset[str]
    person_min: float
    machine_min: float
    skill_name: str = ""


def needs_by_day(site_id: int, days: Spans, now: datetime) -> list[DayNeed]:
    """Give what is asked for by day, skill and kinds of machine; `days` follow each other: 1 query.

    The first day is what is left of it from `now` on.
    """
    facts: dict[str, Any] = {
        "site": site_id,
        "now": now,
        "until": days[-1][1],
        "opens": [max(opens, now) for opens, _closes in days],
        "closes": [closes for _opens, closes in days],
        "open": Status.NEEDS_ACTION,
        "begun": Status.IN_PROCESS,
    }
    with connection.cursor() as cursor:
        cursor.execute(_NEEDS, facts)
        rows = cursor.fetchall()
    return [_need(*row[:3], *map(float, row[3:5]), name=row[5]) for row in rows]


def _need(
    n: int, skill: str, kinds: str, person_min: float, machine_min: float, *, name: str
) -> DayNeed:
    asked = frozenset(json.loads(kinds))
    return DayNeed(n, skill, asked, person_min, machine_min if asked else 0.0, name)
