"""Pages of lists: by cursor, so that a list that grows meanwhile neither skips nor repeats."""

import json
import re
from collections.abc import Sequence
from typing import Any

from django.http import HttpResponse
from django.http.response import HttpResponseBase
from django.utils.translation import gettext as _
from rest_framework.exceptions import NotFound, ValidationError
from rest_framework.fields import IntegerField
from rest_framework.pagination import CursorPagination
from rest_framework.request import Request
from rest_framework.response import Response


class CursorPages(CursorPagination):
    page_size = 50
    page_size_query_param = "page_size"
    max_page_size = 200
    ordering = "pk"

    def get_page_size(self, request: Request) -> int | None:
        """Refuse what is no number; too many rows are as many as there may be."""
        given = request.query_params.get(self.page_size_query_param, "0")
        if not re.fullmatch("-?[0-9]{1,18}", given):
            words = IntegerField.default_error_messages["invalid"]
            raise ValidationError({self.page_size_query_param: [words]})
        return super().get_page_size(request)

    def decode_cursor(self, request: Request) -> Any:
        """Refuse a cursor of somebody's own making: its position is a row's key."""
        cursor = super().decode_cursor(request)
        if cursor and cursor.position and not re.fullmatch("[0-9]{1,18}", str(cursor.position)):
            raise NotFound(_("There is no such page. Begin again without the cursor."))
        return cursor

    def get_paginated_response(self, data: Any) -> Response:
        """Name the neighbours in the body and, for plain HTTP clients, in `Link` (RFC 8288)."""
        response = super().get_paginated_response(data)
        _name_neighbours(response, response.data["next"], response.data["previous"])
        return response

    def get_written_response(self, rows: Sequence[str]) -> HttpResponse:
        """Give a page of rows that are JSON already."""
        following, previous = self.get_next_link(), self.get_previous_link()
        head = f'"next":{json.dumps(following)},"previous":{json.dumps(previous)}'
        body = f'{{{head},"results":[{",".join(rows)}]}}'
        response = HttpResponse(body, content_type="application/json")
        _name_neighbours(response, following, previous)
        return response


def _name_neighbours(
    response: HttpResponseBase, following: str | None, previous: str | None
) -> None:
    neighbours = {"next": following, "prev": previous}
    links = [f'<{url}>; rel="{rel}"' for rel, url in neighbours.items() if url]
    if links:
        response["Link"] = ", ".join(links)
