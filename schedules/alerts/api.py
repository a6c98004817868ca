"""The API of what needs a decision: which there are, deciding."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from equipment.site.rest import ReadViewSet, site_routes
from equipment.site.restfields import SaidInput

from .models import MAX_NOTE, Alert, AlertKind
from .services import decide


class AlertOutput(serializers.ModelSerializer[Alert]):
    """One thing that needs a decision; codes and facts, for programs to say in their own words."""

    facts = serializers.DictField(help_text="Its evidence.")
    answers = serializers.ListField(
        child=serializers.DictField(), allow_null=True, help_text="Null until they are reckoned."
    )
    decision = serializers.DictField(
        allow_null=True, help_text="The answer that was taken; null where `note` says what instead."
    )

    class Meta:
        model = Alert
        fields = [
            "id",
            "kind",
            "subject",
            "place",
            "raised_at",
            "due_at",
            "facts",
            "answers",
            "n_answered",
            "decided_at",
            "decided_by",
            "decision",
            "note",
            "ended_at",
        ]


class AlertQuery(serializers.Serializer[Any]):
    """What the list may be narrowed to."""

    kind = serializers.ChoiceField(choices=[kind.value for kind in AlertKind], required=False)
    is_open = serializers.BooleanField(
        required=False, help_text="True: not over, whether decided or not."
    )


class DecideInput(SaidInput):
    """The answer taken, by its place from 0, or what is done instead, in words."""

    answer = serializers.IntegerField(min_value=0, max_value=9, required=False)
    n_answered = serializers.IntegerField(
        min_value=0, required=False, help_text="As the answers were read with; needed with one."
    )
    note = serializers.CharField(max_length=MAX_NOTE, required=False)


class AlertViewSet(ReadViewSet[Alert]):
    """What will go wrong unless somebody decides, and what was decided."""

    queryset = Alert.objects.all()
    serializer_class = AlertOutput
    query = AlertQuery
    lookups = {"kind": "kind", "is_open": "ended_at__isnull"}

    @extend_schema(request=DecideInput, responses=AlertOutput)
    @action(detail=True, methods=["post"])
    def decide(self, request: Request, slug: str, pk: int) -> Response:
        """Decide on one of the answers, or on something else; whoever is first stands."""
        return self.once(
            lambda: Response(self.shown(decide(alert_id=pk, **self.said(DecideInput))))
        )


urlpatterns = site_routes({"alerts": AlertViewSet})
