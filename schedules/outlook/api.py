"""The API of the year ahead: ask for one, follow it, stop it, read it."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.urls import URLPattern, URLResolver
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from equipment.site.rest import ReadViewSet, site_routes
from equipment.site.restfields import FiniteField

from . import services
from .models import OutlookRun
from .queries import runs_of


class YearAheadOutput(serializers.ModelSerializer[OutlookRun]):
    """A year ahead: its inputs, seed and code version, how far it is, and what came of it."""

    n_parts = serializers.IntegerField(read_only=True)
    n_parts_done = serializers.IntegerField(read_only=True)
    result = serializers.DictField(read_only=True, allow_null=True)

    class Meta:
        model = OutlookRun
        fields = [
            "id",
            "made_at",
            "state",
            "seed",
            "n_members",
            "n_parts",
            "n_parts_done",
            "inputs",
            "inputs_hash",
            "code_version",
            "libraries",
            "result",
            "digest",
            "error",
            "finished_at",
        ]


class ChangeInput(serializers.Serializer[Any]):
    """One change of the farm to compare with; what is left out stays as it is."""

    cure_d = serializers.IntegerField(min_value=0, max_value=365, required=False)
    turns_per_d = serializers.IntegerField(min_value=0, max_value=6, required=False)
    recovery_frac = FiniteField(min_value=0, max_value=1, required=False)
    rain_factor = FiniteField(min_value=0, max_value=10, required=False)
    more_cows_frac = FiniteField(min_value=-0.9, max_value=1, required=False)
    without_pad = serializers.SlugField(max_length=80, required=False)


class YearAheadInput(serializers.Serializer[Any]):
    """How many members, from which seed, and compared with what."""

    n_members = serializers.IntegerField(min_value=2, max_value=10_000, default=services.MEMBERS)
    seed = serializers.IntegerField(min_value=0, max_value=2**62, required=False)
    change = ChangeInput(required=False)


class AskedOutput(serializers.Serializer[Any]):
    """That it was asked for, and the seed that it will have."""

    seed = serializers.IntegerField()


class YearAheadViewSet(ReadViewSet[OutlookRun]):
    """Years ahead, newest first."""

    queryset = OutlookRun.objects.all()
    serializer_class = YearAheadOutput

    def get_queryset(self) -> QuerySet[OutlookRun]:
        """Give those of the caller's site."""
        return runs_of(self.caller.site.pk)

    @extend_schema(request=YearAheadInput, responses={202: AskedOutput})
    def create(self, request: Request, slug: str) -> Response:
        """Ask for a year ahead; it is reckoned in the background."""

        def ask() -> Response:
            seed = services.ask_year(**self.said(YearAheadInput), at=self.now)
            return Response({"seed": seed}, status=202)

        return self.once(ask)

    @extend_schema(request=None, responses=YearAheadOutput)
    @action(detail=True, methods=["post"])
    def stop(self, request: Request, slug: str, pk: str) -> Response:
        """Let it rest after the part it is at."""
        return self._turn(services.stop_run)

    @extend_schema(request=None, responses=YearAheadOutput)
    @action(detail=True, methods=["post"])
    def resume(self, request: Request, slug: str, pk: str) -> Response:
        """Go on with one that was stopped."""
        return self._turn(services.resume_run)

    def _turn(self, verb: Any) -> Response:
        def do() -> Response:
            run = self.get_object()
            verb(site_id=self.caller.site.pk, run_id=run.pk, at=self.now)
            return Response(self.shown(self.get_object()))

        return self.once(do)


urlpatterns: list[URLPattern | URLResolver] = site_routes({"year-ahead": YearAheadViewSet})
