"""Rows by statements that cost the ORM too much: written many at once, or read on every call.

Django's `bulk_create` and `bulk_update` build a statement that grows with the rows; here they go
as one parameter, a JSON text, which PostgreSQL reads into rows of the table's own types.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Sequence
from datetime import date
from functools import cache, cached_property
from itertools import islice
from typing import Any
from uuid import UUID
from weakref import WeakKeyDictionary

from django.db import connection
from django.db.models import Field, Model
from django.db.models.base import ModelState

Names = tuple[tuple[str, str], ...]  # of each column, and what a row calls it


def insert_rows(rows: Sequence[Model]) -> None:
    """Insert rows of one model, in their order; they do not learn their keys: 1 query."""
    if not rows:
        return
    names, sql = _insert(type(rows[0]))
    with connection.cursor() as cursor:
        cursor.execute(sql, [_written(rows, names)])
    for row in rows:
        row._state.adding = False


def update_rows(rows: Sequence[Model], fields: tuple[str, ...]) -> None:
    """Write some fields of stored rows of one model: 1 query."""
    if not rows:
        return
    names, sql = _update(type(rows[0]), fields)
    with connection.cursor() as cursor:
        cursor.execute(sql, [_written(rows, names)])


def _written(rows: Sequence[Model], names: Names) -> str:
    told = [{column: row.__dict__[name] for column, name in names} for row in rows]
    return json.dumps(told, default=_plain)


def _plain(value: object) -> str:
    if isinstance(value, date):  # an instant is one too
        return value.isoformat()
    if isinstance(value, UUID):
        return str(value)
    raise TypeError(f"{type(value).__name__} is no value of a row")


@cache
def _insert(model: type[Model]) -> tuple[Names, str]:
    given = [field for field in model._meta.concrete_fields if not _is_databases_own(field)]
    columns = ", ".join(_column(field) for field in given)
    names = tuple((str(field.column), field.attname) for field in given)
    return names, f"INSERT INTO {_table(model)} ({columns}) SELECT {columns} FROM {_read(given)}"  # noqa: S608  names of our own


@cache
def _update(model: type[Model], fields: tuple[str, ...]) -> tuple[Names, str]:
    key = model._meta.pk
    written = [model._meta.get_field(name) for name in fields]
    given: list[Any] = [key, *written]
    put = ", ".join(f"{_column(field)} = told.{_column(field)}" for field in given[1:])
    same = f"kept.{_column(given[0])} = told.{_column(given[0])}"
    names = tuple((str(field.column), field.attname) for field in given)
    return names, f"UPDATE {_table(model)} AS kept SET {put} FROM {_read(given)} WHERE {same}"  # noqa: S608  names of our own


def _read(fields: Sequence[Any]) -> str:
    """Say how the JSON text is read: each column under its field's name, in its own type."""
    kinds = ", ".join(f"{_column(field)} {field.db_type(connection)}" for field in fields)
    return f"jsonb_to_recordset(%s::jsonb) AS told ({kinds})"


def _is_databases_own(field: Field[Any, Any]) -> bool:
    return field.has_db_default() or bool(getattr(field, "db_returning", False))


def _column(field: Field[Any, Any]) -> str:
    return connection.ops.quote_name(str(field.column))


def _table(model: type[Model]) -> str:
    return connection.ops.quote_name(model._meta.db_table)


class Joined:
    """What a statement written by hand joins, read as the ORM reads it.

    For statements that are made on every call: to build one of six tables costs the ORM more than
    PostgreSQL takes to answer it.
    """

    def __init__(self, **models: type[Model]) -> None:
        """Name the tables as the statement does."""
        self.models = models

    @cached_property
    def columns(self) -> str:
        """What the statement selects."""
        return ", ".join(
            f"{name}.{_column(field)}"
            for name, model in self.models.items()
            for field in model._meta.concrete_fields
        )

    def first(self, sql: str, *parameters: str | int) -> list[Any] | None:
        """Give the one row that a statement finds, as an object of each table: 1 query.

        None in place of what an outer join did not find; None where there is no row. The
        parameters are $1, $2, ... in the statement.
        """
        found = first_row(sql, *parameters)
        if found is None:
            return None
        values = iter(found)
        return [_object(model, values) for model in self.models.values()]


def first_row(sql: str, *parameters: str | int) -> tuple[Any, ...] | None:
    """Give the first row of a statement that is made on every call: 1 query."""
    with connection.cursor() as cursor:
        cursor.execute(planned(sql, len(parameters)), parameters)
        found: tuple[Any, ...] | None = cursor.fetchone()
    return found


PREPARED: dict[str, str] = {}  # statements by what runs them
MOST_PLANNED = 300  # statements of a session; beyond, all are planned anew as they come
_there: WeakKeyDictionary[Any, set[str]] = WeakKeyDictionary()  # by the driver's connections


def planned(sql: str, n_parameters: int) -> str:
    """Give what runs a statement with parameters $1, $2, ... that this session has planned.

    A long statement takes PostgreSQL as long to read and plan as to answer; a session that meets it
    for the first time plans it here.
    """
    name = f"penround_{hashlib.sha256(sql.encode()).hexdigest()[:16]}"
    session = connection.connection
    if name not in (there := _there.setdefault(session, set())):
        with connection.wrap_database_errors:
            if len(there) >= MOST_PLANNED:
                session.execute("DEALLOCATE ALL")
                there.clear()
                PREPARED.clear()
            session.execute(f"PREPARE {name} AS {sql}")
        there.add(name)
    run = f"EXECUTE {name}"
    PREPARED[run] = sql
    return f"{run} ({', '.join(['%s'] * n_parameters)})" if n_parameters else run


def _object(model: type[Model], values: Iterator[Any]) -> Model | None:
    names, key, converters = _known(model)
    own = list(islice(values, len(names)))
    if own[key] is None:
        return None
    for n, convert in converters:
        own[n] = convert(own[n], None, connection)
    made = model.__new__(model)  # as one that was pickled is made: without asking each field
    made._state = ModelState()
    made._state.db, made._state.adding = connection.alias, False
    made.__dict__.update(zip(names, own, strict=True))
    return made


@cache
def _known(model: type[Model]) -> tuple[list[str], int, list[tuple[int, Any]]]:
    """Say how a model's columns are read: their names, where the key is, what is converted."""
    fields = model._meta.concrete_fields
    converters = [
        (n, field.from_db_value)
        for n, field in enumerate(fields)
        if hasattr(field, "from_db_value")
    ]
    return [field.attname for field in fields], fields.index(model._meta.pk), converters
