"""The API of work: work orders and what people say of them, standing orders, problems."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

from django.db.models import Model, QuerySet
from django.urls import path
from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from equipment.machines.models import Machine
from equipment.site.errors import NotFoundError
from equipment.site.preconditions import (
    answer_tagged,
    check_if_match,
    etag_of,
    etag_of_data,
)
from equipment.site.rest import EVERYONE, ListViewSet, ReadViewSet, SiteViewSet, site_routes
from equipment.site.restfields import ReasonInput, SaidInput

from . import shapes
from .decisions import answer_problem, cancel_work, settle_decision
from .edit import edit_standing_order, take_over_content
from .models import Dependency, Outcome, Problem, Report, StandingOrder, WorkOrder
from .progress import add_load, finish_work, report_problem, start_work, undo_report
from .queries import last_editor, waiting_reasons
from .work_content import work_content

M = TypeVar("M", bound=Model)


class WorkOrderViewSet(ReadViewSet[WorkOrder]):
    """Work orders, and what people say of them."""

    queryset = WorkOrder.objects.select_related("place", "started_by", "ended_by")
    serializer_class = shapes.WorkOrderOutput
    query = shapes.WorkOrderQuery
    lookups = {
        "local_date": "local_date",
        "status": "status",
        "place": "place_id",
        "worker": "assignment__claims__worker_id",  # the plan's rows, by their own name for us
        "standing_order": "standing_order_id",
    }
    roles = dict.fromkeys(["start", "done", "part", "could_not", "load", "undo"], EVERYONE)
    tagged = ("waiting_on",)

    def _tell(self, verb: Callable[..., WorkOrder], said: dict[str, Any]) -> Response:
        """Say it by a verb; the answer is the work order with its new ETag."""
        order = verb(work_order_id=self.kwargs["pk"], **said)
        shown = self.shown(self.get_queryset().get(pk=order.pk))
        return Response(shown, headers={"ETag": etag_of(order)})

    def _told(self, form: type[shapes.ToldInput]) -> dict[str, Any]:
        """Read what was told; the machine it names must be the site's."""
        said = self.said(form)
        machine_id = said.pop("machine")
        machines = Machine.objects.filter(site=self.caller.site, pk=machine_id)
        said["machine"] = machines.first() if machine_id else None
        if machine_id and said["machine"] is None:
            raise NotFoundError(_("There is no such machine here."))
        return said

    def _finish(self, outcome: Outcome, form: type[shapes.ToldInput]) -> Response:
        said = self._told(form)
        to_place_id = said.pop("to_place", None)
        return self._tell(finish_work, {"outcome": outcome, "to_place_id": to_place_id, **said})

    @extend_schema(request=shapes.ToldInput, responses=shapes.WorkOrderOutput)
    @action(detail=True, methods=["post"])
    def start(self, request: Request, slug: str, pk: int) -> Response:
        """Say that it has begun. Twice changes nothing."""
        return self.once(lambda: self._tell(start_work, self._told(shapes.ToldInput)))

    @extend_schema(request=shapes.DoneInput, responses=shapes.WorkOrderOutput)
    @action(detail=True, methods=["post"])
    def done(self, request: Request, slug: str, pk: int) -> Response:
        """Say that it is done."""
        return self.once(lambda: self._finish(Outcome.DONE, shapes.DoneInput))

    @extend_schema(request=shapes.PartInput, responses=shapes.WorkOrderOutput)
    @action(detail=True, methods=["post"])
    def part(self, request: Request, slug: str, pk: int) -> Response:
        """Say that part of it is done; what is left goes to a later gap."""
        return self.once(lambda: self._finish(Outcome.PART, shapes.PartInput))

    @extend_schema(request=shapes.CouldNotInput, responses=shapes.WorkOrderOutput)
    @action(detail=True, methods=["post"], url_path="could-not")
    def could_not(self, request: Request, slug: str, pk: int) -> Response:
        """Say that it could not be done, and why."""
        return self.once(lambda: self._finish(Outcome.COULD_NOT, shapes.CouldNotInput))

    @extend_schema(request=shapes.ToldInput, responses=shapes.WorkOrderOutput)
    @action(detail=True, methods=["post"])
    def load(self, request: Request, slug: str, pk: int) -> Response:
        """Count one load more; never refused."""
        return self.once(lambda: self._tell(add_load, self._told(shapes.ToldInput)))

    @extend_schema(request=SaidInput, responses=shapes.WorkOrderOutput)
    @action(detail=True, methods=["post"])
    def undo(self, request: Request, slug: str, pk: int) -> Response:
        """Take back the caller's own last word, within ten minutes."""
        return self.once(lambda: self._tell(undo_report, self.said(SaidInput)))

    @extend_schema(request=ReasonInput, responses=shapes.WorkOrderOutput)
    @action(detail=True, methods=["post"])
    def cancel(self, request: Request, slug: str, pk: int) -> Response:
        """Call it off, with the reason."""
        return self.once(lambda: self._tell(cancel_work, self.said(ReasonInput)))

    @extend_schema(request=shapes.DecisionInput, responses=shapes.WorkOrderOutput)
    @action(detail=True, methods=["post"])
    def decision(self, request: Request, slug: str, pk: int) -> Response:
        """Answer what waits for a person's decision (`needs_decision`)."""
        return self.once(lambda: self._tell(settle_decision, self.said(shapes.DecisionInput)))

    @extend_schema(responses=shapes.WaitingOutput)
    @action(detail=True, url_path="waiting-on")
    def waiting_on(self, request: Request, slug: str, pk: int) -> Response:
        """Say what it waits on now: other work, or a hold of its pen or batch."""
        order = self.get_object()
        reasons = waiting_reasons(order.site_id, [order.pk], self.now).get(order.pk, [])
        data = shapes.WaitingOutput({"waiting_on": reasons}).data
        return answer_tagged(request, data, etag_of_data(data))


class OfWorkOrderViewSet(ListViewSet[M]):
    """Rows of one work order."""

    def get_queryset(self) -> QuerySet[M]:
        """Only those of the work order in the address, which must be the site's."""
        rows = super().get_queryset()
        if getattr(self, "swagger_fake_view", False):
            return rows
        orders = WorkOrder.objects.filter(site=self.caller.site)
        return rows.filter(work_order=get_object_or_404(orders, pk=self.kwargs["order_id"]))


class ReportViewSet(OfWorkOrderViewSet[Report]):
    """All that was ever said of a work order."""

    queryset = Report.objects.select_related("by")
    serializer_class = shapes.ReportOutput


class DependencyViewSet(OfWorkOrderViewSet[Dependency]):
    """What a work order depends on."""

    queryset = Dependency.objects.all()
    serializer_class = shapes.DependencyOutput


class StandingOrderViewSet(ReadViewSet[StandingOrder]):
    """The rules that make recurring work."""

    queryset = StandingOrder.objects.all()
    serializer_class = shapes.StandingOrderOutput
    guarded = ("partial_update",)

    @extend_schema(request=shapes.StandingOrderInput, responses=shapes.EditedOutput)
    def partial_update(self, request: Request, slug: str, pk: int) -> Response:
        """Change a rule; its untouched coming work is made anew, and the answer says how much."""
        order = self.get_object()
        check_if_match(request, etag_of(order), lambda: last_editor(order))
        given = shapes.StandingOrderInput(data=request.data, partial=True)
        given.is_valid(raise_exception=True)
        unknown = {name: None for name in request.data if name not in given.fields}
        counts = edit_standing_order(
            site_id=order.site_id,
            standing_order_id=order.pk,
            changes={**given.validated_data, **unknown},  # which the verb refuses by name
            by=self.caller.actor,
            at=self.now,
            version=order.version,
        )
        order.refresh_from_db()
        edited = shapes.EditedOutput({"standing_order": order, "counts": counts}).data
        return Response(edited, headers={"ETag": etag_of(order)})

    @extend_schema(request=None, responses=shapes.EditedOutput)
    @action(detail=True, methods=["post"], url_path="take-over")
    def take_over(self, request: Request, slug: str, pk: int) -> Response:
        """Put what done work takes into the rule, as an edit would."""

        def take() -> Response:
            order, counts = take_over_content(
                site_id=self.caller.site.pk,
                standing_order_id=pk,
                by=self.caller.actor,
                at=self.now,
            )
            edited = shapes.EditedOutput({"standing_order": order, "counts": counts}).data
            return Response(edited, headers={"ETag": etag_of(order)})

        return self.once(take)


class WorkContentViewSet(SiteViewSet[StandingOrder]):
    """What work takes, learned from what was done."""

    queryset = StandingOrder.objects.all()
    tagged = ("content",)

    @extend_schema(responses=shapes.WorkContentOutput)
    def content(self, request: Request, slug: str) -> Response:
        """Say what done work has taken, beside what the standing orders say."""
        data = shapes.WorkContentOutput(work_content(self.caller.site.pk, self.now)).data
        return answer_tagged(request, data, etag_of_data(data))


class ProblemViewSet(ReadViewSet[Problem]):
    """What was reported wrong on the farm."""

    queryset = Problem.objects.select_related("reported_by", "answered_by")
    serializer_class = shapes.ProblemOutput
    query = shapes.ProblemQuery
    lookups = {"is_open": "answered_at__isnull", "place": "place_id"}
    roles = {"create": EVERYONE}

    @extend_schema(request=shapes.ProblemInput, responses={201: shapes.ProblemOutput})
    def create(self, request: Request, slug: str) -> Response:
        """Tell that something is wrong; it stays on the board until somebody answers."""

        def report() -> Response:
            said = self.said(shapes.ProblemInput)
            problem = report_problem(place_id=said.pop("place"), **said)
            return Response(self.shown(problem), status=201)

        return self.once(report)

    @extend_schema(request=shapes.AnswerInput, responses=shapes.ProblemOutput)
    @action(detail=True, methods=["post"])
    def answer(self, request: Request, slug: str, pk: int) -> Response:
        """Say what was done about it; the first answer stands."""
        return self.once(
            lambda: Response(
                self.shown(answer_problem(problem_id=pk, **self.said(shapes.AnswerInput)))
            )
        )


urlpatterns = [
    path(
        "sites/<slug:slug>/work-content/",
        WorkContentViewSet.as_view({"get": "content"}),
        name="api-work-content",
    ),
    *site_routes(
        {
            "work-orders": WorkOrderViewSet,
            "work-orders/<key:order_id>/reports": ReportViewSet,
            "work-orders/<key:order_id>/needs": DependencyViewSet,
            "standing-orders": StandingOrderViewSet,
            "problems": ProblemViewSet,
        }
    ),
]
