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

from .calc.content import Learned
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
from .work_content import LoadContent, MachineContent, OrderContent, WhyNot, WorkContent


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


class LearnedOutput(serializers.Serializer[Learned]):
    """A figure drawn from `default` to the record; `low` to `high` holds 8 jobs in 10."""

    value = serializers.FloatField()
    default = serializers.FloatField()
    n_jobs = serializers.IntegerField()
    weight_frac = serializers.FloatField(help_text="How much of the value is the record's.")
    low = serializers.FloatField()
    high = serializers.FloatField()
    error_frac = serializers.FloatField(help_text="Standard error as a share of the value.")


class MachineContentOutput(serializers.Serializer[MachineContent]):
    """What a kind of work takes with one machine."""

    machine = serializers.IntegerField(source="machine.pk")
    learned = LearnedOutput()


class OrderContentOutput(serializers.Serializer[OrderContent]):
    """What is learned of one standing order: `key` is the number of its duration that is meant."""

    standing_order = serializers.IntegerField(source="order.pk")
    key = serializers.CharField()
    learned = LearnedOutput(allow_null=True)
    why_not = serializers.ChoiceField(choices=list(WhyNot), allow_null=True)
    n_jobs = serializers.IntegerField()
    n_left_out = serializers.IntegerField()
    machines = MachineContentOutput(many=True)


class LoadContentOutput(serializers.Serializer[LoadContent]):
    """Loads an hour of one machine at one kind of work."""

    standing_order = serializers.IntegerField(source="order.pk")
    machine = serializers.IntegerField(source="machine.pk")
    learned = LearnedOutput()
    is_reckoned = serializers.BooleanField()


class WorkContentOutput(serializers.Serializer[WorkContent]):
    """What work done lately has taken; of kinds of work and machines, never of people."""

    orders = OrderContentOutput(many=True)
    loads = LoadContentOutput(many=True)


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
    is_safety = serializers.BooleanField(default=False, help_text="It could hurt someone.")


class AnswerInput(SaidInput):
    """What was done about it."""

    answer = serializers.CharField(max_length=300)
