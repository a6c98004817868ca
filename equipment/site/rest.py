"""What every room's API is made of: one site per address, cursor lists, one place for roles."""

from __future__ import annotations

import builtins
import re
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from functools import lru_cache, reduce
from operator import or_
from typing import Any, ClassVar, TypeVar

from django.db import models
from django.http import HttpResponseNotModified
from django.http.response import HttpResponseBase
from django.urls import URLPattern, URLResolver, register_converter, reverse
from django.utils.cache import patch_vary_headers
from django.utils.http import parse_etags
from django.utils.translation import get_language
from rest_framework.fields import empty
from rest_framework.mixins import ListModelMixin
from rest_framework.permissions import SAFE_METHODS
from rest_framework.renderers import BaseRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter
from rest_framework.serializers import BaseSerializer, Serializer
from rest_framework.viewsets import GenericViewSet

from .callers import Caller, caller_on
from .json_rows import with_json
from .models import LEADS, SHOP, Role
from .preconditions import (
    Asked,
    answer_tagged,
    etag_of,
    etag_of_data,
    etag_of_state,
    once,
    rests_on,
)
from .preferences import apply_preferences
from .queries import current_language
from .restfields import SinceQuery
from .tables import answer_table, is_table, with_tables

M = TypeVar("M", bound=models.Model)
Row_co = TypeVar("Row_co", covariant=True)
Roles = tuple[str, ...]

EVERYONE: Roles = (*SHOP, Role.WORKER)


class KeyConverter:
    """A row's key in an address; more digits than the database counts are no address."""

    regex = "[0-9]{1,18}"

    def to_python(self, value: str) -> int:
        """Read the key."""
        return int(value)

    def to_url(self, value: int) -> str:
        """Write the key."""
        return str(value)


register_converter(KeyConverter, "key")


class SiteViewSet(GenericViewSet[M]):
    """A viewset below `sites/<slug>/`: the caller is known, rows of other sites do not exist.

    `roles` says who may do an unsafe action, leads where it says nothing. `query` reads the
    list's parameters and `lookups` turns each into a condition. Actions in `guarded` ask for
    If-Match; those in `tagged` give an ETag, as `retrieve` does. What an action in `made_at` makes
    has its own address under that name.
    """

    roles: ClassVar[Mapping[str, Roles]] = {}
    query: ClassVar[type[Serializer[Any]] | None] = None
    lookups: ClassVar[Mapping[str, str]] = {}
    guarded: ClassVar[tuple[str, ...]] = ()
    tagged: ClassVar[tuple[str, ...]] = ()
    made_at: ClassVar[Mapping[str, str]] = {}
    lookup_value_converter = "key"
    caller: Caller
    now: datetime

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Find the caller's site and role before anything else."""
        self.now = datetime.now(UTC)
        super().initial(request, *args, **kwargs)
        self.caller = caller_on(request.user, kwargs["slug"])
        if self.action and request.method not in SAFE_METHODS:
            self.caller.require(*self.roles.get(self.action, LEADS))

    def finalize_response(
        self, request: Request, response: Response, *args: Any, **kwargs: Any
    ) -> Response:
        """Say where what was made is found; leave away what the caller would rather not have."""
        answer = super().finalize_response(request, response, *args, **kwargs)
        if request.method not in SAFE_METHODS:
            if name := self.made_at.get(self.action or ""):
                self._name_address(answer, name)
            apply_preferences(request, answer)
        return answer

    def _name_address(self, answer: Response, name: str) -> None:
        if answer.status_code == 201:
            key = {"slug": self.kwargs["slug"], "pk": answer.data["id"]}
            answer["Location"] = reverse(name, kwargs=key)
        elif answer.status_code == 202:
            answer["Location"] = reverse(name, kwargs={"slug": self.kwargs["slug"]})

    def get_queryset(self) -> models.QuerySet[M]:
        """Rows of the caller's site only."""
        rows = super().get_queryset()
        if getattr(self, "swagger_fake_view", False):
            return rows.none()
        return rows.filter(site_id=self.caller.site.pk)

    def filter_queryset(self, queryset: models.QuerySet[M, Row_co]) -> models.QuerySet[M, Row_co]:
        """Narrow a list by its query parameters, each checked first."""
        rows = super().filter_queryset(queryset)
        if self.query is None or self.action != "list":
            return rows
        for name, value in read_query(self.request, self.query).items():
            rows = rows.filter(**{self.lookups[name]: value})  # one by one: each for itself
        return rows

    def get_serializer_context(self) -> dict[str, Any]:
        """Serializers name things in the caller's language and the site's words."""
        context = {**super().get_serializer_context()}
        if not getattr(self, "swagger_fake_view", False):
            context |= {"caller": self.caller, "now": self.now}
        return context

    def viewed(self, rows: Sequence[M]) -> Sequence[Any]:
        """Give what the serializer shows of rows, in their order: the rows themselves, or more."""
        return rows

    def shown(self, row: M) -> Any:
        """One row as the API shows it."""
        [view] = self.viewed([row])
        return self.get_serializer(view).data

    def read(self, form: type[BaseSerializer[Any]]) -> dict[str, Any]:
        """Check the body against its input serializer."""
        given = form(data=self.request.data, context=self.get_serializer_context())
        given.is_valid(raise_exception=True)
        return dict(given.validated_data)

    def said(self, form: type[BaseSerializer[Any]]) -> dict[str, Any]:
        """Read the body and add what every verb takes: which site, by whom."""
        return {**self.read(form), "site_id": self.caller.site.pk, "by": self.caller.actor}

    def once(self, do: Callable[[], Response]) -> Response:
        """Do an unsafe call once for its Idempotency-Key."""
        return once(self.request, self.caller, self.now, do)


class ListViewSet(ListModelMixin, SiteViewSet[M]):
    """Rows of the site, page by page.

    `is_of_state` says that rows read the same until the site's version moves: then a 304 costs no
    list. What is reckoned from the clock is not. `stamps` are the times of change that
    `updated_since` looks at: of the row and of what is shown as part of it.
    """

    is_of_state: ClassVar[bool] = True
    stamps: ClassVar[tuple[str, ...]] = ("changed_at",)

    def filter_queryset(self, queryset: models.QuerySet[M, Row_co]) -> models.QuerySet[M, Row_co]:
        """Narrow a list by its query parameters and by when rows changed."""
        rows = super().filter_queryset(queryset)
        since = read_query(self.request, SinceQuery).get("updated_since")
        if self.action != "list" or since is None:
            return rows
        changed = self.changed_since(since)
        keys = queryset.model._default_manager.filter(changed, site=self.caller.site)
        return rows.filter(pk__in=keys.values("pk"))

    def changed_since(self, since: datetime) -> models.Q:
        """Say which rows changed at a time or later, by their stamps."""
        return reduce(or_, (models.Q(**{f"{stamp}__gte": since}) for stamp in self.stamps))

    def get_renderers(self) -> builtins.list[BaseRenderer]:
        """Give a list as a table too."""
        return with_tables(super().get_renderers(), self.action)

    def list(self, request: Request, *args: Any, **kwargs: Any) -> Any:
        """Give a page of rows; `next` is in the body and in the Link header.

        As a table (`text/csv`) it gives all rows at once.
        """
        asked = self._asked(request) if self.is_of_state else None
        etag = etag_of_state(asked, rests_on(self.caller)) if asked else ""
        if etag and etag in parse_etags(request.headers.get("If-None-Match", "")):
            answer: HttpResponseBase = HttpResponseNotModified()
        else:
            rows = self.filter_queryset(self.get_queryset())
            answer = self._table(rows) if is_table(request) else self._page(rows)
        patch_vary_headers(answer, ["Accept"])
        if asked:
            answer["ETag"] = etag
            answer.asked = asked  # type: ignore[attr-defined]  # what a 304 needs to know of it
        return answer

    def _asked(self, request: Request) -> Asked:
        media_type = request.accepted_media_type or ""
        address = request.build_absolute_uri()
        return Asked(self.kwargs["slug"], address, media_type, get_language() or "")

    def _shown(self, rows: Sequence[M]) -> Any:
        return self.get_serializer(self.viewed(rows), many=True).data

    def _page(self, rows: models.QuerySet[M]) -> HttpResponseBase:
        if (written := self._written(rows)) is None:
            return self.get_paginated_response(self._shown(self.paginate_queryset(rows) or []))
        page = self.paginate_queryset(written) or []
        pages: Any = self.paginator
        answer: HttpResponseBase = pages.get_written_response([row["shown"] for row in page])
        return answer

    def _written(self, rows: models.QuerySet[M]) -> models.QuerySet[M, dict[str, Any]] | None:
        """Rows as the database writes them, where they show nothing that is reckoned."""
        if type(self).viewed is not SiteViewSet.viewed or self.serializer_class is None:
            return None
        return with_json(rows, self.serializer_class, self.caller.site, current_language())

    def _table(self, rows: models.QuerySet[M]) -> HttpResponseBase:
        form = self.get_serializer()
        return answer_table(self.request, form, rows, self._shown, is_streamed=self.is_of_state)


class ReadViewSet(ListViewSet[M]):
    """Rows of the site, page by page and one by one."""

    def retrieve(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Give one row with its ETag."""
        row = self.get_object()
        data = self.shown(row)
        return answer_tagged(request, data, tag_of(row, data))


def read_query(request: Request, form: type[Serializer[Any]]) -> dict[str, Any]:
    """Check the query parameters that a form knows."""
    if not _asks_about(form, frozenset(request.query_params)):
        return {}
    given = form(data=request.query_params.dict())
    given.is_valid(raise_exception=True)
    return dict(given.validated_data)


@lru_cache(maxsize=1024)  # callers choose the names
def _asks_about(form: Any, names: frozenset[str]) -> bool:
    """Whether a form has anything to say where these names are given."""
    return any(
        field.required or field.default is not empty or field.field_name in names
        for field in form().fields.values()
    )


def tag_of(row: models.Model, data: Any) -> str:
    """Give a row's ETag: its version where it has one, else a digest of what is shown."""
    return etag_of(row) if hasattr(row, "version") else etag_of_data(data)


def site_routes(viewsets: Mapping[str, type[SiteViewSet[Any]]]) -> list[URLPattern | URLResolver]:
    """Give the addresses of a room's viewsets, each below its site."""
    router = SimpleRouter(use_regex_path=False)
    for prefix, viewset in viewsets.items():
        name = "api-" + re.sub("/<[^>]+>", "", prefix).replace("/", "-")
        router.register(f"sites/<slug:slug>/{prefix}", viewset, basename=name)
    return router.urls
