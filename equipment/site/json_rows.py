"""What a serializer shows of a row, written as JSON by PostgreSQL.

For lists: rows that are columns and nothing more need not become objects first. A serializer with
anything else in it is not written here, and its own way is the only one; a test holds that both
say the same.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from functools import cache, lru_cache
from typing import Any

from django.core.exceptions import EmptyResultSet
from django.db import connection
from django.db.models import ForeignKey, Model, QuerySet
from django.db.models.expressions import RawSQL
from django.db.models.fields import TextField
from django.db.models.query import ValuesIterable
from rest_framework import serializers

from .models import PlaceKind, Site
from .queries import word
from .restfields import PlaceRef, WhoField
from .rows import planned

INSTANT = (
    """replace(to_char({} AT TIME ZONE 'UTC', 'YYYY-MM-DD"T"HH24:MI:SS.US"Z"'), '.000000Z', 'Z')"""
)
AS_IT_IS = dict.fromkeys(
    (
        *(serializers.IntegerField, serializers.BigIntegerField, serializers.FloatField),
        *(serializers.BooleanField, serializers.CharField, serializers.ChoiceField),
        *(serializers.SlugField, serializers.UUIDField, serializers.DateField),
        *(serializers.DecimalField, serializers.JSONField, serializers.PrimaryKeyRelatedField),
    ),
    "{}",
)
WAYS = {**AS_IT_IS, serializers.DateTimeField: INSTANT}
PLAIN = serializers.ModelSerializer
SAYS_OTHERWISE = ("__init__", "get_fields", "to_representation")  # of a row, or by who asks
NAMED = "trim((%s::jsonb ->> kind) || ' ' || label)"


class NotColumnsError(Exception):
    """A field shows more than a column."""


def with_json(
    rows: QuerySet[Any, Any], form: Any, site: Site, language: str
) -> QuerySet[Any, dict[str, Any]] | None:
    """Give rows as `pk` and `shown`, the JSON of what the serializer shows; None if it cannot."""
    sql = _written(form)
    if sql is None:
        return None
    words = [_words(language, json.dumps(site.words))] * sql.count("%s")
    shown = RawSQL(sql, words, TextField())  # noqa: S611  columns of our own
    found: QuerySet[Any, Any] = rows.prefetch_related(None).annotate(shown=shown)
    found = found.values("pk", "shown")
    found._iterable_class = PlannedRows
    return found


class PlannedRows(ValuesIterable):
    """`pk` and `shown` of rows, by a statement that the session plans once."""

    def __iter__(self) -> Iterator[dict[str, Any]]:
        """Ask, and give the rows."""
        query = self.queryset.query
        try:
            sql, parameters = query.get_compiler(self.queryset.db).as_sql()
        except EmptyResultSet:
            return
        numbered = sql % tuple(f"${n + 1}" for n in range(len(parameters)))
        with connection.cursor() as cursor:
            cursor.execute(planned(numbered, len(parameters)), parameters)
            found = cursor.fetchall()
        for row in found:
            yield dict(zip(("pk", "shown"), row, strict=True))


@lru_cache(maxsize=64)
def _words(language: str, own: str) -> str:
    site = Site(words=json.loads(own))
    return json.dumps({kind: word(site, language, kind) for kind in PlaceKind.values})


@cache
def _written(form: Any) -> str | None:
    if not issubclass(form, serializers.ModelSerializer):
        return None
    try:
        return f"({_object(form(), form.Meta.model, _table(form.Meta.model))}::text)"
    except NotColumnsError:
        return None


def _object(form: serializers.ModelSerializer[Any], model: type[Model], table: str) -> str:
    if any(getattr(type(form), name) is not getattr(PLAIN, name) for name in SAYS_OTHERWISE):
        raise NotColumnsError
    shown = [field for field in form.fields.values() if not field.write_only]
    named = (
        f"{_value(field, model, table)} AS {_quoted(str(field.field_name))}" for field in shown
    )
    return f"(SELECT row_to_json(shown) FROM (SELECT {', '.join(named)}) shown)"  # noqa: S608  names of our own


def _value(field: serializers.Field[Any, Any, Any, Any], model: type[Model], table: str) -> str:
    *path, last = str(field.source).split(".")
    if type(field) is PlaceRef:
        return _related([*path, last], model, table, _place)
    if type(field) is WhoField:
        return _related([*path, last], model, table, lambda _actor, of: f"{of}.name")
    way = WAYS.get(type(field))
    if way is None or {"format", "default_timezone"} & set(vars(field)["_kwargs"]):
        raise NotColumnsError
    return _related(path, model, table, lambda on, of: way.format(f"{of}.{_column(on, last)}"))


def _place(_model: type[Model], of: str) -> str:
    pairs = f"'id', {of}.id, 'key', {of}.key, 'kind', {of}.kind, 'name', {NAMED}"
    return f"json_build_object({pairs})"


def _related(
    path: list[str], model: type[Model], table: str, value: Callable[[type[Model], str], str]
) -> str:
    """Say a value of the row at the end of a path of foreign keys."""
    if not path:
        return value(model, table)
    name, *rest = path
    field = {one.name: one for one in model._meta.concrete_fields}.get(name)
    if not isinstance(field, ForeignKey):
        raise NotColumnsError
    other = field.related_model
    alias = f"{name}_of_{table}".replace('"', "")
    inner = _related(rest, other, alias, value)
    mine = f"{table}.{_quoted(field.column)}"
    key = _quoted(str(other._meta.pk.column))
    return f"(SELECT {inner} FROM {_table(other)} {alias} WHERE {alias}.{key} = {mine})"  # noqa: S608  names of our own


def _column(model: type[Model], name: str) -> str:
    if name == "pk":
        return _quoted(str(model._meta.pk.column))
    for field in model._meta.concrete_fields:
        if name in (field.name, field.attname):
            return _quoted(str(field.column))
    raise NotColumnsError


def _table(model: type[Model]) -> str:
    return _quoted(model._meta.db_table)


def _quoted(name: str) -> str:
    return connection.ops.quote_name(name)
