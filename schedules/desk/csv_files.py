"""Tables of the desk as CSV files (`equipment/site/tables.py` writes the lines)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from django.http import HttpResponse, StreamingHttpResponse

from equipment.site.tables import BOM, Column, in_language, lines_of

from .base import Desk

CONTENT_TYPE = "text/csv; charset=utf-8; header=present"


def csv_columns(*named: tuple[str, str]) -> list[Column]:
    """Give columns by name and datatype."""
    return [Column(name, (name,), datatype) for name, datatype in named]


def answer_csv(
    desk: Desk, columns: Sequence[Column], rows: Iterable[dict[str, Any]], name: str
) -> HttpResponse:
    """Answer with a whole table; `form=sheet` marks it for spreadsheets."""
    answer = HttpResponse("".join(_lines(desk, columns, rows)), content_type=CONTENT_TYPE)
    answer["Content-Disposition"] = _attachment(desk, name)
    return answer


def stream_csv(
    desk: Desk, columns: Sequence[Column], rows: Iterable[dict[str, Any]], name: str
) -> StreamingHttpResponse:
    """Answer with a table of any length, written as its rows are read."""
    lines = in_language(_lines(desk, columns, rows), desk.language)
    answer = StreamingHttpResponse(lines, content_type=CONTENT_TYPE)
    answer["Content-Disposition"] = _attachment(desk, name)
    return answer


def _lines(desk: Desk, columns: Sequence[Column], rows: Iterable[dict[str, Any]]) -> Iterator[str]:
    return lines_of(columns, rows, BOM if desk.request.GET.get("form") == "sheet" else "")


def _attachment(desk: Desk, name: str) -> str:
    return f'attachment; filename="{desk.caller.site.slug}-{name}.csv"'
