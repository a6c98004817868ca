"""The API of the sand loop: batches and what people do to them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Any

from django.db.models import Q, QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from equipment.site.api import HoldOutput
from equipment.site.models import HoldSubject
from equipment.site.queries import held_since
from equipment.site.rest import EVERYONE, ListViewSet, ReadViewSet, site_routes
from equipment.site.restfields import FiniteField, KeyField, ReasonInput, SaidInput
from equipment.site.services import put_hold

from . import lane_api, services, stock_api
from .models import MOST_KG, Batch, MoistureTest, Stage
from .queries import BatchView, views_of, with_history
from .shapes import BatchOutput, MoistureTestOutput


class BatchQuery(serializers.Serializer[Any]):
    """Which batches."""

    stage = serializers.ChoiceField(choices=Stage.choices, required=False)
    is_live = serializers.BooleanField(required=False, help_text="Whether it still holds sand.")


class SpreadInput(SaidInput):
    """On which bay."""

    bay = KeyField()


class PileInput(SaidInput):
    """On which pile place."""

    pile_place = KeyField()


class CuredInput(SaidInput):
    """Before its date only with a reason."""

    reason = serializers.CharField(max_length=300, allow_blank=True, default="")


class BedInput(SaidInput):
    """Into which pen, and how much; a younger batch before an older one needs a reason."""

    pen = KeyField()
    dry_kg = FiniteField(min_value=1, max_value=MOST_KG)
    reason = serializers.CharField(max_length=300, allow_blank=True, default="")


class CountInput(ReasonInput):
    """How much there is, and how it was found."""

    dry_kg = FiniteField(min_value=1, max_value=MOST_KG)


class DisposeInput(ReasonInput):
    """How much is taken out of the loop, and why."""

    dry_kg = FiniteField(min_value=1, max_value=MOST_KG)


class MeasureInput(SaidInput):
    """The foot of a pile, by tape."""

    length_m = FiniteField(min_value=0.5, max_value=300)
    width_m = FiniteField(min_value=0.5, max_value=300)


class BatchViewSet(ReadViewSet[Batch]):
    """Batches of sand. Only what a person does moves a stage."""

    queryset = with_history(Batch.objects.all())
    serializer_class = BatchOutput
    query = BatchQuery
    lookups = {"stage": "stage", "is_live": "ended_at__isnull"}
    made_at = {"hold": "api-holds-detail"}
    stamps = (
        "changed_at",
        "moves__changed_at",
        "steps__changed_at",
        "tests__changed_at",
        "forecasts__changed_at",
    )

    def changed_since(self, since: datetime) -> Q:
        """Count holds in: they name their batch by its key."""
        return super().changed_since(since) | Q(pk__in=held_since(HoldSubject.BATCH, since))

    def viewed(self, rows: Sequence[Batch]) -> Sequence[BatchView]:
        """Add mass, hold, turns, test and forecast: 5 queries for any number of rows."""
        return views_of(self.caller.site.pk, rows)

    def _step(self, verb: Callable[..., Batch], said: dict[str, Any]) -> Response:
        batch = verb(batch_id=self.kwargs["pk"], **said)
        return Response(self.shown(self.get_queryset().get(pk=batch.pk)))

    @extend_schema(request=SpreadInput, responses=BatchOutput)
    @action(detail=True, methods=["post"])
    def spread(self, request: Request, slug: str, pk: int) -> Response:
        """Spread a draining batch over a free bay."""

        def step() -> Response:
            said = self.said(SpreadInput)
            return self._step(services.spread, {"bay_id": said.pop("bay"), **said})

        return self.once(step)

    @extend_schema(request=SaidInput, responses=BatchOutput)
    @action(detail=True, methods=["post"])
    def turn(self, request: Request, slug: str, pk: int) -> Response:
        """Say that a drying batch was turned."""
        return self.once(lambda: self._step(services.turn, self.said(SaidInput)))

    @extend_schema(request=PileInput, responses=BatchOutput)
    @action(detail=True, methods=["post"])
    def pile(self, request: Request, slug: str, pk: int) -> Response:
        """Bring a bay's sand to a pile place; the answer is the pile, a batch of its own."""

        def step() -> Response:
            said = self.said(PileInput)
            return self._step(services.pile, {"pile_place_id": said.pop("pile_place"), **said})

        return self.once(step)

    @extend_schema(request=SaidInput, responses=BatchOutput)
    @action(detail=True, methods=["post"])
    def close(self, request: Request, slug: str, pk: int) -> Response:
        """Close what is filled: a draining batch, whose drain time runs, or a pile, whose cure."""
        is_draining = self.get_object().stage == Stage.DRAINING
        verb = services.close_draining if is_draining else services.close_pile
        return self.once(lambda: self._step(verb, self.said(SaidInput)))

    @extend_schema(request=CuredInput, responses=BatchOutput)
    @action(detail=True, methods=["post"])
    def cured(self, request: Request, slug: str, pk: int) -> Response:
        """Say that a closed pile is cured; before its date only with a reason."""
        return self.once(lambda: self._step(services.mark_cured, self.said(CuredInput)))

    @extend_schema(request=SaidInput, responses=BatchOutput)
    @action(detail=True, methods=["post"])
    def release(self, request: Request, slug: str, pk: int) -> Response:
        """Release a cured batch for bedding, in the caller's name."""
        return self.once(lambda: self._step(services.release, self.said(SaidInput)))

    @extend_schema(request=BedInput, responses=BatchOutput)
    @action(detail=True, methods=["post"])
    def bed(self, request: Request, slug: str, pk: int) -> Response:
        """Bring released sand into a pen's beds; the oldest goes first."""

        def step() -> Response:
            said = self.said(BedInput)
            return self._step(services.bed, {"pen_id": said.pop("pen"), **said})

        return self.once(step)

    @extend_schema(request=CountInput, responses=BatchOutput)
    @action(detail=True, methods=["post"])
    def count(self, request: Request, slug: str, pk: int) -> Response:
        """Set a batch to what was counted; the ledger keeps the difference."""
        return self.once(lambda: self._step(services.count, self.said(CountInput)))

    @extend_schema(request=MeasureInput, responses=BatchOutput)
    @action(detail=True, methods=["post"])
    def measure(self, request: Request, slug: str, pk: int) -> Response:
        """Count a pile by its measured foot and the farm's slope and bulk density."""
        return self.once(lambda: self._step(services.measure, self.said(MeasureInput)))

    @extend_schema(request=DisposeInput, responses=BatchOutput)
    @action(detail=True, methods=["post"])
    def dispose(self, request: Request, slug: str, pk: int) -> Response:
        """Take spoiled sand out of the loop, with the reason."""
        return self.once(lambda: self._step(services.dispose, self.said(DisposeInput)))

    @extend_schema(request=ReasonInput, responses={201: HoldOutput})
    @action(detail=True, methods=["post"])
    def hold(self, request: Request, slug: str, pk: int) -> Response:
        """Hold a batch with the reason; the same reason again changes nothing."""
        batch = self.get_object()

        def put() -> Response:
            hold = put_hold(
                subject_kind=HoldSubject.BATCH, subject_id=batch.pk, **self.said(ReasonInput)
            )
            return Response(HoldOutput(hold).data, status=201)

        return self.once(put)


class MoistureTestInput(SaidInput):
    """A moisture test; the basis is always stated."""

    moisture_frac = FiniteField(min_value=0, max_value=0.9)
    basis = serializers.ChoiceField(choices=["wb", "db"])
    n_spots = serializers.IntegerField(min_value=1, max_value=50, default=1)
    depth_m = FiniteField(min_value=0, max_value=3, allow_null=True, default=None)


class MoistureTestViewSet(ListViewSet[MoistureTest]):
    """Moisture tests of a batch."""

    queryset = MoistureTest.objects.select_related("by")
    serializer_class = MoistureTestOutput
    roles = {"create": EVERYONE}

    def get_queryset(self) -> QuerySet[MoistureTest]:
        """Only those of the batch in the address, which must be the site's."""
        rows = super().get_queryset()
        if getattr(self, "swagger_fake_view", False):
            return rows
        batches = Batch.objects.filter(site=self.caller.site)
        return rows.filter(batch=get_object_or_404(batches, pk=self.kwargs["batch_id"]))

    @extend_schema(request=MoistureTestInput, responses={201: MoistureTestOutput})
    def create(self, request: Request, slug: str, batch_id: int) -> Response:
        """Add a moisture test; the dates of the batch follow from it."""

        def add() -> Response:
            said = self.said(MoistureTestInput)
            test = services.add_moisture_test(batch_id=batch_id, **said)
            return Response(self.shown(test), status=201)

        return self.once(add)


urlpatterns = [
    *site_routes(
        {
            "batches": BatchViewSet,
            "batches/<key:batch_id>/moisture-tests": MoistureTestViewSet,
        }
    ),
    *stock_api.urlpatterns,
    *lane_api.urlpatterns,
]
