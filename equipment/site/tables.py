"""Lists as tables: CSV (RFC 4180) with its description by CSV on the Web (W3C, 2015-12-17)."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, get_type_hints

from django.db.models import Model, Q, QuerySet
from django.http import HttpResponse, StreamingHttpResponse
from django.utils.translation import get_language, override
from rest_framework import fields, relations, serializers
from rest_framework.renderers import BaseRenderer
from rest_framework.request import Request

ROWS_A_TIME = 500
SEPARATOR = ";"  # between the numbers of a cell
FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r", "\n")  # OWASP, CSV Injection
BOM = "\N{ZERO WIDTH NO-BREAK SPACE}"
GUARDED = "A text that a spreadsheet would take for a formula has an apostrophe before it."


class CsvRenderer(BaseRenderer):
    """Stands for a table, so that it may be asked for; the list itself writes it."""

    media_type = "text/csv"
    format = "csv"
    charset = "utf-8"


class SheetRenderer(CsvRenderer):
    """The same for spreadsheets, which know UTF-8 by its mark alone."""

    format = "sheet"


class MetadataRenderer(BaseRenderer):
    """Stands for the description of a table."""

    media_type = "application/csvm+json"
    format = "csvm"


TABLES = (CsvRenderer, SheetRenderer, MetadataRenderer)


def with_tables(renderers: list[BaseRenderer], action: str | None) -> list[BaseRenderer]:
    """Add tables to what a list may be asked for as; no action is a method that it has not."""
    return [*renderers, *(table() for table in TABLES if action in ("list", None))]


def is_table(request: Request) -> bool:
    """Whether a table or its description was asked for."""
    return isinstance(request.accepted_renderer, TABLES)


# Columns ----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Column:
    """One column: where its value is in a row as shown, and its CSVW datatype."""

    name: str
    path: tuple[str, ...]
    datatype: str
    about: str = ""
    is_list: bool = False


PLAIN: tuple[tuple[type[Any] | tuple[type[Any], ...], str], ...] = (
    (fields.BooleanField, "boolean"),
    ((fields.IntegerField, relations.PrimaryKeyRelatedField), "integer"),
    (fields.FloatField, "double"),
    (fields.DecimalField, "decimal"),
    (fields.DateTimeField, "datetime"),
    (fields.DateField, "date"),
    ((fields.CharField, fields.ChoiceField, fields.UUIDField, fields.TimeField), "string"),
    (relations.SlugRelatedField, "string"),
)
HINTS: dict[Any, str] = {bool: "boolean", int: "integer", float: "double", str: "string"}


def columns_of(serializer: Any, above: tuple[str, ...] = (), about: str = "") -> list[Column]:
    """Lay a serializer's fields out as columns; what is nested gets its name before its own."""
    found: list[Column] = []
    for name, field in serializer.fields.items():
        path = (*above, name)
        words = str(field.help_text or about or "")
        if isinstance(field, serializers.Serializer):
            found += columns_of(field, path, words)
        else:
            datatype, is_list = _datatype(field)
            found.append(Column("_".join(path), path, datatype, words, is_list))
    return found


def _datatype(field: Any) -> tuple[str, bool]:
    """Give a field's datatype, and whether a cell holds a list of it; json for all else."""
    if isinstance(field, serializers.SerializerMethodField):
        hint = get_type_hints(getattr(field.parent, field.method_name)).get("return")
        return HINTS.get(hint, "json"), False
    if isinstance(field, fields.DictField):
        return "json", False
    child = getattr(field, "child", None) or getattr(field, "child_relation", None)
    if child is None:
        return _plain(field), False
    inner = "json" if isinstance(child, serializers.BaseSerializer) else _plain(child)
    is_numbers = inner in ("integer", "double", "date") and not getattr(child, "allow_null", False)
    return (inner, True) if is_numbers else ("json", False)


def _plain(field: Any) -> str:
    if isinstance(field, fields.ChoiceField) and all(isinstance(key, int) for key in field.choices):
        return "integer"
    return next((word for types, word in PLAIN if isinstance(field, types)), "json")


# Rows -------------------------------------------------------------------------------------------


class _Echo:
    """A file that gives back what is written to it."""

    def write(self, text: str) -> str:
        return text


def lines_of(columns: Sequence[Column], rows: Iterable[dict[str, Any]], mark: str) -> Iterator[str]:
    """Write the head and the rows, each line ended by CRLF."""
    writer = csv.writer(_Echo())
    yield mark + str(writer.writerow([column.name for column in columns]))
    for row in rows:
        yield str(writer.writerow([cell_of(column, row) for column in columns]))


def cell_of(column: Column, row: dict[str, Any]) -> str:
    """Write one value; nothing where it, or what holds it, is null."""
    value: Any = row
    for name in column.path:
        value = value.get(name) if isinstance(value, dict) else None
    if value is None:
        return ""
    if column.datatype == "json":
        return json.dumps(value, ensure_ascii=False, separators=(",", ":"), default=str)
    if column.is_list:
        return SEPARATOR.join(_text(item) for item in value)
    if column.datatype == "string":
        return guarded(_text(value))
    return _text(value)


def _text(value: Any) -> str:
    return str(value).lower() if isinstance(value, bool) else str(value)


def guarded(text: str) -> str:
    """Keep a spreadsheet from reckoning with what somebody wrote."""
    return f"'{text}" if text.startswith(FORMULA_SIGNS) else text


def in_parts(rows: QuerySet[Any, Any], by: str = "pk") -> Iterator[Sequence[Model]]:
    """Read rows by their keys, so many at a time: a query and its prefetches each.

    `by` names a column of theirs that goes before the key.
    """
    rows, after = rows.order_by(*dict.fromkeys((by, "pk"))), Q()
    while True:
        part = list(rows.filter(after)[:ROWS_A_TIME])
        if not part:
            return
        yield part
        value, pk = getattr(part[-1], by), part[-1].pk
        after = Q(**{f"{by}__gt": value}) | Q(**{by: value, "pk__gt": pk})


# Answers ----------------------------------------------------------------------------------------


def file_name(request: Request, ending: str) -> str:
    """Name the file by what is below the API's root: three-cairns-machines-7-readings.csv."""
    parts = [part for part in request.path.split("/") if part]
    return "-".join(parts[3:] or parts[2:]) + ending


def answer_table(
    request: Request,
    serializer: Any,
    rows: QuerySet[Any, Any],
    show: Callable[[Sequence[Any]], Any],
    *,
    is_streamed: bool,
) -> HttpResponse | StreamingHttpResponse:
    """Answer with all rows as a table, or with the table's description.

    What is not streamed is whole before it is sent, so that its ETag can be reckoned.
    """
    columns = columns_of(serializer)
    if isinstance(request.accepted_renderer, MetadataRenderer):
        return _answer_metadata(request, serializer, columns)
    mark = BOM if isinstance(request.accepted_renderer, SheetRenderer) else ""
    shown = (row for part in in_parts(rows) for row in show(part))
    lines = in_language(lines_of(columns, shown, mark), get_language() or "en")
    answer: HttpResponse | StreamingHttpResponse
    content_type = "text/csv; charset=utf-8; header=present"
    if is_streamed:
        answer = StreamingHttpResponse(lines, content_type=content_type)
    else:
        answer = HttpResponse("".join(lines), content_type=content_type)
    answer["Content-Disposition"] = f'attachment; filename="{file_name(request, ".csv")}"'
    described = f'<{_address(request, "csvm")}>; rel="describedby"'
    answer["Link"] = f'{described}; type="{MetadataRenderer.media_type}"'
    return answer


def in_language(lines: Iterator[str], language: str) -> Iterator[str]:
    """A table is written after its view is done: in the language that the view spoke."""
    with override(language):
        yield from lines


def _address(request: Request, form: str) -> str:
    """Give the address of the same list in another form, absolute, without a place in pages."""
    query = request.query_params.copy()
    for name in ("cursor", "page_size"):
        query.pop(name, None)
    query["format"] = form
    return request.build_absolute_uri(f"{request.path}?{query.urlencode()}")


def _answer_metadata(request: Request, serializer: Any, columns: Sequence[Column]) -> HttpResponse:
    document = json.dumps(metadata_of(request, serializer, columns), ensure_ascii=False, indent=1)
    answer = HttpResponse(document, content_type=MetadataRenderer.media_type)
    name = file_name(request, ".csv-metadata.json")
    answer["Content-Disposition"] = f'inline; filename="{name}"'
    return answer


def metadata_of(request: Request, serializer: Any, columns: Sequence[Column]) -> dict[str, Any]:
    """Describe a table (Metadata Vocabulary for Tabular Data, sections 5.3, 5.5 and 5.6)."""
    keys = {"primaryKey": "id"} if any(column.name == "id" for column in columns) else {}
    return {
        "@context": ["http://www.w3.org/ns/csvw", {"@language": "en"}],
        "url": _address(request, "csv"),
        "dc:title": file_name(request, ""),
        "dc:description": " ".join((type(serializer).__doc__ or "").split()),
        "rdfs:comment": GUARDED,
        "dialect": {"encoding": "utf-8", "header": True},
        "tableSchema": {"columns": [_described(column) for column in columns], **keys},
    }


def _described(column: Column) -> dict[str, Any]:
    described: dict[str, Any] = {"name": column.name, "titles": column.name}
    described["datatype"] = column.datatype
    if column.is_list:
        described["separator"] = SEPARATOR
    if column.about:
        described["dc:description"] = column.about
    return described
