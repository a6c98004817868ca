"""The API of the ground floor: the caller's sites, their places, and what is held."""

import builtins
from typing import Any

from django.db.models import QuerySet
from django.urls import path
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.mixins import ListModelMixin
from rest_framework.renderers import BaseRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import GenericViewSet

from .callers import caller_on, sites_for
from .models import SHOP, Hold, HoldSubject, Place, PlaceKind, Site
from .preconditions import answer_tagged, etag_of_data
from .queries import site_version
from .rest import ReadViewSet, read_query, site_routes
from .restfields import PlaceRef, SaidInput, SinceQuery, WhoField
from .services import clear_hold
from .tables import answer_table, is_table, with_tables


class SiteOutput(serializers.ModelSerializer[Site]):
    """One dairy: its clock, its place on earth, its units and its own words."""

    class Meta:
        model = Site
        fields = [
            "slug",
            "name",
            "time_zone",
            "latitude_deg",
            "longitude_deg",
            "elevation_m",
            "language",
            "units",
            "clock_h",
            "words",
        ]


class SiteDetail(SiteOutput):
    """A site, what the caller may be on it, and how far it has come."""

    role = serializers.CharField()
    version = serializers.IntegerField(help_text="Count of what was committed on this site.")

    class Meta(SiteOutput.Meta):
        fields = [*SiteOutput.Meta.fields, "role", "version"]


class SitesViewSet(ListModelMixin, GenericViewSet[Site]):
    """The sites that the caller belongs to."""

    queryset = Site.objects.none()
    serializer_class = SiteOutput
    tagged = ("retrieve",)

    def get_queryset(self) -> QuerySet[Site]:
        """Only the caller's; with `updated_since` those that changed."""
        if getattr(self, "swagger_fake_view", False):
            return Site.objects.none()
        sites = sites_for(self.request.user)
        since = read_query(self.request, SinceQuery).get("updated_since")
        return sites if since is None else sites.filter(changed_at__gte=since)

    def get_renderers(self) -> builtins.list[BaseRenderer]:
        """Give the list as a table too."""
        return with_tables(super().get_renderers(), self.action)

    def list(self, request: Request, *args: Any, **kwargs: Any) -> Any:
        """Give a page of sites, or all as a table."""
        if not is_table(request):
            return super().list(request, *args, **kwargs)
        rows, form = self.get_queryset(), self.get_serializer()
        return answer_table(
            request, form, rows, lambda part: SiteOutput(part, many=True).data, is_streamed=False
        )

    @extend_schema(responses=SiteDetail)
    def retrieve(self, request: Request, slug: str) -> Response:
        """Give one site, the caller's role on it and its version."""
        caller = caller_on(request.user, slug)
        shown = SiteOutput(caller.site).data
        data = {**shown, "role": caller.role, "version": site_version(caller.site.pk)}
        return answer_tagged(request, data, etag_of_data(data))


class PlaceOutput(PlaceRef):
    """Somewhere on the farm; `drains_to` is where its water goes next."""

    class Meta(PlaceRef.Meta):
        fields = [*PlaceRef.Meta.fields, "x_m", "y_m", "parent", "drains_to", "retired_at"]


class PlaceQuery(serializers.Serializer[Any]):
    """Which places."""

    kind = serializers.ChoiceField(choices=PlaceKind.choices, required=False)


class PlaceViewSet(ReadViewSet[Place]):
    """Places of the farm."""

    queryset = Place.objects.all()
    serializer_class = PlaceOutput
    query = PlaceQuery
    lookups = {"kind": "kind"}


class HoldOutput(serializers.ModelSerializer[Hold]):
    """A machine, pen or batch out of use, by whom and until whom."""

    put_by = WhoField()
    cleared_by = WhoField(allow_null=True)

    class Meta:
        model = Hold
        exclude = ["site"]


class HoldQuery(serializers.Serializer[Any]):
    """Which holds."""

    subject_kind = serializers.ChoiceField(choices=HoldSubject.choices, required=False)
    is_open = serializers.BooleanField(required=False)


class ClearInput(SaidInput):
    """What was put right."""

    note = serializers.CharField(max_length=300, allow_blank=True, default="")


class HoldViewSet(ReadViewSet[Hold]):
    """What is held, or was. A hold is put on the thing itself: see machines, pens, batches."""

    queryset = Hold.objects.select_related("put_by", "cleared_by")
    serializer_class = HoldOutput
    query = HoldQuery
    lookups = {"subject_kind": "subject_kind", "is_open": "cleared_at__isnull"}
    roles = {"clear": SHOP}

    @extend_schema(request=ClearInput, responses=HoldOutput)
    @action(detail=True, methods=["post"])
    def clear(self, request: Request, slug: str, pk: int) -> Response:
        """Give it back to use, in the caller's name. Twice changes nothing."""
        return self.once(
            lambda: Response(self.shown(clear_hold(hold_id=pk, **self.said(ClearInput))))
        )


urlpatterns = [
    path("sites/", SitesViewSet.as_view({"get": "list"}), name="api-sites"),
    path("sites/<slug:slug>/", SitesViewSet.as_view({"get": "retrieve"}), name="api-site"),
    *site_routes({"places": PlaceViewSet, "holds": HoldViewSet}),
]
