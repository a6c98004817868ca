"""`python -m tests.benchmarks.grow DATA [--days 365]`: a year of history for a demo farm.

The farm's planned days are copied into the past, each as done, with who did it, who reported it and
from which phone; batches that have ended, readings, services and levels as far back. It is data to
measure on and nothing else: written past the verbs, in one transaction, once.
"""

from __future__ import annotations

import os
import sys
from argparse import ArgumentParser
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from config import compiled_code, stores

PERIOD_D = 14  # days ahead that are copied, and how far back each copy lies behind the one before
OFFSET = 10_000_000  # between the keys of one copy and the next
MOST_COPIES = 9  # of what has a past of its own: ten times as much in all


@dataclass(frozen=True, slots=True)
class Copied:
    """A table whose rows are copied; `shown` replaces columns by expressions of row t and copy k.

    `parents` are columns that name rows of tables copied before it.
    """

    label: str
    where: str = "true"
    parents: tuple[str, ...] = ()
    shown: Mapping[str, str] = field(default_factory=dict)


class OrphansError(Exception):
    """Copies whose parents were not copied, since others stood in their place."""


NEW_KEY = {"natural_key": "t.natural_key || ':y' || k"}
DONE = {
    **NEW_KEY,
    "status": "'COMPLETED'",
    "outcome": "'done'",
    "needs_decision": "''",
    "reason": "''",
    "started_at": "t.starts_after - k * %(period)s",
    "ended_at": "t.starts_after - k * %(period)s + t.duration_min * interval '1 minute'",
}
# What was reported of a visit, as the verb writes it.
REPORTED = (
    "jsonb_build_object('first_on', to_char((t.first_on_at - k * %(period)s) AT TIME ZONE 'UTC', "
    """'YYYY-MM-DD"T"HH24:MI:SS"+00:00"'))"""
)
# By the planned days: as many copies as the days ask for.
DAYS = (
    Copied("crews.Shift", "t.local_date >= %(today)s AND t.local_date <= %(last)s",
           shown={"presence": "'here'"}),
    Copied("equipment.FlushRun", "t.starts_at::date >= %(today)s AND t.starts_at::date <= %(last)s",
           shown={**NEW_KEY, "status": "'done'"}),
    Copied("schedules.Milking", "t.local_date >= %(today)s AND t.local_date <= %(last)s",
           shown={"state": "'ended'"}),
    Copied("schedules.PenVisit", parents=("milking_id",),
           shown={"actual": REPORTED, "foretold": "'{}'"}),
    Copied("schedules.BedWindow", parents=("visit_id",)),
    Copied("schedules.WorkOrder", "t.local_date >= %(today)s AND t.local_date <= %(last)s "
           "AND t.batch_id IS NULL AND t.for_machine_id IS NULL AND t.visit_id IS NOT NULL",
           parents=("visit_id",), shown=DONE),
)  # fmt: skip
# By what is past: each table's own length of time, nine times.
PAST = (
    Copied("equipment.MeterReading", "true",
           shown={"meter_h": "greatest(t.meter_h - k * %(span_h)s, 0)"}),
    Copied("equipment.ServiceRecord", "true", shown={"cycle": "t.cycle + 1000 * k"}),
    Copied("equipment.LevelReading"),
    Copied("schedules.Batch", "t.ended_at IS NOT NULL", shown={"number": "t.number + 1000 * k"}),
    Copied("schedules.BatchStep", parents=("batch_id",)),
    Copied("schedules.MoistureTest", parents=("batch_id",)),
    Copied("schedules.SandMove", parents=("batch_id",)),
    Copied("schedules.DryRate", parents=("batch_id",)),
)  # fmt: skip
EVENTS = """
INSERT INTO equipment_event (id, site_id, actor_id, device_key, device_seq, kind, schema_version,
    payload, happened_at, client_at, received_at, state, answer, version)
SELECT gen_random_uuid(), o.site_id, w.actor_id, 1000000 + w.n,
    row_number() OVER (PARTITION BY w.n ORDER BY o.id), 'done', 1,
    jsonb_build_object('work_order', o.id), o.ended_at, o.ended_at,
    o.ended_at + interval '20 seconds', 'applied',
    jsonb_build_object('result', jsonb_build_object('work_order', o.id)), 0
FROM schedules_workorder o JOIN who w ON w.n = o.id %% %(n_workers)s WHERE o.id >= %(offset)s
"""
GIVEN = """
INSERT INTO schedules_assignment
    (id, site_id, work_order_id, starts_at, ends_at, is_by_hand, version)
SELECT o.id, o.site_id, o.id, o.started_at, o.ended_at, false, 1
FROM schedules_workorder o WHERE o.id >= %(offset)s
"""
CLAIMS = """
INSERT INTO schedules_claim (site_id, assignment_id, worker_id, span, is_binding)
SELECT o.site_id, o.id, w.id, tstzrange(o.started_at, o.ended_at, '[)'), false
FROM schedules_workorder o JOIN who w ON w.n = o.id %% %(n_workers)s WHERE o.id >= %(offset)s
"""
REPORTS = """
INSERT INTO schedules_report (site_id, work_order_id, kind, at, by_id, event_id, reason)
SELECT e.site_id, (e.payload ->> 'work_order')::bigint, 'done', e.happened_at, e.actor_id, e.id, ''
FROM equipment_event e WHERE e.device_key >= 1000000 AND e.kind = 'done'
"""
WHO = """
CREATE TEMPORARY TABLE who ON COMMIT DROP AS
SELECT id, actor_id, row_number() OVER (ORDER BY id) - 1 AS n FROM crews_worker
WHERE site_id = %(site)s
"""


def main(argv: list[str]) -> int:
    """Grow the one farm of a folder; 1 where it has grown before, or cannot grow whole."""
    parser = ArgumentParser(prog="python -m tests.benchmarks.grow", description=__doc__)
    parser.add_argument("data", type=Path, help="the data folder of a running service")
    parser.add_argument("--days", type=int, default=365)
    given = parser.parse_args(argv)
    begin(given.data)
    from schedules.work.models import WorkOrder

    if WorkOrder.objects.filter(pk__gte=OFFSET).exists():
        print("It has grown already.", file=sys.stderr)
        return 1
    before = n_rows()
    try:
        grow(given.days)
    except OrphansError as fault:
        print(f"{fault} Nothing was copied.", file=sys.stderr)
        return 1
    for label, n in n_rows().items():
        if n > before[label]:
            print(f"{label:<28} {before[label]:>8,} -> {n:>9,}")
    return 0


def begin(data: Path) -> None:
    """Use the database of a data folder."""
    compiled_code.choose_folder()
    os.environ["DATABASE_URL"] = stores.Places(data.resolve()).database_url
    os.environ["DJANGO_SETTINGS_MODULE"] = "config.settings_test"
    import django

    django.setup()


def n_rows() -> dict[str, int]:
    """Rows of each table."""
    from django.apps import apps

    return {model._meta.label: model._base_manager.count() for model in apps.get_models()}


def grow(days: int) -> None:
    """Copy the planned days back over so many days, and what is past nine times."""
    from django.db import connection, transaction

    facts = _facts()
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET LOCAL session_replication_role = replica")  # no trigger, no stamp
        for table in DAYS:
            _copy(cursor, table, facts, range(1, 2 + days // PERIOD_D), PERIOD_D)
        for table in PAST:
            _copy(cursor, table, facts, range(1, 1 + MOST_COPIES), days // MOST_COPIES)
        for table in (*DAYS, *PAST):
            refuse_orphans(cursor, table)
        for statement in (WHO, EVENTS, GIVEN, CLAIMS, REPORTS):
            cursor.execute(statement, facts)
    with connection.cursor() as cursor:
        cursor.execute("VACUUM ANALYZE")


def _facts() -> dict[str, Any]:
    from datetime import UTC, datetime, timedelta

    from crews.people.models import Worker
    from equipment.site.calc.local_time import local_date_of
    from equipment.site.models import Site

    site = Site.objects.get()
    today = local_date_of(datetime.now(UTC), site.zone)
    return {
        "site": site.pk,
        "today": today,
        "last": today + timedelta(days=PERIOD_D - 1),
        "n_workers": Worker.objects.filter(site=site).count(),
        "offset": OFFSET,
        "span_h": 300.0,
    }


def _copy(cursor: Any, table: Copied, facts: Mapping[str, Any], ks: Iterable[int], d: int) -> None:
    """Insert all copies of one table's rows; what is there already is let be."""
    from django.apps import apps

    model = apps.get_model(table.label)
    name = model._meta.db_table
    fields = {f.column: f for f in model._meta.concrete_fields}
    of = {column: fields[column].related_model._meta.db_table for column in table.parents}
    chosen = "t.{} IN (SELECT id FROM copied WHERE of = '{}')"
    where = [table.where, *(chosen.format(*one) for one in of.items())]
    columns = [column for column in fields if column != "changed_at"]
    shown = [_shown(model, table, column) for column in columns]
    cursor.execute("CREATE TEMPORARY TABLE IF NOT EXISTS copied (id bigint, of text)")
    for k in ks:
        cursor.execute(
            f"INSERT INTO {name} ({', '.join(columns)}) SELECT {', '.join(shown)} "
            f"FROM {name} t, (SELECT {int(k)} AS k) n WHERE t.id < {OFFSET} "
            f"AND {' AND '.join(where)} ON CONFLICT DO NOTHING",
            {**facts, "period": f"{d} days"},
        )
    cursor.execute(
        f"INSERT INTO copied SELECT t.id, '{name}' FROM {name} t "
        f"WHERE t.id < {OFFSET} AND {' AND '.join(where)}",
        {**facts, "period": f"{d} days"},
    )


def refuse_orphans(cursor: Any, table: Copied) -> None:
    """Refuse copies that name rows which are not there: no foreign key looks while copying."""
    from django.apps import apps

    model = apps.get_model(table.label)
    fields = {f.column: f for f in model._meta.concrete_fields}
    for column in table.parents:
        of = fields[column].related_model._meta.db_table
        cursor.execute(
            f"SELECT count(*) FROM {model._meta.db_table} t WHERE t.id >= {OFFSET} "
            f"AND t.{column} IS NOT NULL "
            f"AND NOT EXISTS (SELECT FROM {of} p WHERE p.id = t.{column})"
        )
        if n := cursor.fetchone()[0]:
            raise OrphansError(f"{n} copies in {table.label} have no {column} that is there.")


def _shown(model: Any, table: Copied, column: str) -> str:
    """Say what a copy has in a column: its own key, its parents' copies, its earlier times."""
    if column in table.shown:
        return table.shown[column].replace("%(period)s", "%(period)s::interval")
    if column == "id" or column in table.parents:
        return f"t.{column} + k * {OFFSET}"
    kind = next(f for f in model._meta.concrete_fields if f.column == column).get_internal_type()
    if kind == "DateTimeField":
        return f"t.{column} - k * %(period)s::interval"
    if kind == "DateField":
        return f"(t.{column} - k * %(period)s::interval)::date"
    return f"t.{column}"


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
