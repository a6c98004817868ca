"""The desk's addresses and a bare view beside them, for `page_figures`."""

import json
from collections.abc import Sequence

from django.db import connection
from django.http import HttpRequest, HttpResponse
from django.urls import include, path

STATEMENTS: list[str] = []


def rows_as_json(statements: Sequence[str]) -> str:
    """Run statements as they stand and write their rows as JSON."""
    found = []
    with connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement.replace("%", "%%"), ())
            found.append(cursor.fetchall())
    return json.dumps(found, default=str)


def bare(request: HttpRequest) -> HttpResponse:
    """Answer with the rows of `STATEMENTS`."""
    return HttpResponse(rows_as_json(STATEMENTS), content_type="application/json")


urlpatterns = [path("bare/", bare), path("", include("config.urls"))]
