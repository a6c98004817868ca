"""What every room's API is made of: one site per address, cursor lists, one place for roles."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any, ClassVar, TypeVar

from django.db import models
from django.urls import URLPattern, URLResolver, register_converter
from rest_framework.mixins import ListModelMixin
from rest_framework.permissions import SAFE_METHODS
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter
from rest_framework.serializers import BaseSerializer, Serializer
from rest_framework.viewsets import GenericViewSet

from .callers import Caller, caller_on
from .models import LEADS, SHOP, Role
from .preconditions import answer_tagged, etag_of, etag_of_data, once

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
    If-Match; those in `tagged` give an ETag, as `retrieve` does.
    """

    roles: ClassVar[Mapping[str, Roles]] = {}
    query: ClassVar[type[Serializer[Any]] | None] = None
    lookups: ClassVar[Mapping[str, str]] = {}
    guarded: ClassVar[tuple[str, ...]] = ()
    tagged: ClassVar[tuple[str, ...]] = ()
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

    def get_queryset(self) -> models.QuerySet[M]:
        """Rows of the caller's site only."""
        rows = super().get_queryset()
        if getattr(self, "swagger_fake_view", False):
            return rows.none()
        return rows.filter(site=self.caller.site)

    def filter_queryset(self, queryset: models.QuerySet[M, Row_co]) -> models.QuerySet[M, Row_co]:
        """Narrow a list by its query parameters, each checked first."""
        rows = super().filter_queryset(queryset)
        if self.query is None or self.action != "list":
            return rows
        given = self.query(data=self.request.query_params.dict())
        given.is_valid(raise_exception=True)
        for name, value in given.validated_data.items():
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
    """Rows of the site, page by page."""

    def list(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Give a page of rows; `next` is in the body and in the Link header."""
        page = self.paginate_queryset(self.filter_queryset(self.get_queryset()))
        shown = self.get_serializer(self.viewed(page or []), many=True)
        return self.get_paginated_response(shown.data)


class ReadViewSet(ListViewSet[M]):
    """Rows of the site, page by page and one by one."""

    def retrieve(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Give one row with its ETag."""
        row = self.get_object()
        data = self.shown(row)
        return answer_tagged(request, data, tag_of(row, data))


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
