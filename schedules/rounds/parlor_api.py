"""The API of the parlor's day: plan against record, time away, the holding area, the order."""

from datetime import date
from typing import Any

from django.urls import URLPattern, path
from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from equipment.parlor.models import Parlor
from equipment.site.calc.local_time import local_date_of
from equipment.site.errors import NotFoundError
from equipment.site.preconditions import answer_tagged, etag_of_data
from equipment.site.rest import SiteViewSet
from equipment.site.restfields import KeyField, SaidInput

from .parlor_reads import HoldingDay, ParlorSummary, parlor_summary
from .services import set_milking_order

MOST_PENS = 200


class PaceOutput(serializers.Serializer[Any]):
    """The pace that the farm's settings give."""

    cows_per_h = serializers.FloatField()
    rotation_min = serializers.FloatField()


class RecordOutput(serializers.Serializer[Any]):
    """The pace of four weeks of recorded milkings, with its 90 % range, against the plan."""

    n_pens = serializers.IntegerField(source="fit.n")
    s_per_cow = serializers.FloatField(source="fit.s_per_cow")
    low_s = serializers.FloatField(source="fit.low_s")
    high_s = serializers.FloatField(source="fit.high_s")
    between_s = serializers.FloatField(source="fit.between_s")
    spread_s = serializers.FloatField(source="fit.spread_s")
    cows_per_h = serializers.FloatField()
    difference_frac = serializers.FloatField()
    loss_frac = serializers.FloatField()


class PenOrderOutput(serializers.Serializer[Any]):
    """An order of pens and what it costs people; `short_s` above 0: no order fits."""

    pens = serializers.ListField(child=serializers.IntegerField(), source="keys")
    cost_s = serializers.IntegerField()
    needed_s = serializers.IntegerField()
    short_s = serializers.IntegerField()
    n_washes = serializers.IntegerField()
    is_proven = serializers.BooleanField()


class OrderOutput(serializers.Serializer[Any]):
    """The farm's own order of the date's first milking, and the best one found."""

    slot = serializers.IntegerField()
    is_own_allowed = serializers.BooleanField()
    gain_s = serializers.IntegerField()
    own = PenOrderOutput()
    best = PenOrderOutput()


class TimeAwayOutput(serializers.Serializer[Any]):
    """A pen's time away: its longest milking, and all of the date's."""

    pen = serializers.IntegerField(source="pen_id")
    n_visits = serializers.IntegerField()
    longest_min = serializers.FloatField()
    day_min = serializers.FloatField()
    is_over = serializers.BooleanField()
    is_day_over = serializers.BooleanField()


class InHoldingOutput(serializers.Serializer[Any]):
    """Most cows in the holding area while a pen's are there; null where its area is not known."""

    pen = serializers.IntegerField(source="pen_id")
    slot = serializers.IntegerField()
    peak_cows = serializers.FloatField()
    m2_cow = serializers.FloatField(allow_null=True)
    is_over = serializers.BooleanField()


class LoadOutput(serializers.Serializer[Any]):
    """Cows in the holding area at an instant; between two of them the load runs straight."""

    at = serializers.DateTimeField()
    n_cows = serializers.FloatField()


class HoldingOutput(serializers.Serializer[Any]):
    """The holding area over the date, against its area."""

    area_m2 = serializers.FloatField(allow_null=True)
    limit_m2_cow = serializers.FloatField()
    wait_cow_min = serializers.FloatField()
    pens = InHoldingOutput(many=True)
    load = serializers.SerializerMethodField()

    @extend_schema_field(LoadOutput(many=True))
    def get_load(self, day: HoldingDay) -> list[dict[str, Any]]:
        """Give each instant its cows."""
        rows = [{"at": at, "n_cows": n_cows} for at, n_cows in day.load]
        return [dict(row) for row in LoadOutput(rows, many=True).data]


class ParlorOutput(serializers.Serializer[Any]):
    """The parlor on a date; null where nothing is planned, or too little recorded."""

    local_date = serializers.DateField()
    away_limit_min = serializers.FloatField(source="parlor.away_limit_min")
    away_day_limit_min = serializers.FloatField(source="parlor.away_day_limit_min")
    plan = PaceOutput(source="deck")
    record = RecordOutput(allow_null=True)
    away = TimeAwayOutput(many=True)
    holding = HoldingOutput(allow_null=True)
    order = OrderOutput(allow_null=True)


class ParlorQuery(serializers.Serializer[Any]):
    """Which local date; today where it is left out."""

    local_date = serializers.DateField(required=False)


class OrderInput(SaidInput):
    """Every milked pen once, in the order on the deck."""

    pens = serializers.ListField(child=KeyField(), min_length=1, max_length=MOST_PENS)


class TakenOrderOutput(serializers.Serializer[Any]):
    """The order that is the farm's from the next planned milking on."""

    pens = serializers.ListField(child=serializers.IntegerField())


class ParlorDayViewSet(SiteViewSet[Parlor]):
    """The parlor's day."""

    queryset = Parlor.objects.all()
    tagged = ("day",)

    @extend_schema(parameters=[ParlorQuery], responses=ParlorOutput)
    def day(self, request: Request, slug: str) -> Response:
        """Say plan and record, time away, the load of the holding area, and a better order."""
        asked = ParlorQuery(data=request.query_params.dict())
        asked.is_valid(raise_exception=True)
        today = local_date_of(self.now, self.caller.site.zone)
        data = ParlorOutput(self._summary(asked.validated_data.get("local_date", today))).data
        return answer_tagged(request, data, etag_of_data(data))

    def _summary(self, local_date: date) -> ParlorSummary:
        found = parlor_summary(self.caller.site.pk, local_date, self.now)
        if found is None:
            raise NotFoundError(_("The farm file names no parlor in use."))
        return found

    @extend_schema(request=OrderInput, responses={201: TakenOrderOutput})
    def order(self, request: Request, slug: str) -> Response:
        """Make an order the farm's, from the next planned milking on."""

        def put() -> Response:
            said = self.said(OrderInput)
            set_milking_order(site_id=said["site_id"], pen_ids=said["pens"], at=self.now)
            return Response(TakenOrderOutput(said).data, status=201)

        return self.once(put)


parlor_routes: list[URLPattern] = [
    path(
        "sites/<slug:slug>/parlor-day/",
        ParlorDayViewSet.as_view({"get": "day"}),
        name="api-parlor-day",
    ),
    path(
        "sites/<slug:slug>/milking-order/",
        ParlorDayViewSet.as_view({"post": "order"}),
        name="api-milking-order",
    ),
]
