"""The API of machines: what may be used, what is due, and what people say of them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any, TypeVar

from django.db.models import Model, Q, QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from equipment.site.api import HoldOutput
from equipment.site.models import SHOP, HoldSubject
from equipment.site.queries import held_since
from equipment.site.rest import EVERYONE, ListViewSet, ReadViewSet, SiteViewSet, site_routes
from equipment.site.restfields import ReasonInput, SaidInput
from equipment.site.services import put_hold

from . import shapes
from .models import CheckItem, Defect, Machine, MeterReading, PrestartCheck, Repair, ServiceRecord
from .queries import MachineView, machine_views
from .services import (
    add_reading,
    close_defect,
    end_repair,
    record_service,
    report_defect,
    start_repair,
    submit_check,
)

M = TypeVar("M", bound=Model)


class MachineViewSet(ReadViewSet[Machine]):
    """Machines in use on the farm."""

    queryset = Machine.objects.filter(retired_at=None).select_related("home")
    serializer_class = shapes.MachineOutput
    query = shapes.MachineQuery
    lookups = {"kind": "kind"}
    roles = {"hold": SHOP}
    made_at = {"hold": "api-holds-detail"}
    stamps = (
        "changed_at",
        "readings__changed_at",
        "services__changed_at",
        "defects__changed_at",
        "repairs__changed_at",
    )

    def changed_since(self, since: datetime) -> Q:
        """Count holds in: they name their machine by its key."""
        return super().changed_since(since) | Q(pk__in=held_since(HoldSubject.MACHINE, since))

    def viewed(self, rows: Sequence[Machine]) -> Sequence[MachineView]:
        """Add meters, dues, holds, defects and repairs: 8 queries for any number of rows."""
        one = rows[0].pk if len(rows) == 1 else None
        views = {view.machine.pk: view for view in machine_views(self.caller.site.pk, one)}
        return [views[row.pk] for row in rows if row.pk in views]

    @extend_schema(request=ReasonInput, responses={201: HoldOutput})
    @action(detail=True, methods=["post"])
    def hold(self, request: Request, slug: str, pk: int) -> Response:
        """Take a machine out of use at once; the same reason again changes nothing."""
        machine = self.get_object()

        def put() -> Response:
            hold = put_hold(
                subject_kind=HoldSubject.MACHINE, subject_id=machine.pk, **self.said(ReasonInput)
            )
            return Response(HoldOutput(hold).data, status=201)

        return self.once(put)


def _machine_in_address(view: SiteViewSet[Any]) -> Machine:
    machines = Machine.objects.filter(site=view.caller.site)
    return get_object_or_404(machines, pk=view.kwargs["machine_id"])


class OfMachineViewSet(ListViewSet[M]):
    """Rows of one machine."""

    def get_queryset(self) -> QuerySet[M]:
        """Only those of the machine in the address."""
        rows = super().get_queryset()
        if getattr(self, "swagger_fake_view", False):
            return rows
        return rows.filter(machine=_machine_in_address(self))


class CheckItemViewSet(ListViewSet[CheckItem]):
    """Lines of a machine's look round before it starts."""

    queryset = CheckItem.objects.filter(retired_at=None)
    serializer_class = shapes.CheckItemOutput

    def get_queryset(self) -> QuerySet[CheckItem]:
        """Only those of the kind of the machine in the address."""
        rows = super().get_queryset()
        if getattr(self, "swagger_fake_view", False):
            return rows
        return rows.filter(machine_kind=_machine_in_address(self).kind)


class ReadingViewSet(OfMachineViewSet[MeterReading]):
    """Readings of a machine's hour meter."""

    queryset = MeterReading.objects.select_related("by")
    serializer_class = shapes.ReadingOutput
    roles = {"create": EVERYONE}

    @extend_schema(request=shapes.ReadingInput, responses={201: shapes.AddedOutput})
    def create(self, request: Request, slug: str, machine_id: int) -> Response:
        """Add a reading; an odd one is refused until it comes with a reason."""

        def add() -> Response:
            said = self.said(shapes.ReadingInput)
            added = add_reading(machine_id=machine_id, now=self.now, **said)
            return Response(shapes.AddedOutput(added).data, status=201)

        return self.once(add)


class ServiceViewSet(OfMachineViewSet[ServiceRecord]):
    """Services done on a machine."""

    queryset = ServiceRecord.objects.select_related("by")
    serializer_class = shapes.ServiceOutput
    roles = {"create": SHOP}

    @extend_schema(request=shapes.ServiceInput, responses={201: shapes.RecordedOutput})
    def create(self, request: Request, slug: str, machine_id: int) -> Response:
        """Record a service with its reading; the answer says when it is next due."""

        def record() -> Response:
            said = self.said(shapes.ServiceInput)
            done = record_service(
                machine_id=machine_id, item_id=said.pop("item"), now=self.now, **said
            )
            return Response(shapes.RecordedOutput(done).data, status=201)

        return self.once(record)


class CheckViewSet(OfMachineViewSet[PrestartCheck]):
    """Looks round before a machine starts."""

    queryset = PrestartCheck.objects.select_related("by")
    serializer_class = shapes.CheckOutput
    roles = {"create": EVERYONE}

    @extend_schema(request=shapes.CheckInput, responses={201: shapes.CheckOutput})
    def create(self, request: Request, slug: str, machine_id: int) -> Response:
        """Take a look round; a failed safety line takes the machine out of use."""

        def submit() -> Response:
            check = submit_check(machine_id=machine_id, **self.said(shapes.CheckInput))
            return Response(self.shown(check), status=201)

        return self.once(submit)


class DefectsOfMachineViewSet(OfMachineViewSet[Defect]):
    """What is, or was, wrong with a machine."""

    queryset = Defect.objects.select_related("reported_by", "closed_by")
    serializer_class = shapes.DefectOutput
    roles = {"create": EVERYONE}
    made_at = {"create": "api-defects-detail"}

    @extend_schema(request=shapes.DefectInput, responses={201: shapes.DefectOutput})
    def create(self, request: Request, slug: str, machine_id: int) -> Response:
        """Report a defect; one that could hurt someone takes the machine out of use."""

        def report() -> Response:
            defect = report_defect(machine_id=machine_id, **self.said(shapes.DefectInput))
            return Response(self.shown(defect), status=201)

        return self.once(report)


class RepairsOfMachineViewSet(OfMachineViewSet[Repair]):
    """Unplanned stops of a machine."""

    queryset = Repair.objects.select_related("reported_by", "cleared_by")
    serializer_class = shapes.RepairOutput
    roles = {"create": SHOP}
    made_at = {"create": "api-repairs-detail"}

    @extend_schema(request=shapes.RepairInput, responses={201: shapes.RepairOutput})
    def create(self, request: Request, slug: str, machine_id: int) -> Response:
        """Record that a machine went down; it is held at once."""

        def start() -> Response:
            said = self.said(shapes.RepairInput)
            repair = start_repair(
                machine_id=machine_id, substitute_id=said.pop("substitute"), **said
            )
            return Response(self.shown(repair), status=201)

        return self.once(start)


class DefectViewSet(ReadViewSet[Defect]):
    """Defects of all machines."""

    queryset = Defect.objects.select_related("reported_by", "closed_by")
    serializer_class = shapes.DefectOutput
    roles = {"close": SHOP}

    @extend_schema(request=SaidInput, responses=shapes.DefectOutput)
    @action(detail=True, methods=["post"])
    def close(self, request: Request, slug: str, pk: int) -> Response:
        """Say that it was put right. The hold it may have caused is cleared apart, by name."""
        return self.once(
            lambda: Response(self.shown(close_defect(defect_id=pk, **self.said(SaidInput))))
        )


class RepairViewSet(ReadViewSet[Repair]):
    """Unplanned stops of all machines."""

    queryset = Repair.objects.select_related("reported_by", "cleared_by")
    serializer_class = shapes.RepairOutput
    roles = {"end": SHOP}

    @extend_schema(request=shapes.RepairEndInput, responses=shapes.RepairOutput)
    @action(detail=True, methods=["post"])
    def end(self, request: Request, slug: str, pk: int) -> Response:
        """Return the machine to service, in the caller's name."""
        return self.once(
            lambda: Response(
                self.shown(end_repair(repair_id=pk, **self.said(shapes.RepairEndInput)))
            )
        )


urlpatterns = site_routes(
    {
        "machines": MachineViewSet,
        "machines/<key:machine_id>/check-items": CheckItemViewSet,
        "machines/<key:machine_id>/readings": ReadingViewSet,
        "machines/<key:machine_id>/services": ServiceViewSet,
        "machines/<key:machine_id>/checks": CheckViewSet,
        "machines/<key:machine_id>/defects": DefectsOfMachineViewSet,
        "machines/<key:machine_id>/repairs": RepairsOfMachineViewSet,
        "defects": DefectViewSet,
        "repairs": RepairViewSet,
    }
)
