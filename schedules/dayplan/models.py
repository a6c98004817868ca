"""The day's plan: what was asked, what came out, and who and what is taken when."""

from datetime import UTC, datetime

from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import DateTimeRangeField, RangeOperators
from django.contrib.postgres.indexes import GistIndex
from django.db import models
from django.db.models import Deferrable, Q

from crews.people.models import Worker
from equipment.machines.models import Machine
from equipment.site.constraints import site_constraints
from equipment.site.models import Actor, Dated, Place, SiteModel
from schedules.work.models import WorkOrder

EARLIEST = datetime(2000, 1, 1, tzinfo=UTC)
LATEST = datetime(2200, 1, 1, tzinfo=UTC)  # PostgreSQL's 'infinity' is no finite end either


class PlanPractice(SiteModel):
    """What the farm's plan of the day weighs how much, in minutes of walking: all of it settings.

    `keep_chance_frac`: how likely each job should end in its window; a minute less of the slack
    that this takes costs `slack_price`. Each job changed that people know of costs `change_price`,
    each given to another crew than its pen's `off_crew_price`, a minute of overtime
    `overtime_price`, a minute of work beyond an even share `balance_price`.
    """

    keep_chance_frac = models.FloatField(default=0.9)
    slack_price = models.FloatField(default=0.5)
    change_price = models.FloatField(default=20)
    off_crew_price = models.FloatField(default=5)
    overtime_price = models.FloatField(default=3)
    balance_price = models.FloatField(default=0)

    class Meta:
        constraints = [
            *site_constraints(),
            models.UniqueConstraint(fields=["site"], name="%(class)s_once"),
        ]


class PlanRun(Dated, SiteModel):
    """One solve of one local day, with the problem and solution as they were.

    `changes` says what it put in place otherwise than the plan before, and who must be told;
    `chances` holds, by work order, the chance below one that it ends in its window.
    """

    local_date = models.DateField()
    number = models.PositiveIntegerField()
    made_at = models.DateTimeField()
    site_version = models.BigIntegerField()
    seed = models.BigIntegerField()
    problem = models.JSONField(default=dict)
    solution = models.JSONField(default=dict)
    n_assigned = models.PositiveIntegerField()
    n_unassigned = models.PositiveIntegerField()
    score = models.JSONField(default=dict)
    bound_cost = models.FloatField(default=0)
    took_s = models.FloatField(default=0)
    chances = models.JSONField(default=dict)
    changes = models.JSONField(default=list)

    class Meta:
        constraints = [
            *site_constraints(),
            models.UniqueConstraint(
                fields=["site", "local_date", "number"], name="%(class)s_number"
            ),
        ]
        ordering = ["local_date", "number"]


class DaySearch(SiteModel):
    """The one search for a plan that a site has: whose it is, how far it is, if it is to stop.

    A later run takes it over from an earlier one, which stops; the plan of a run earlier than
    `put_by`, whose plan stands, is not put in place any more. `dropped` holds who had what was
    taken off or given by hand since the last plan, so that the next can say what became of it.
    """

    holder = models.BigIntegerField(default=0)
    put_by = models.BigIntegerField(default=0)
    began_at = models.DateTimeField(null=True, blank=True)
    told_at = models.DateTimeField(null=True, blank=True)
    left_s = models.FloatField(default=0)
    elapsed_s = models.FloatField(default=0)
    n_iterations = models.PositiveBigIntegerField(default=0)
    cost = models.FloatField(default=0)
    bound_cost = models.FloatField(default=0)
    n_left_out = models.PositiveIntegerField(default=0)
    is_running = models.BooleanField(default=False)
    is_to_stop = models.BooleanField(default=False)
    dropped = models.JSONField(default=list)

    class Meta:
        constraints = [
            *site_constraints(),
            models.UniqueConstraint(fields=["site"], name="%(class)s_one_a_site"),
        ]


class Assignment(Dated, SiteModel):
    """Who does a work order, with what, from when to when. A by-hand one binds the plan."""

    work_order = models.OneToOneField(
        WorkOrder, on_delete=models.CASCADE, related_name="assignment"
    )
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    is_by_hand = models.BooleanField(default=False)
    by = models.ForeignKey(Actor, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            *site_constraints("work_order", "by"),
            models.CheckConstraint(
                name="%(class)s_span", condition=Q(ends_at__gt=models.F("starts_at"))
            ),
        ]
        indexes = [models.Index(fields=["site", "ends_at"], name="%(class)s_end")]


def _never_twice(field: str) -> ExclusionConstraint:
    """Build the rule that one `field` is on no two overlapping claims that bind."""
    return ExclusionConstraint(
        name=f"%(class)s_{field}_never_twice",
        expressions=[
            (field, RangeOperators.EQUAL),
            ("span", RangeOperators.OVERLAPS),
        ],
        condition=Q(is_binding=True),
        deferrable=Deferrable.DEFERRED,
    )


class Claim(Dated, SiteModel):
    """One worker, one machine or one place taken by an assignment for a finite `[)` span.

    It binds while its work order is untouched. Begun or closed work is a fact, wherever the plan
    had it: its claims stay as the record of who had it.
    """

    assignment = models.ForeignKey(Assignment, on_delete=models.CASCADE, related_name="claims")
    worker = models.ForeignKey(
        Worker, null=True, blank=True, on_delete=models.PROTECT, related_name="claims"
    )
    machine = models.ForeignKey(
        Machine, null=True, blank=True, on_delete=models.PROTECT, related_name="claims"
    )
    place = models.ForeignKey(
        Place, null=True, blank=True, on_delete=models.PROTECT, related_name="claims"
    )
    span = DateTimeRangeField()
    is_binding = models.BooleanField(default=True)

    class Meta:
        constraints = [
            *site_constraints("assignment", "worker", "machine", "place"),
            _never_twice("worker"),
            _never_twice("machine"),
            _never_twice("place"),
            models.CheckConstraint(
                name="%(class)s_takes_one_thing",
                condition=Q(worker__isnull=False, machine__isnull=True, place__isnull=True)
                | Q(worker__isnull=True, machine__isnull=False, place__isnull=True)
                | Q(worker__isnull=True, machine__isnull=True, place__isnull=False),
            ),
            models.CheckConstraint(
                name="%(class)s_span_finite",
                condition=Q(
                    span__isempty=False,
                    span__lower_inf=False,
                    span__upper_inf=False,
                    span__lower_inc=True,
                    span__upper_inc=False,
                    span__startswith__gte=EARLIEST,
                    span__endswith__lte=LATEST,
                ),
            ),
        ]
        indexes = [GistIndex(fields=["site", "span"], name="%(class)s_when")]


class Unassigned(Dated, SiteModel):
    """A work order of the day that nobody has, and why: codes with their facts."""

    work_order = models.OneToOneField(
        WorkOrder, on_delete=models.CASCADE, related_name="unassigned"
    )
    plan = models.ForeignKey(PlanRun, on_delete=models.CASCADE, related_name="unassigned")
    reasons = models.JSONField(default=list)

    class Meta:
        constraints = [*site_constraints("work_order", "plan")]
