"""The API of the sand at hand: the stock and its ledger, what is bought, what the beds got."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.db.models import Q, QuerySet
from django.urls import URLPattern, URLResolver, path
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from equipment.barns.models import Pen
from equipment.site.preconditions import answer_tagged, etag_of_data
from equipment.site.rest import ListViewSet, SiteViewSet, site_routes
from equipment.site.restfields import (
    FiniteField,
    InstantField,
    KeyField,
    PlaceRef,
    SaidInput,
    WhoField,
)

from . import services
from .ledger import account_balances_kg
from .models import MOST_KG, AccountKind, Batch, SandAccount, SandMove
from .queries import BatchView, SandStock, beddings, sand_stock, views_of, with_history
from .shapes import BatchOutput


class DeliveryInput(SaidInput):
    """Bought sand: where it was put, how much, how wet."""

    pile_place = KeyField()
    dry_kg = FiniteField(min_value=1, max_value=MOST_KG)
    moisture_wb_frac = FiniteField(min_value=0, max_value=0.9, default=0.04)


class DeliveryViewSet(SiteViewSet[Batch]):
    """Sand that was bought."""

    queryset = with_history(Batch.objects.all())
    serializer_class = BatchOutput

    def viewed(self, rows: Sequence[Batch]) -> Sequence[BatchView]:
        """Show the batch as everywhere: 5 queries."""
        return views_of(self.caller.site.pk, rows)

    @extend_schema(request=DeliveryInput, responses={201: BatchOutput})
    def create(self, request: Request, slug: str) -> Response:
        """Take in bought sand as a batch of its own, cured; a named person releases it."""

        def take_in() -> Response:
            said = self.said(DeliveryInput)
            batch = services.receive_delivery(pile_place_id=said.pop("pile_place"), **said)
            return Response(self.shown(self.get_queryset().get(pk=batch.pk)), status=201)

        return self.once(take_in)


class BeddingOutput(serializers.ModelSerializer[SandMove]):
    """Sand of one batch that came into a pen's beds."""

    batch_number = serializers.IntegerField(source="batch.number", read_only=True)
    by = WhoField()

    class Meta:
        model = SandMove
        fields = ["id", "batch", "batch_number", "dry_kg", "low_kg", "high_kg", "at", "by"]


class BeddingQuery(serializers.Serializer[Any]):
    """Of which time."""

    from_at = InstantField(required=False)
    until_at = InstantField(required=False, help_text="The first moment after.")


class BeddingViewSet(ListViewSet[SandMove]):
    """Which batches came into a pen's beds, and when: from a pen back to its sand."""

    queryset = SandMove.objects.all()
    serializer_class = BeddingOutput
    query = BeddingQuery
    lookups = {"from_at": "at__gte", "until_at": "at__lt"}

    def get_queryset(self) -> QuerySet[SandMove]:
        """Only those of the pen in the address, which must be the site's."""
        if getattr(self, "swagger_fake_view", False):
            return super().get_queryset()
        site_id = self.caller.site.pk
        pen = get_object_or_404(Pen.objects.filter(site_id=site_id), pk=self.kwargs["pen_id"])
        return beddings(site_id).filter(target__place_id=pen.pk)


class StockOutput(serializers.Serializer[SandStock]):
    """Days until released sand falls below the safety stock."""

    days_d = serializers.FloatField(allow_null=True)
    released_kg = serializers.FloatField()
    safety_stock_kg = serializers.FloatField()
    use_kg_d = serializers.FloatField()
    is_use_measured = serializers.BooleanField(help_text="By what was bedded, else by plan.")


class StockViewSet(SiteViewSet[Batch]):
    """The stock of clean dry sand."""

    queryset = Batch.objects.all()
    tagged = ("stock",)

    @extend_schema(responses=StockOutput)
    def stock(self, request: Request, slug: str) -> Response:
        """Say how many days of sand there are."""
        data = StockOutput(sand_stock(self.caller.site.pk, self.now)).data
        return answer_tagged(request, data, etag_of_data(data))


class AccountOutput(serializers.Serializer[Any]):
    """One side of the ledger of dry sand; all balances sum to zero."""

    id = serializers.IntegerField(source="account.pk")
    kind = serializers.ChoiceField(source="account.kind", choices=AccountKind.choices)
    place = PlaceRef(source="account.place", allow_null=True)
    balance_kg = serializers.FloatField()


class AccountViewSet(ListViewSet[SandAccount]):
    """Accounts of the sand ledger."""

    queryset = SandAccount.objects.select_related("place")
    serializer_class = AccountOutput

    def changed_since(self, since: datetime) -> Q:
        """Count in what moved: the balance is another then."""
        moves = SandMove.objects.filter(changed_at__gte=since)
        moved = Q(pk__in=moves.values("source_id")) | Q(pk__in=moves.values("target_id"))
        return super().changed_since(since) | moved

    def viewed(self, rows: Sequence[SandAccount]) -> Sequence[dict[str, Any]]:
        """Add the balances: 2 queries."""
        balances = account_balances_kg(self.caller.site.pk)
        return [{"account": row, "balance_kg": balances.get(row.pk, 0.0)} for row in rows]


urlpatterns: list[URLPattern | URLResolver] = [
    *site_routes(
        {
            "pens/<key:pen_id>/beddings": BeddingViewSet,
            "sand-accounts": AccountViewSet,
            "sand-deliveries": DeliveryViewSet,
        }
    ),
    path(
        "sites/<slug:slug>/sand-stock/",
        StockViewSet.as_view({"get": "stock"}),
        name="api-sand-stock",
    ),
]
