"""What the API of work reads and shows."""

from typing import Any

from rest_framework import serializers

from equipment.machines.models import MachineKind
from equipment.site.restfields import (
    InstantField,
    KeyField,
    PlaceRef,
    SaidInput,
    TextsField,
    WhoField,
)

from .models import (
    Dependency,
    Effort,
    LateRule,
    Problem,
    Report,
    StandingOrder,
    Status,
    WorkOrder,
)


class WorkOrderOutput(serializers.ModelSerializer[WorkOrder]):
    """One piece of work: where, when, what of it is done. Who does it is its assignment."""

    place = PlaceRef(read_only=True)
    started_by = WhoField(allow_null=True)
    ended_by = WhoField(allow_null=True)

    class Meta:
        model = WorkOrder
        exclude = ["site"]


class WorkOrderQuery(serializers.Serializer[Any]):
    """Which work orders."""

    local_date = serializers.DateField(required=False)
    status = serializers.ChoiceField(choices=Status.choices, required=False)
    place = KeyField(required=False)
    worker = KeyField(required=False, help_text="Whoever it is assigned to.")
    standing_order = KeyField(required=False)
    updated_since = InstantField(required=False)


class ReportOutput(serializers.ModelSerializer[Report]):
    """A fact told about a work order."""

    by = WhoField()

    class Meta:
        model = Report
        exclude = ["site", "event"]


class DependencyOutput(serializers.ModelSerializer[Dependency]):
    """DEPENDS-ON (RFC 9253) with its least and greatest gap."""

    class Meta:
        model = Dependency
        fields = ["id", "on", "relation", "gap_min", "gap_max_min"]


class WaitOutput(serializers.Serializer[Any]):
    """One thing that must come first, or that somebody holds."""

    code = serializers.ChoiceField(choices=["dependency", "hold"])
    name = serializers.CharField()
    subject = serializers.CharField()
    subject_id = serializers.IntegerField(allow_null=True)
    until = serializers.DateTimeField(allow_null=True)


class WaitingOutput(serializers.Serializer[Any]):
    """What a work order waits on now; empty when it can begin."""

    waiting_on = WaitOutput(many=True)


class ToldInput(SaidInput):
    """When, and with which machine."""

    machine = KeyField(allow_null=True, default=None)


class DoneInput(ToldInput):
    """`to_place` says where the sand of a batch's step went."""

    to_place = KeyField(allow_null=True, default=None)


class PartInput(ToldInput):
    """What was not done."""

    n_left = serializers.IntegerField(min_value=1, max_value=100_000, allow_null=True, default=None)
    reason = serializers.CharField(max_length=300, allow_blank=True, default="")


class CouldNotInput(ToldInput):
    """Why not."""

    reason = serializers.CharField(max_length=300)


class DecisionInput(SaidInput):
    """Whether a late report counts."""

    accept = serializers.BooleanField()
    reason = serializers.CharField(max_length=300, allow_blank=True, default="")


class StandingOrderOutput(serializers.ModelSerializer[StandingOrder]):
    """The rule that makes recurring work."""

    class Meta:
        model = StandingOrder
        exclude = ["site"]


class StandingOrderInput(serializers.Serializer[Any]):
    """What to change; what is left out stays. The three documents are checked as a whole."""

    name = serializers.CharField(max_length=100)
    title = TextsField()
    trigger_rule = serializers.DictField()
    target = serializers.DictField()
    duration = serializers.DictField()
    skill = serializers.SlugField(max_length=60, allow_blank=True)
    machine_kinds = serializers.ListField(
        child=serializers.ChoiceField(choices=MachineKind.choices), max_length=10
    )
    attachment_kind = serializers.CharField(max_length=12, allow_blank=True)
    n_people = serializers.IntegerField(min_value=1, max_value=20)
    priority = serializers.IntegerField(min_value=1, max_value=9)
    effort = serializers.ChoiceField(choices=Effort.choices)
    is_daylight_only = serializers.BooleanField()
    needs_lock = serializers.BooleanField()
    needs_clean_bucket = serializers.BooleanField()
    late_rule = serializers.ChoiceField(choices=LateRule.choices)
    how = TextsField()
    caution = TextsField()
    retired_at = InstantField(allow_null=True)


class CountsOutput(serializers.Serializer[Any]):
    """What a changed rule did to its coming work."""

    n_made = serializers.IntegerField()
    n_moved = serializers.IntegerField()
    n_cancelled = serializers.IntegerField()
    n_missed = serializers.IntegerField()
    n_revived = serializers.IntegerField()


class EditedOutput(serializers.Serializer[Any]):
    """The standing order as it is now, and what that did to its coming work."""

    standing_order = StandingOrderOutput()
    counts = CountsOutput()


class ProblemOutput(serializers.ModelSerializer[Problem]):
    """Something reported wrong, until someone answers it."""

    reported_by = WhoField()
    answered_by = WhoField(allow_null=True)

    class Meta:
        model = Problem
        exclude = ["site", "event"]


class ProblemQuery(serializers.Serializer[Any]):
    """Which problems."""

    is_open = serializers.BooleanField(required=False)
    place = KeyField(required=False)


class ProblemInput(SaidInput):
    """What is wrong, and where."""

    text = serializers.CharField(max_length=300)
    place = KeyField(allow_null=True, default=None)


class AnswerInput(SaidInput):
    """What was done about it."""

    answer = serializers.CharField(max_length=300)
