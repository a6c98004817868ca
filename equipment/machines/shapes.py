"""What the API of machines reads and shows."""

from decimal import Decimal
from typing import Any

from rest_framework import serializers

from equipment.site.restfields import (
    FiniteField,
    HappenedAtField,
    KeyField,
    PlaceRef,
    SaidInput,
    WhoField,
)

from .models import (
    MOST_METER_H,
    CheckItem,
    Defect,
    MachineKind,
    MeterReading,
    PrestartCheck,
    Repair,
    ServiceItem,
    ServiceRecord,
)
from .queries import ItemDue


class CostField(serializers.DecimalField):
    """Money in the site's currency; nothing where it is left out."""

    def __init__(self) -> None:
        super().__init__(max_digits=10, decimal_places=2, min_value=0, default=Decimal(0))


class ReadingOutput(serializers.ModelSerializer[MeterReading]):
    """What the hour meter showed; `question` names what was odd, `reason` why it stands."""

    by = WhoField()

    class Meta:
        model = MeterReading
        exclude = ["site", "event"]


class LastReadingOutput(serializers.ModelSerializer[MeterReading]):
    """What the hour meter showed last."""

    class Meta:
        model = MeterReading
        fields = ["id", "read_at", "meter_h", "is_new_meter", "question", "reason"]


class DefectOutput(serializers.ModelSerializer[Defect]):
    """Something wrong with a machine, until someone says it was put right."""

    reported_by = WhoField()
    closed_by = WhoField(allow_null=True)

    class Meta:
        model = Defect
        exclude = ["site"]


class RepairOutput(serializers.ModelSerializer[Repair]):
    """An unplanned stop."""

    reported_by = WhoField()
    cleared_by = WhoField(allow_null=True)

    class Meta:
        model = Repair
        exclude = ["site"]


class CheckOutput(serializers.ModelSerializer[PrestartCheck]):
    """A look round before starting, and what came of it."""

    by = WhoField()

    class Meta:
        model = PrestartCheck
        exclude = ["site"]


class ServiceItemOutput(serializers.ModelSerializer[ServiceItem]):
    """What machines of a kind, or one machine, need every so many hours or days."""

    class Meta:
        model = ServiceItem
        fields = ["id", "key", "title", "every_h", "every_d", "duration_min", "skill", "caution"]


class CheckItemOutput(serializers.ModelSerializer[CheckItem]):
    """One line of the look round: the good state and where it is looked at, by language."""

    class Meta:
        model = CheckItem
        fields = ["id", "key", "position", "text", "spot", "is_safety"]


class DueOutput(serializers.Serializer[ItemDue]):
    """When a service is next due, and its range."""

    item = ServiceItemOutput()
    cycle = serializers.IntegerField(source="due.cycle")
    left_h = serializers.FloatField(source="due.left_h", allow_null=True)
    due_on = serializers.DateField(source="due.due_on", allow_null=True)
    earliest_on = serializers.DateField(source="due.earliest_on", allow_null=True)
    latest_on = serializers.DateField(source="due.latest_on", allow_null=True)
    is_over = serializers.BooleanField()


class ServiceOutput(serializers.ModelSerializer[ServiceRecord]):
    """That a service was done."""

    by = WhoField()

    class Meta:
        model = ServiceRecord
        exclude = ["site"]


class RecordedOutput(serializers.Serializer[Any]):
    """The record made, and when the item is next due."""

    record = ServiceOutput()
    next_due = DueOutput()


class AddedOutput(serializers.Serializer[Any]):
    """The reading taken, and the service items it shows to be due."""

    reading = ReadingOutput()
    due_items = ServiceItemOutput(many=True)


class MachineOutput(serializers.Serializer[Any]):
    """A machine with all that is asked of it: may it be used, what is due, what is wrong."""

    id = serializers.IntegerField(source="machine.pk")
    key = serializers.CharField(source="machine.key")
    name = serializers.CharField(source="machine.name")
    kind = serializers.ChoiceField(source="machine.kind", choices=MachineKind.choices)
    home = PlaceRef(source="machine.home")
    driver_skill = serializers.CharField(source="machine.driver_skill")
    bucket_m3 = serializers.FloatField(source="machine.bucket_m3", allow_null=True)
    fill_frac = serializers.FloatField(source="machine.fill_frac")
    is_clean_only = serializers.BooleanField(source="machine.is_clean_only")
    is_usable = serializers.BooleanField()
    hold_reasons = serializers.ListField(source="holds", child=serializers.CharField())
    last_reading = LastReadingOutput(source="last", allow_null=True)
    dues = DueOutput(many=True)
    defects = DefectOutput(many=True)
    repair = RepairOutput(allow_null=True)


class MachineQuery(serializers.Serializer[Any]):
    """Which machines."""

    kind = serializers.ChoiceField(choices=MachineKind.choices, required=False)


class ReadingInput(serializers.Serializer[Any]):
    """What an hour meter shows; a questioned one comes again with a reason."""

    meter_h = FiniteField(min_value=0, max_value=MOST_METER_H)
    read_at = HappenedAtField()
    is_new_meter = serializers.BooleanField(default=False)
    reason = serializers.CharField(max_length=300, allow_blank=True, default="")


class ServiceInput(serializers.Serializer[Any]):
    """A service done: of which item, at what reading, with what."""

    item = KeyField()
    done_at = HappenedAtField()
    meter_h = FiniteField(min_value=0, max_value=MOST_METER_H)
    minutes = serializers.IntegerField(min_value=0, max_value=100_000, default=0)
    parts = serializers.CharField(max_length=300, allow_blank=True, default="")
    cost = CostField()
    note = serializers.CharField(max_length=300, allow_blank=True, default="")
    reason = serializers.CharField(max_length=300, allow_blank=True, default="")


class CheckAnswer(serializers.Serializer[Any]):
    """One line of a look round."""

    item = KeyField()
    ok = serializers.BooleanField()
    can_work = serializers.BooleanField(default=True)
    note = serializers.CharField(max_length=300, allow_blank=True, default="")


class CheckInput(SaidInput):
    """A look round before a machine starts; every line has its answer."""

    answers = CheckAnswer(many=True, allow_empty=False)


class DefectInput(SaidInput):
    """Something wrong; what could hurt someone takes the machine out of use."""

    text = serializers.CharField(max_length=300)
    is_safety = serializers.BooleanField(default=False)


class RepairInput(SaidInput):
    """Why it is down, and what stands in."""

    cause = serializers.CharField(max_length=300)
    substitute = KeyField(allow_null=True, default=None)


class RepairEndInput(SaidInput):
    """What went into it."""

    parts = serializers.CharField(max_length=300, allow_blank=True, default="")
    cost = CostField()
