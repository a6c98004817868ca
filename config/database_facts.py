"""What a database holds, told so that another one can be compared with it: counts and digests.

Plain SQL and no models: a backup may be of a release whose tables were others.
"""

from dataclasses import dataclass
from typing import Any

import psycopg
from psycopg import sql
from psycopg.rows import TupleRow

Connection = psycopg.Connection[TupleRow]

# As text a row looks the same wherever these are; columns come in their order, dropped ones not.
SAME_TEXT = "SET timezone = 'UTC'; SET datestyle = 'ISO'; SET intervalstyle = 'iso_8601'"
TABLES = """
    SELECT relname FROM pg_class
    WHERE relnamespace = 'public'::regnamespace AND relkind = 'r' ORDER BY relname
"""
# Digests of rows are added up, so their order does not matter and equal rows do not cancel out.
ROWS = """
    SELECT count(*), coalesce(sum(('x' || left(of_row.digest, 16))::bit(64)::bigint::numeric), 0),
        coalesce(sum(('x' || substr(of_row.digest, 17, 16))::bit(64)::bigint::numeric), 0)
    FROM {table} AS a_row,
        LATERAL (SELECT encode(sha256(convert_to(a_row::text, 'UTF8')), 'hex')) AS of_row (digest)
"""
CONSTRAINTS = """
    SELECT contype::text, count(*) FROM pg_constraint
    WHERE connamespace = 'public'::regnamespace AND contype <> 'n' AND convalidated
    GROUP BY contype ORDER BY contype
"""
SITES = """
    SELECT s.slug, v.version, v.epoch::text
    FROM equipment_siteversion v JOIN equipment_site s ON s.id = v.site_id ORDER BY s.slug
"""
MEDIA = "SELECT DISTINCT sha256, n_bytes FROM equipment_attachment ORDER BY sha256"
MIGRATIONS = "SELECT app, name FROM django_migrations ORDER BY app, name"
IS_A_FARMS = "SELECT to_regclass('equipment_siteversion') IS NOT NULL"


@dataclass(frozen=True, slots=True)
class Site:
    """Where a site's count of changes stands, in which life."""

    version: int
    epoch: str


@dataclass(frozen=True, slots=True)
class Table:
    """How many rows a table has, and a digest of them all in whatever order."""

    rows: int
    digest: str


@dataclass(frozen=True, slots=True)
class Facts:
    """All that a backup tells of a database, seen at one moment."""

    postgres: str
    n_bytes: int
    migrations: dict[str, list[str]]
    sites: dict[str, Site]
    media: dict[str, int]
    tables: dict[str, Table]
    constraints: dict[str, int]


def read_facts(connection: Connection) -> Facts:
    """Look at the database through an open transaction: 7 statements and one for each table."""
    connection.execute(SAME_TEXT)
    return Facts(
        postgres=_one(connection, "SELECT split_part(current_setting('server_version'), ' ', 1)"),
        n_bytes=n_bytes(connection),
        migrations=read_migrations(connection),
        sites={slug: Site(*rest) for slug, *rest in connection.execute(SITES)},
        media=dict(connection.execute(MEDIA).fetchall()),
        tables={name: _table(connection, name) for (name,) in connection.execute(TABLES)},
        constraints=dict(connection.execute(CONSTRAINTS).fetchall()),
    )


def is_a_farms(connection: Connection) -> bool:
    """Tell whether the tables of Penround are there."""
    return bool(_one(connection, IS_A_FARMS))


def _one(connection: Connection, query: str) -> Any:
    row = connection.execute(query.encode()).fetchone()
    assert row is not None
    return row[0]


def n_bytes(connection: Connection) -> int:
    """Say how much the database takes on its disk."""
    return int(_one(connection, "SELECT pg_database_size(current_database())"))


def read_migrations(connection: Connection) -> dict[str, list[str]]:
    """Name the steps of the tables that are made, by app."""
    found: dict[str, list[str]] = {}
    for app, name in connection.execute(MIGRATIONS):
        found.setdefault(app, []).append(name)
    return found


def _table(connection: Connection, name: str) -> Table:
    query = sql.SQL(ROWS).format(table=sql.Identifier(name))
    row = connection.execute(query).fetchone()
    assert row is not None
    return Table(row[0], f"{row[1]}/{row[2]}")


def differences(known: Facts, found: Facts) -> list[str]:
    """Say in words what of one database is otherwise in another; nothing where all is the same."""
    told = []
    for name in sorted(known.tables.keys() | found.tables.keys()):
        before, now = known.tables.get(name), found.tables.get(name)
        if before is None or now is None:
            told.append(f"table {name} is {'missing' if now is None else 'new'}")
        elif before.rows != now.rows:
            told.append(f"table {name} has {now.rows} rows and not {before.rows}")
        elif before != now:
            told.append(f"rows of table {name} are others")
    kinds = ("constraints", "migrations", "media")
    others = [kind for kind in kinds if getattr(known, kind) != getattr(found, kind)]
    return [*told, *(f"its {kind} are others" for kind in others)]
