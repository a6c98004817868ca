"""The API of the roster: who works when, who is here, which crew has which pens; rosters, swaps."""

from typing import Any, ClassVar

from django.db.models import QuerySet
from django.urls import path
from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from crews.people.models import Worker
from equipment.site.errors import ForbiddenError
from equipment.site.rest import EVERYONE, ListViewSet, ReadViewSet, Roles, SiteViewSet, site_routes
from equipment.site.restfields import KeyField

from .days import ask_swap, breaks_of, may_ask, put_shift, settle_swap
from .models import (
    CrewPens,
    Presence,
    RosterRun,
    RosterState,
    Shift,
    ShiftPattern,
    ShiftWish,
    SwapRequest,
    SwapState,
)
from .rosters import begin_roster, cancel_roster, publish_roster
from .services import call_in_sick, give_pens, mark_present, wish_shift


class ShiftOutput(serializers.ModelSerializer[Shift]):
    """One worker's shift on one local date."""

    worker_name = serializers.CharField(source="worker.name", read_only=True)

    class Meta:
        model = Shift
        exclude = ["site"]


class ShiftQuery(serializers.Serializer[Any]):
    """Which shifts."""

    local_date = serializers.DateField(required=False)
    worker = KeyField(required=False)
    presence = serializers.ChoiceField(choices=Presence.choices, required=False)


class PutShiftInput(serializers.Serializer[Any]):
    """A worker's shift of a date; without a pattern the day is free. What it breaks refuses it."""

    worker = KeyField()
    local_date = serializers.DateField()
    pattern = KeyField(allow_null=True)
    is_anyway = serializers.BooleanField(default=False)


class PutShiftOutput(serializers.Serializer[Any]):
    """What rules that breaks, in words, and what the roster costs more for it."""

    breaks = serializers.ListField(child=serializers.CharField())
    cost_change = serializers.FloatField()


class ShiftViewSet(ReadViewSet[Shift]):
    """Who works when."""

    queryset = Shift.objects.select_related("worker")
    serializer_class = ShiftOutput
    query = ShiftQuery
    lookups = {"local_date": "local_date", "worker": "worker_id", "presence": "presence"}

    @extend_schema(request=PutShiftInput, responses={201: PutShiftOutput})
    def create(self, request: Request, slug: str) -> Response:
        """Put a worker on a shift of a date by hand, or take theirs away."""

        def put() -> Response:
            given = self.read(PutShiftInput)
            judged = put_shift(
                site_id=self.caller.site.pk,
                worker_id=given["worker"],
                on=given["local_date"],
                pattern_id=given["pattern"],
                is_anyway=given["is_anyway"],
                at=self.now,
            )
            shown = {"breaks": judged.broken, "cost_change": judged.cost_change}
            return Response(shown, status=201)

        return self.once(put)


@extend_schema_field({"type": "string", "pattern": "^[0-2][0-9]:[0-5][0-9]$"})
class LocalTimeField(serializers.TimeField):
    """A time on the farm's own clock; RFC 3339's times have an offset, this has none."""

    def __init__(self) -> None:
        super().__init__(format="%H:%M", read_only=True)


class ShiftPatternOutput(serializers.ModelSerializer[ShiftPattern]):
    """A shift's local start and its length on an ordinary night."""

    starts_local = LocalTimeField()

    class Meta:
        model = ShiftPattern
        fields = ["id", "key", "name", "starts_local", "duration_min", "breaks"]


class ShiftPatternViewSet(ReadViewSet[ShiftPattern]):
    """Shifts of the day."""

    queryset = ShiftPattern.objects.filter(retired_at=None)
    serializer_class = ShiftPatternOutput


class CrewPensOutput(serializers.ModelSerializer[CrewPens]):
    """That a crew has a pen on a shift: always, or on one local date instead."""

    class Meta:
        model = CrewPens
        exclude = ["site"]


class CrewPensInput(serializers.Serializer[Any]):
    """Which crew has which pens on which shift; without a date from now on."""

    crew = KeyField()
    pattern = KeyField()
    pens = serializers.ListField(child=KeyField(), min_length=1, max_length=100)
    local_date = serializers.DateField(allow_null=True, default=None)


class GivenOutput(serializers.Serializer[Any]):
    """How many pens the crew was put on."""

    n_pens = serializers.IntegerField()


class CrewPensViewSet(ListViewSet[CrewPens]):
    """Which crew has which pens."""

    queryset = CrewPens.objects.all()
    serializer_class = CrewPensOutput

    @extend_schema(request=CrewPensInput, responses={201: GivenOutput})
    def create(self, request: Request, slug: str) -> Response:
        """Put a crew on pens for a shift."""

        def give() -> Response:
            given = self.read(CrewPensInput)
            n_pens = give_pens(
                site_id=self.caller.site.pk,
                crew_id=given["crew"],
                pattern_id=given["pattern"],
                pen_ids=given["pens"],
                local_date=given["local_date"],
                at=self.now,
            )
            return Response({"n_pens": n_pens}, status=201)

        return self.once(give)


class HereInput(serializers.Serializer[Any]):
    """Whether the worker is here; no takes back what was marked by mistake."""

    is_here = serializers.BooleanField(default=True)


class PresenceViewSet(SiteViewSet[Worker]):
    """Who is here, and who is not coming."""

    queryset = Worker.objects.filter(retired_at=None)

    @extend_schema(request=None, responses=ShiftOutput)
    def sick(self, request: Request, slug: str, pk: int) -> Response:
        """Take a worker out of the running or next shift; the plan gives their work to others."""

        def call() -> Response:
            shift = call_in_sick(site_id=self.caller.site.pk, worker_id=pk, at=self.now)
            return Response(ShiftOutput(shift).data)

        return self.once(call)

    @extend_schema(request=HereInput, responses=ShiftOutput)
    def here(self, request: Request, slug: str, pk: int) -> Response:
        """Say that a worker is here for the running shift."""

        def mark() -> Response:
            is_here = self.read(HereInput)["is_here"]
            shift = mark_present(
                site_id=self.caller.site.pk, worker_id=pk, at=self.now, is_here=is_here
            )
            return Response(ShiftOutput(shift).data)

        return self.once(mark)


class RosterOutput(serializers.ModelSerializer[RosterRun]):
    """A roster that was asked for; `told` is what publishing changed, `why` why there is none."""

    told = serializers.ListField(child=serializers.DictField(), read_only=True)
    why = serializers.ListField(child=serializers.DictField(), read_only=True)

    class Meta:
        model = RosterRun
        exclude = ["site", "problem", "solution"]


class RosterDetailOutput(RosterOutput):
    """A roster with its problem and solution: the documents of `solve_week` and `check_week`."""

    problem = serializers.DictField(read_only=True)
    solution = serializers.DictField(read_only=True, allow_null=True)

    class Meta:
        model = RosterRun
        exclude = ["site"]


class RosterQuery(serializers.Serializer[Any]):
    """Which rosters."""

    state = serializers.ChoiceField(choices=RosterState.choices, required=False)


class RosterInput(serializers.Serializer[Any]):
    """Which period; a refill keeps to what is on record with the fewest changes."""

    from_on = serializers.DateField()
    until_on = serializers.DateField()
    seed = serializers.IntegerField(min_value=0, max_value=2**31 - 1, default=0)
    is_refill = serializers.BooleanField(default=False)


class RosterViewSet(ReadViewSet[RosterRun]):
    """Rosters that were asked for."""

    queryset = RosterRun.objects.all()
    made_at: ClassVar[dict[str, str]] = {"create": "api-rosters-detail"}
    query = RosterQuery
    lookups = {"state": "state"}

    def get_queryset(self) -> QuerySet[RosterRun]:
        """Leave the documents unread where none is shown."""
        rows = super().get_queryset()
        return rows.defer("problem", "solution") if self.action == "list" else rows

    def get_serializer_class(self) -> type[serializers.BaseSerializer[Any]]:
        """Show the documents where one roster is asked for."""
        return RosterDetailOutput if self.action == "retrieve" else RosterOutput

    @extend_schema(request=RosterInput, responses={201: RosterOutput})
    def create(self, request: Request, slug: str) -> Response:
        """Ask for a roster; it is made in the background, and the one being made is given up."""

        def ask() -> Response:
            run = begin_roster(**self.said(RosterInput), at=self.now)
            return Response(self.shown(run), status=201)

        return self.once(ask)

    @extend_schema(request=None, responses=RosterOutput)
    @action(detail=True, methods=["post"], url_path="give-up")
    def give_up(self, request: Request, slug: str, pk: str) -> Response:
        """Give up a roster that is being made, or a draft."""
        return self._turn(cancel_roster)

    @extend_schema(request=None, responses=RosterOutput)
    @action(detail=True, methods=["post"])
    def publish(self, request: Request, slug: str, pk: str) -> Response:
        """Make a draft the roster; `told` says for whom that changes something."""
        return self._turn(publish_roster)

    def _turn(self, verb: Any) -> Response:
        def do() -> Response:
            run = self.get_object()
            run = verb(site_id=self.caller.site.pk, run_id=run.pk, at=self.now)
            return Response(self.shown(run))

        return self.once(do)


class OwnMixin:
    """What workers ask for themselves and leads for everybody."""

    def refuse_others(self: Any, worker_id: int) -> None:
        """Refuse to ask for somebody else."""
        worker = Worker.objects.filter(site=self.caller.site, pk=worker_id).first()
        if not may_ask(worker, self.caller.actor, self.caller.is_lead):
            raise ForbiddenError(_("Only a lead asks for somebody else."))


class SwapOutput(serializers.ModelSerializer[SwapRequest]):
    """That a worker would give a date's shift to another, and maybe take one of theirs for it."""

    class Meta:
        model = SwapRequest
        exclude = ["site"]


class SwapDetailOutput(SwapOutput):
    """A swap with the rules that it would break now, in words."""

    breaks = serializers.SerializerMethodField()

    def get_breaks(self, swap: SwapRequest) -> list[str]:
        """Judge it as it would be judged when approved."""
        return breaks_of(swap, self.context["now"])


class SwapQuery(serializers.Serializer[Any]):
    """Which swaps."""

    state = serializers.ChoiceField(choices=SwapState.choices, required=False)


class SwapInput(serializers.Serializer[Any]):
    """Whose shift of which date goes to whom, and for which date of theirs, if any."""

    worker = KeyField()
    local_date = serializers.DateField()
    to_worker = KeyField()
    for_date = serializers.DateField(allow_null=True, default=None)


class SettleInput(serializers.Serializer[Any]):
    """Whether the swap is approved, as it was asked for at that instant: `asked_at` of the swap."""

    asked_at = serializers.DateTimeField()
    is_approved = serializers.BooleanField()


class SwapViewSet(OwnMixin, ReadViewSet[SwapRequest]):
    """Swaps that were asked for."""

    queryset = SwapRequest.objects.select_related("site")
    query = SwapQuery
    lookups = {"state": "state"}
    roles: ClassVar[dict[str, Roles]] = {"create": EVERYONE}
    made_at: ClassVar[dict[str, str]] = {"create": "api-swaps-detail"}

    def get_serializer_class(self) -> type[serializers.BaseSerializer[Any]]:
        """Judge one that is asked for by itself."""
        return SwapDetailOutput if self.action == "retrieve" else SwapOutput

    @extend_schema(request=SwapInput, responses={201: SwapOutput})
    def create(self, request: Request, slug: str) -> Response:
        """Ask for a swap; a worker for an own shift, a lead for anybody's."""

        def ask() -> Response:
            given = self.said(SwapInput)
            self.refuse_others(given["worker"])
            swap = ask_swap(
                worker_id=given.pop("worker"),
                to_worker_id=given.pop("to_worker"),
                **given,
                at=self.now,
            )
            return Response(self.shown(swap), status=201)

        return self.once(ask)

    @extend_schema(request=SettleInput, responses=SwapOutput)
    @action(detail=True, methods=["post"])
    def settle(self, request: Request, slug: str, pk: str) -> Response:
        """Approve a swap that breaks no rule, or refuse it."""

        def do() -> Response:
            swap = self.get_object()
            swap = settle_swap(**self.said(SettleInput), swap_id=swap.pk, at=self.now)
            return Response(self.shown(swap))

        return self.once(do)


class WishOutput(serializers.ModelSerializer[ShiftWish]):
    """What a worker would like on a date: a shift, or (null) the day off."""

    class Meta:
        model = ShiftWish
        exclude = ["site"]


class WishInput(serializers.Serializer[Any]):
    """A wish for a date in place of any before; taken back it is as the rotation has it."""

    worker = KeyField()
    local_date = serializers.DateField()
    pattern = KeyField(allow_null=True)
    is_taken_back = serializers.BooleanField(default=False)


class WishedOutput(serializers.Serializer[Any]):
    """Whether there is a wish for that date now."""

    is_wished = serializers.BooleanField()


class WishViewSet(OwnMixin, ListViewSet[ShiftWish]):
    """What workers would like."""

    queryset = ShiftWish.objects.all()
    serializer_class = WishOutput
    roles: ClassVar[dict[str, Roles]] = {"create": EVERYONE}

    @extend_schema(request=WishInput, responses={201: WishedOutput})
    def create(self, request: Request, slug: str) -> Response:
        """Say a wish, or take it back; a worker an own one, a lead anybody's."""

        def say() -> Response:
            given = self.read(WishInput)
            self.refuse_others(given["worker"])
            is_wished = wish_shift(
                site_id=self.caller.site.pk,
                worker_id=given["worker"],
                local_date=given["local_date"],
                pattern_id=given["pattern"],
                is_taken_back=given["is_taken_back"],
                at=self.now,
            )
            return Response({"is_wished": is_wished}, status=201)

        return self.once(say)


def _presence(verb: str) -> Any:
    view = PresenceViewSet.as_view({"post": verb})
    return path(f"sites/<slug:slug>/workers/<key:pk>/{verb}/", view, name=f"api-workers-{verb}")


urlpatterns = [
    *site_routes(
        {
            "shifts": ShiftViewSet,
            "shift-patterns": ShiftPatternViewSet,
            "crew-pens": CrewPensViewSet,
            "rosters": RosterViewSet,
            "swaps": SwapViewSet,
            "shift-wishes": WishViewSet,
        }
    ),
    _presence("sick"),
    _presence("here"),
]
