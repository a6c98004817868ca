"""The API of the day's plan: who does what with what, what nobody has and why, by-hand changes."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

from django.urls import path
from django.utils.translation import gettext as _
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from equipment.site.errors import NotFoundError
from equipment.site.models import Named
from equipment.site.preconditions import answer_tagged, check_if_match, etag_of_data
from equipment.site.rest import ListViewSet, ReadViewSet, SiteViewSet, site_routes
from equipment.site.restfields import FiniteField, InstantField, KeyField
from schedules.work.models import WorkOrder

from .byhand import reassign, take_off
from .calc.diff import ChangeKind
from .calc.remedies import Clashing, Remedy, RemedyKind
from .help import help_for
from .models import DaySearch, PlanRun
from .queries import assignment_of, changes_since, latest_plan, with_claims
from .searches import ASKED_S, MOST_S, ask_search, search_of, stop_search


class HasItOutput(serializers.Serializer[Any]):
    """Who has a work order, with what, from when to when."""

    workers = serializers.ListField(child=serializers.IntegerField())
    machine = serializers.IntegerField(allow_null=True)
    starts_at = serializers.DateTimeField()
    ends_at = serializers.DateTimeField()


class PlanChangeOutput(serializers.Serializer[Any]):
    """A work order that the plan gives to others, to another machine or at another time."""

    work_order = serializers.IntegerField()
    kind = serializers.ChoiceField(choices=[kind.value for kind in ChangeKind])
    workers = serializers.ListField(
        child=serializers.IntegerField(), help_text="Who must be told: had it, or has it now."
    )
    before = HasItOutput(allow_null=True, default=None)
    after = HasItOutput(allow_null=True, default=None)


class PlanOutput(serializers.ModelSerializer[PlanRun]):
    """One solve of one local day; its problem and solution are documents of their own."""

    changes = PlanChangeOutput(many=True, help_text="Against the plan before it.")
    chances = serializers.DictField(
        child=serializers.FloatField(),
        help_text="By work order, the chance below 1 that it ends in its window.",
    )

    class Meta:
        model = PlanRun
        exclude = ["site", "problem", "solution"]


class PlanQuery(serializers.Serializer[Any]):
    """Which plans."""

    local_date = serializers.DateField(required=False)


class PlanViewSet(ReadViewSet[PlanRun]):
    """Plans as they were made."""

    queryset = PlanRun.objects.defer("problem", "solution")
    serializer_class = PlanOutput
    query = PlanQuery
    lookups = {"local_date": "local_date"}
    tagged = ("current", "problem", "solution")

    @extend_schema(responses=PlanOutput)
    def current(self, request: Request, slug: str) -> Response:
        """Give the newest plan."""
        plan = latest_plan(self.caller.site.pk)
        if plan is None:
            raise NotFoundError(_("There is no plan here yet."))
        data = self.shown(plan)
        return answer_tagged(request, data, etag_of_data(data))

    @extend_schema(responses=OpenApiTypes.OBJECT)
    @action(detail=True)
    def problem(self, request: Request, slug: str, pk: int) -> Response:
        """Give what was asked, to be solved again anywhere (`penround/day-plan/problem`)."""
        document = self.get_object().problem
        return answer_tagged(request, document, etag_of_data(document))

    @extend_schema(responses=OpenApiTypes.OBJECT)
    @action(detail=True)
    def solution(self, request: Request, slug: str, pk: int) -> Response:
        """Give what came out, to be checked and scored anywhere."""
        document = self.get_object().solution
        return answer_tagged(request, document, etag_of_data(document))


RECENT = timedelta(hours=1)


class SinceQuery(serializers.Serializer[Any]):
    """From when on, an hour ago when left out: what people knew then against the plan of now."""

    since = InstantField(default=lambda: datetime.now(UTC) - RECENT)


class ChangesOutput(serializers.Serializer[Any]):
    """What changed between the plan of a moment and that of now."""

    changes = PlanChangeOutput(many=True)


class SearchOutput(serializers.ModelSerializer[DaySearch]):
    """The search for a plan: whether it runs, and how far it is."""

    class Meta:
        model = DaySearch
        fields = [
            "is_running",
            "is_to_stop",
            "began_at",
            "told_at",
            "left_s",
            "elapsed_s",
            "n_iterations",
            "cost",
            "bound_cost",
            "n_left_out",
        ]


class SearchInput(serializers.Serializer[Any]):
    """How long to search for a better plan."""

    seconds = FiniteField(min_value=0, max_value=MOST_S, default=ASKED_S)


class SearchViewSet(SiteViewSet[DaySearch]):
    """The one search for a plan that a site has."""

    queryset = DaySearch.objects.all()
    serializer_class = SearchOutput
    made_at = {"create": "api-plan-search"}
    tagged = ("retrieve", "changes")

    def _answer(self, status: int = 200) -> Response:
        search = search_of(self.caller.site.pk)
        return Response(self.get_serializer(search).data, status=status)

    @extend_schema(responses=SearchOutput)
    def retrieve(self, request: Request, slug: str) -> Response:
        """Say whether a search runs, and how far it is."""
        data = self._answer().data
        return answer_tagged(request, data, etag_of_data(data))

    @extend_schema(request=SearchInput, responses={202: SearchOutput})
    def create(self, request: Request, slug: str) -> Response:
        """Ask for a search; the plan in place is mended first, then bettered."""

        def ask() -> Response:
            seconds = self.read(SearchInput)["seconds"]
            ask_search(site_id=self.caller.site.pk, at=self.now, seconds=seconds)
            return self._answer(202)

        return self.once(ask)

    @extend_schema(request=None, responses=SearchOutput)
    def stop(self, request: Request, slug: str) -> Response:
        """Stop the search within a second or two; the best plan that it has is put in place."""

        def stop() -> Response:
            stop_search(site_id=self.caller.site.pk, at=self.now)
            return self._answer()

        return self.once(stop)

    @extend_schema(parameters=[SinceQuery], responses=ChangesOutput)
    def changes(self, request: Request, slug: str) -> Response:
        """Say what changed since a moment, each with before, after and who must be told."""
        query = SinceQuery(data=request.query_params.dict())
        query.is_valid(raise_exception=True)
        found = changes_since(self.caller.site.pk, query.validated_data["since"])
        data = ChangesOutput({"changes": found}).data
        return answer_tagged(request, data, etag_of_data(data))


class ClaimedThing(serializers.Serializer[Any]):
    """A person or machine, by key and name."""

    id = serializers.IntegerField()
    name = serializers.CharField()


class ReasonOutput(serializers.Serializer[Any]):
    """Why nobody has a work order: a code with its facts."""

    code = serializers.CharField()
    facts = serializers.DictField()


class AssignmentOutput(serializers.Serializer[Any]):
    """Who does a work order, with what, when; or why nobody has it."""

    work_order = serializers.IntegerField()
    version = serializers.IntegerField(help_text="The work order's.")
    workers = ClaimedThing(many=True)
    machine = ClaimedThing(allow_null=True)
    starts_at = serializers.DateTimeField(allow_null=True)
    ends_at = serializers.DateTimeField(allow_null=True)
    is_by_hand = serializers.BooleanField()
    reasons = ReasonOutput(many=True)


def _view(order: WorkOrder) -> dict[str, Any]:
    """Lay out one order, fetched with its claims, for `AssignmentOutput`. No query."""
    given = assignment_of(order)
    claims = list(given.claims.all()) if given else []
    left_out = getattr(order, "unassigned", None)
    return {
        "work_order": order.pk,
        "version": order.version,
        "workers": [_thing(c.worker) for c in claims if c.worker],
        "machine": next((_thing(c.machine) for c in claims if c.machine), None),
        "starts_at": given.starts_at if given else None,
        "ends_at": given.ends_at if given else None,
        "is_by_hand": bool(given and given.is_by_hand),
        "reasons": left_out.reasons if left_out and not given else [],
    }


def _thing(row: Named) -> dict[str, Any]:
    return {"id": row.pk, "name": row.name}


class RemedyOutput(serializers.Serializer[Any]):
    """Something that would let the work in, with who would have it; a person or machine that is
    not there yet is `null`.
    """

    kind = serializers.ChoiceField(choices=[kind.value for kind in RemedyKind])
    later_min = serializers.IntegerField(allow_null=True)
    instead_of = serializers.IntegerField(allow_null=True)
    total_cost = serializers.FloatField(help_text="Of the plan with it, as minutes of walking.")
    workers = serializers.ListField(child=serializers.IntegerField(allow_null=True))
    machine = serializers.IntegerField(allow_null=True)
    starts_at = serializers.DateTimeField()
    ends_at = serializers.DateTimeField()


class HelpOutput(serializers.Serializer[Any]):
    """What keeps work out of the plan: without any one of `clash` there would be room."""

    clash = serializers.ListField(
        child=serializers.ChoiceField(choices=[kind.value for kind in Clashing])
    )
    remedies = RemedyOutput(many=True, help_text="The cheapest first, each found by a solve.")


def _remedy(remedy: Remedy) -> dict[str, Any]:
    given = remedy.given
    return {
        "kind": remedy.kind,
        "later_min": remedy.later_min,
        "instead_of": _key(remedy.instead_of),
        "total_cost": remedy.total_cost,
        "workers": [_key(person) for person in given.people],
        "machine": _key(given.machine),
        "starts_at": given.start,
        "ends_at": given.end,
    }


def _key(name: str | None) -> int | None:
    """Give the number of a row; whoever is not there yet has none."""
    return int(name) if name is not None and name.isdecimal() else None


class AssignmentQuery(serializers.Serializer[Any]):
    """Whose, and which of a span of time."""

    worker = KeyField(required=False)
    machine = KeyField(required=False)
    from_at = InstantField(required=False)
    until_at = InstantField(required=False)


class AssignmentsViewSet(ListViewSet[WorkOrder]):
    """Work orders that people have, as the plan stands now."""

    queryset = with_claims(WorkOrder.objects.filter(assignment__isnull=False))
    serializer_class = AssignmentOutput
    query = AssignmentQuery
    lookups = {
        "worker": "assignment__claims__worker_id",
        "machine": "assignment__claims__machine_id",
        "from_at": "assignment__ends_at__gt",
        "until_at": "assignment__starts_at__lt",
    }
    stamps = ("changed_at", "assignment__changed_at", "assignment__claims__changed_at")

    def viewed(self, rows: Sequence[WorkOrder]) -> Sequence[dict[str, Any]]:
        """Lay out who has each. No query."""
        return [_view(row) for row in rows]


class UnassignedViewSet(ListViewSet[WorkOrder]):
    """Work orders of the plan that nobody has, each with its reasons."""

    queryset = with_claims(WorkOrder.objects.filter(unassigned__isnull=False))
    serializer_class = AssignmentOutput
    stamps = ("changed_at", "unassigned__changed_at")

    def viewed(self, rows: Sequence[WorkOrder]) -> Sequence[dict[str, Any]]:
        """Lay out why nobody has each. No query."""
        return [_view(row) for row in rows]


class AssignInput(serializers.Serializer[Any]):
    """Which people, with which machine, from when."""

    workers = serializers.ListField(child=KeyField(), min_length=1, max_length=20)
    machine = KeyField(allow_null=True, default=None)
    starts_at = InstantField()


class AssignmentViewSet(SiteViewSet[WorkOrder]):
    """Who has one work order; what a lead decides by hand binds the plan."""

    queryset = with_claims(WorkOrder.objects.all())
    serializer_class = AssignmentOutput
    guarded = ("update", "destroy")

    def _shown(self) -> tuple[WorkOrder, Any]:
        order = self.get_object()
        return order, self.get_serializer(_view(order)).data

    def _checked(self, request: Request) -> WorkOrder:
        order, data = self._shown()
        check_if_match(request, etag_of_data(data), lambda: _assigner(order))
        return order

    @extend_schema(responses=AssignmentOutput)
    def retrieve(self, request: Request, slug: str, pk: int) -> Response:
        """Give who has it, or why nobody does."""
        _row, data = self._shown()
        return answer_tagged(request, data, etag_of_data(data))

    @extend_schema(request=AssignInput, responses=AssignmentOutput)
    def update(self, request: Request, slug: str, pk: int) -> Response:
        """Give it to people and a machine by hand; the plan keeps it."""
        order = self._checked(request)
        given = self.said(AssignInput)
        reassign(
            work_order_id=order.pk,
            worker_ids=given.pop("workers"),
            machine_id=given.pop("machine"),
            at=self.now,
            version=order.version,
            **given,
        )
        _row, data = self._shown()
        return Response(data, headers={"ETag": etag_of_data(data)})

    @extend_schema(responses={204: None})
    def destroy(self, request: Request, slug: str, pk: int) -> Response:
        """Take it from whoever has it; the plan may give it to anybody again."""
        order = self._checked(request)
        take_off(site_id=order.site_id, work_order_id=pk, at=self.now, version=order.version)
        return Response(status=204)


class HelpViewSet(SiteViewSet[WorkOrder]):
    """What would let somebody have a work order."""

    queryset = WorkOrder.objects.all()
    serializer_class = HelpOutput
    tagged = ("retrieve",)

    @extend_schema(responses=HelpOutput)
    def retrieve(self, request: Request, slug: str, pk: int) -> Response:
        """Reckon it on the plan as it stands; this takes a few seconds."""
        order = self.get_object()
        found = help_for(site_id=self.caller.site.pk, work_order_id=order.pk, at=self.now)
        view = {"clash": found.clash, "remedies": [_remedy(r) for r in found.remedies]}
        data = self.get_serializer(view).data
        return answer_tagged(request, data, etag_of_data(data))


def _assigner(order: WorkOrder) -> str:
    given = assignment_of(order)
    return given.by.name if given and given.by else ""


urlpatterns = [
    path(
        "sites/<slug:slug>/plan/search/",
        SearchViewSet.as_view({"get": "retrieve", "post": "create"}),
        name="api-plan-search",
    ),
    path(
        "sites/<slug:slug>/plan/search/stop/",
        SearchViewSet.as_view({"post": "stop"}),
        name="api-plan-search-stop",
    ),
    path(
        "sites/<slug:slug>/plan/changes/",
        SearchViewSet.as_view({"get": "changes"}),
        name="api-plan-changes",
    ),
    path(
        "sites/<slug:slug>/plan/", PlanViewSet.as_view({"get": "current"}), name="api-plan-current"
    ),
    path(
        "sites/<slug:slug>/work-orders/<key:pk>/assignment/",
        AssignmentViewSet.as_view({"get": "retrieve", "put": "update", "delete": "destroy"}),
        name="api-assignment",
    ),
    path(
        "sites/<slug:slug>/work-orders/<key:pk>/help/",
        HelpViewSet.as_view({"get": "retrieve"}),
        name="api-help",
    ),
    *site_routes(
        {
            "plans": PlanViewSet,
            "assignments": AssignmentsViewSet,
            "unassigned": UnassignedViewSet,
        }
    ),
]
