"""Standing orders and the work orders they make."""

from enum import StrEnum

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from equipment.machines.models import Machine, ServiceItem
from equipment.site.constraints import site_constraints
from equipment.site.models import Actor, Dated, Event, Named, Place, SiteModel, unique_key
from schedules.rounds.models import PenVisit
from schedules.sand.models import Batch


class Trigger(models.TextChoices):
    """What makes recurring work fall due (design, Words: standing order)."""

    CALENDAR = "calendar", _("Calendar rule")
    HOURS_SINCE = "hours_since", _("Hours since last done")
    PEN_VISIT = "pen_visit", _("Pen visit")
    BATCH_STAGE = "batch_stage", _("Batch stage")
    METER = "meter", _("Meter reading")
    WEATHER = "weather", _("Weather threshold")
    AFTER = "after", _("End of another job")


class Effort(models.TextChoices):
    LIGHT = "light", _("Light")
    MODERATE = "moderate", _("Moderate")
    HEAVY = "heavy", _("Heavy")


class LateRule(models.TextChoices):
    RUN_ONCE = "run_once", _("Do it late, once")
    RECORD_MISSED = "record_missed", _("Record it as missed")


class StandingOrder(Dated, Named):
    """The rule that makes recurring work.

    `trigger_rule`, `target` and `duration` are small documents whose keys schedules.work.rules
    documents and checks.
    """

    title = models.JSONField(default=dict)
    trigger = models.CharField(max_length=12, choices=Trigger)
    trigger_rule = models.JSONField(default=dict)
    target = models.JSONField(default=dict)
    duration = models.JSONField(default=dict)
    skill = models.SlugField(max_length=60, blank=True)
    machine_kinds = models.JSONField(default=list)
    attachment_kind = models.CharField(max_length=12, blank=True)
    n_people = models.PositiveSmallIntegerField(default=1)
    priority = models.PositiveSmallIntegerField(default=3)
    effort = models.CharField(max_length=8, choices=Effort, default=Effort.MODERATE)
    is_daylight_only = models.BooleanField(default=False)
    needs_lock = models.BooleanField(default=False)
    needs_clean_bucket = models.BooleanField(default=False)
    late_rule = models.CharField(max_length=14, choices=LateRule, default=LateRule.RECORD_MISSED)
    how = models.JSONField(default=dict)
    caution = models.JSONField(default=dict)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            *site_constraints(),
            unique_key(),
            models.CheckConstraint(
                name="%(class)s_priority", condition=Q(priority__range=(1, 9), n_people__gte=1)
            ),
        ]


class Status(models.TextChoices):
    """RFC 5545, VTODO STATUS."""

    NEEDS_ACTION = "NEEDS-ACTION", _("To do")
    IN_PROCESS = "IN-PROCESS", _("Under way")
    COMPLETED = "COMPLETED", _("Completed")
    CANCELLED = "CANCELLED", _("Cancelled")


class Outcome(models.TextChoices):
    DONE = "done", _("Done")
    PART = "part", _("Part done")
    COULD_NOT = "could_not", _("Could not")
    NOT_NEEDED = "not_needed", _("No longer needed")
    MISSED = "missed", _("Missed")


class Question(StrEnum):
    """What a person is asked to decide about a work order (`needs_decision`)."""

    MACHINE_ON_HOLD = "machine_on_hold"
    LATE_REPORT = "late_report"
    OUTSIDE_WINDOW = "outside_window"
    REPORTS_DIFFER = "reports_differ"
    DONE_WHILE_WAITING = "done_while_waiting"
    PLACE_ASSUMED = "place_assumed"
    SAND_NOT_BOOKED = "sand_not_booked"
    TEST_MISSING = "test_missing"
    RELEASE_NEEDS_LEAD = "release_needs_lead"
    LOCK_MISSING = "lock_missing"


UNBOOKED = (Question.SAND_NOT_BOOKED, Question.TEST_MISSING, Question.RELEASE_NEEDS_LEAD)


class Cause(StrEnum):
    """Why the service itself called a work order off (`reason`); a person writes words there."""

    VISIT_GONE = "visit_gone"
    BATCH_MOVED_ON = "batch_moved_on"
    NOT_DUE_YET = "not_due_yet"
    LEADER_GONE = "leader_gone"
    ORDER_RETIRED = "order_retired"
    RULE_CHANGED = "rule_changed"
    REPORT_UNDONE = "report_undone"


class WorkOrder(Dated, SiteModel):
    """One piece of work: where, when at the earliest and latest, with whom and what."""

    natural_key = models.CharField(max_length=160)
    standing_order = models.ForeignKey(
        StandingOrder, null=True, blank=True, on_delete=models.PROTECT, related_name="work_orders"
    )
    title = models.JSONField(default=dict)
    amount = models.CharField(max_length=60, blank=True)
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="work_orders")
    visit = models.ForeignKey(
        PenVisit, null=True, blank=True, on_delete=models.SET_NULL, related_name="work_orders"
    )
    batch = models.ForeignKey(
        Batch, null=True, blank=True, on_delete=models.PROTECT, related_name="work_orders"
    )
    for_machine = models.ForeignKey(
        Machine, null=True, blank=True, on_delete=models.PROTECT, related_name="work_orders"
    )
    service_item = models.ForeignKey(
        ServiceItem, null=True, blank=True, on_delete=models.PROTECT, related_name="work_orders"
    )
    cycle = models.PositiveIntegerField(null=True, blank=True)
    batch_step = models.CharField(max_length=16, blank=True)
    local_date = models.DateField()
    starts_after = models.DateTimeField()
    due_at = models.DateTimeField()
    duration_min = models.FloatField()
    skill = models.SlugField(max_length=60, blank=True)
    machine_kinds = models.JSONField(default=list)
    n_people = models.PositiveSmallIntegerField(default=1)
    priority = models.PositiveSmallIntegerField(default=3)
    status = models.CharField(max_length=12, choices=Status, default=Status.NEEDS_ACTION)
    outcome = models.CharField(max_length=10, choices=Outcome, blank=True)
    reason = models.CharField(max_length=300, blank=True)
    n_left = models.PositiveIntegerField(null=True, blank=True)
    started_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    started_by = models.ForeignKey(
        Actor, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    ended_by = models.ForeignKey(
        Actor, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    needs_decision = models.CharField(max_length=40, blank=True)
    loads = models.PositiveIntegerField(default=0)
    version = models.PositiveIntegerField(default=1)
    updated_at = models.DateTimeField()

    class Meta:
        constraints = [
            *site_constraints(
                "standing_order",
                "place",
                "visit",
                "batch",
                "for_machine",
                "service_item",
                "started_by",
                "ended_by",
            ),
            models.UniqueConstraint(fields=["site", "natural_key"], name="%(class)s_once"),
            models.CheckConstraint(
                name="%(class)s_window", condition=Q(due_at__gt=F("starts_after"))
            ),
            models.CheckConstraint(
                name="%(class)s_ended_has_outcome",
                condition=Q(status__in=["NEEDS-ACTION", "IN-PROCESS"], outcome="")
                | (Q(status__in=["COMPLETED", "CANCELLED"]) & ~Q(outcome="")),
            ),
        ]
        indexes = [
            models.Index(fields=["site", "local_date"], name="%(class)s_date"),
            models.Index(
                fields=["site", "due_at"],
                name="%(class)s_open",
                condition=Q(status__in=["NEEDS-ACTION", "IN-PROCESS"]),
            ),
            models.Index(fields=["site", "due_at"], name="%(class)s_due"),
            models.Index(fields=["site", "updated_at"], name="%(class)s_updated"),
            models.Index(fields=["site"], name="%(class)s_asked", condition=~Q(needs_decision="")),
        ]


class Relation(models.TextChoices):
    """RFC 9253, temporal relation types."""

    FINISH_TO_START = "FINISHTOSTART", _("Start after it ends")
    FINISH_TO_FINISH = "FINISHTOFINISH", _("End after it ends")
    START_TO_START = "STARTTOSTART", _("Start after it starts")
    START_TO_FINISH = "STARTTOFINISH", _("End after it starts")


class Dependency(Dated, SiteModel):
    """DEPENDS-ON (RFC 9253): relation type, least gap, and a greatest gap of our own."""

    work_order = models.ForeignKey(WorkOrder, on_delete=models.CASCADE, related_name="needs")
    on = models.ForeignKey(WorkOrder, on_delete=models.CASCADE, related_name="needed_by")
    relation = models.CharField(max_length=14, choices=Relation, default=Relation.FINISH_TO_START)
    gap_min = models.FloatField(default=0)
    gap_max_min = models.FloatField(null=True, blank=True)

    class Meta:
        constraints = [
            *site_constraints("work_order", "on"),
            models.UniqueConstraint(fields=["work_order", "on"], name="%(class)s_once"),
            models.CheckConstraint(name="%(class)s_not_itself", condition=~Q(work_order=F("on"))),
        ]


class Report(Dated, SiteModel):
    """A fact told about a work order: started, done, part, could not, a load, undone."""

    work_order = models.ForeignKey(WorkOrder, on_delete=models.CASCADE, related_name="reports")
    kind = models.CharField(max_length=16)
    at = models.DateTimeField()
    by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    event = models.ForeignKey(
        Event, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    reason = models.CharField(max_length=300, blank=True)
    n_left = models.PositiveIntegerField(null=True, blank=True)
    machine = models.ForeignKey(
        Machine, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        constraints = [*site_constraints("work_order", "by", "event", "machine")]
        ordering = ["at", "id"]


class Problem(Dated, SiteModel):
    """Something reported wrong at a place, until someone answers it."""

    place = models.ForeignKey(
        Place, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    text = models.CharField(max_length=300)
    is_safety = models.BooleanField(default=False)
    reported_by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    reported_at = models.DateTimeField()
    event = models.ForeignKey(
        Event, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    answer = models.CharField(max_length=300, blank=True)
    answered_by = models.ForeignKey(
        Actor, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    answered_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [*site_constraints("place", "reported_by", "event", "answered_by")]
