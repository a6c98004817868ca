"""Shift patterns, who works which shift, by which rules, rosters made, and who has which pens."""

from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import RangeOperators
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from crews.people.models import Crew, Skill, Worker
from equipment.barns.models import Pen
from equipment.site.constraints import TsTzRange, site_constraints
from equipment.site.models import Actor, Dated, Named, SiteModel, unique_key


class ShiftPattern(Dated, Named):
    """A shift's local start and its length on an ordinary night."""

    starts_local = models.TimeField()
    duration_min = models.PositiveIntegerField()
    breaks = models.JSONField(default=list)

    class Meta:
        constraints = [*site_constraints(), unique_key()]


class Rotation(SiteModel):
    """A worker's turn: so many days on, so many off, counted from a date."""

    worker = models.OneToOneField(Worker, on_delete=models.CASCADE, related_name="rotation")
    pattern = models.ForeignKey(ShiftPattern, on_delete=models.PROTECT, related_name="rotations")
    days_on = models.PositiveSmallIntegerField()
    days_off = models.PositiveSmallIntegerField()
    anchor_on = models.DateField()

    class Meta:
        constraints = [
            *site_constraints("worker", "pattern"),
            models.CheckConstraint(name="%(class)s_on", condition=Q(days_on__gt=0)),
        ]


class Presence(models.TextChoices):
    EXPECTED = "expected", _("Expected")
    HERE = "here", _("Here")
    SICK = "sick", _("Sick")
    ON_LEAVE = "on_leave", _("On leave")


WORKING = (Presence.EXPECTED, Presence.HERE)  # who can be counted on


class Shift(Dated, SiteModel):
    """One worker's shift on one local date."""

    worker = models.ForeignKey(Worker, on_delete=models.PROTECT, related_name="shifts")
    pattern = models.ForeignKey(ShiftPattern, on_delete=models.PROTECT, related_name="shifts")
    local_date = models.DateField()
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    presence = models.CharField(max_length=8, choices=Presence, default=Presence.EXPECTED)

    class Meta:
        constraints = [
            *site_constraints("worker", "pattern"),
            models.UniqueConstraint(
                fields=["worker", "pattern", "local_date"], name="%(class)s_once"
            ),
            models.CheckConstraint(name="%(class)s_span", condition=Q(ends_at__gt=F("starts_at"))),
            ExclusionConstraint(
                name="%(class)s_no_overlap",
                expressions=[
                    ("worker", RangeOperators.EQUAL),
                    (TsTzRange("starts_at", "ends_at"), RangeOperators.OVERLAPS),
                ],
                condition=Q(presence__in=WORKING),
            ),
        ]
        indexes = [
            models.Index(fields=["site", "starts_at"], name="%(class)s_start"),
            models.Index(fields=["site", "ends_at"], name="%(class)s_end"),
        ]


class DayByHand(SiteModel):
    """That a lead put a worker's day so, by hand or by a swap: a shift, or (none) the day off.

    It goes before the rotation, and a roster keeps it where rules allow. `is_despite_leave`: the
    worker was on leave already, and is expected even so.
    """

    worker = models.ForeignKey(Worker, on_delete=models.CASCADE, related_name="+")
    local_date = models.DateField()
    pattern = models.ForeignKey(
        ShiftPattern, null=True, blank=True, on_delete=models.CASCADE, related_name="+"
    )
    is_despite_leave = models.BooleanField(default=False)
    decided_at = models.DateTimeField()

    class Meta:
        constraints = [
            *site_constraints("worker", "pattern"),
            models.UniqueConstraint(fields=["worker", "local_date"], name="%(class)s_once"),
        ]


class CrewPens(Dated, SiteModel):
    """That a crew has a pen on a shift: always (no date), or on one local date instead."""

    crew = models.ForeignKey(Crew, on_delete=models.PROTECT, related_name="pens")
    pattern = models.ForeignKey(ShiftPattern, on_delete=models.PROTECT, related_name="+")
    pen = models.ForeignKey(Pen, on_delete=models.PROTECT, related_name="crews")
    local_date = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [
            *site_constraints("crew", "pattern", "pen"),
            models.UniqueConstraint(
                fields=["pattern", "pen", "local_date"],
                name="%(class)s_once",
                nulls_distinct=False,
            ),
        ]


class WorkRules(SiteModel):
    """What a roster keeps to; none: the rule of the farm, then its default (`build.rules_of`)."""

    rest_h = models.FloatField(null=True, blank=True)
    week_least_h = models.FloatField(null=True, blank=True)
    week_most_h = models.FloatField(null=True, blank=True)
    days_in_row_most = models.PositiveSmallIntegerField(null=True, blank=True)
    nights_in_row_most = models.PositiveSmallIntegerField(null=True, blank=True)
    weekends_most = models.PositiveSmallIntegerField(null=True, blank=True)  # of four

    class Meta:
        abstract = True


class RosterPractice(WorkRules):
    """The farm's own rules, and what a roster pays for what it leaves unmet: all of it settings."""

    under_price = models.FloatField(default=10)
    wish_price = models.FloatField(default=3)
    turn_price = models.FloatField(default=1)
    apart_price = models.FloatField(default=0.5)
    lead_price = models.FloatField(default=4)
    change_price = models.FloatField(default=2)
    night_price = models.FloatField(default=0)
    weekend_price = models.FloatField(default=0)

    class Meta:
        constraints = [
            *site_constraints(),
            models.UniqueConstraint(fields=["site"], name="%(class)s_once"),
        ]


class WorkerRules(WorkRules):
    """What one worker's roster keeps to, where it is not what the farm says for all."""

    worker = models.OneToOneField(Worker, on_delete=models.CASCADE, related_name="rules")

    class Meta:
        constraints = site_constraints("worker")


class ShiftDemand(SiteModel):
    """How many a shift needs, of a skill or (none) in all: each date, or on one; the more counts.

    The farm file gives the undated ones; dated ones are reckoned from the coming work.
    """

    pattern = models.ForeignKey(ShiftPattern, on_delete=models.CASCADE, related_name="demand")
    skill = models.ForeignKey(
        Skill, null=True, blank=True, on_delete=models.CASCADE, related_name="+"
    )
    local_date = models.DateField(null=True, blank=True)
    least = models.PositiveSmallIntegerField(default=0)
    target = models.PositiveSmallIntegerField()

    class Meta:
        constraints = [
            *site_constraints("pattern", "skill"),
            models.UniqueConstraint(
                fields=["pattern", "skill", "local_date"],
                name="%(class)s_once",
                nulls_distinct=False,
            ),
            models.CheckConstraint(name="%(class)s_span", condition=Q(target__gte=F("least"))),
        ]


class ShiftWish(Dated, SiteModel):
    """What a worker would like on a date: a shift, or (none) the day off."""

    worker = models.ForeignKey(Worker, on_delete=models.CASCADE, related_name="wishes")
    local_date = models.DateField()
    pattern = models.ForeignKey(
        ShiftPattern, null=True, blank=True, on_delete=models.CASCADE, related_name="+"
    )

    class Meta:
        constraints = [
            *site_constraints("worker", "pattern"),
            models.UniqueConstraint(fields=["worker", "local_date"], name="%(class)s_once"),
        ]


class RosterState(models.TextChoices):
    SOLVING = "solving", _("Being made")
    DRAFT = "draft", _("Draft")
    PUBLISHED = "published", _("Published")
    CANCELLED = "cancelled", _("Given up")
    IMPOSSIBLE = "impossible", _("No roster keeps all the rules")
    FAILED = "failed", _("Could not be made")


class RosterRun(Dated, SiteModel):
    """A roster that was asked for: its problem, what was found, and what became of it.

    `problem` and `solution` are the documents that `solve_week` reads and writes. `is_refill`:
    made around what is published, with the fewest changes. `told` is what publishing changed.
    """

    from_on = models.DateField()
    until_on = models.DateField()
    made_at = models.DateTimeField()
    by = models.ForeignKey(Actor, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    state = models.CharField(max_length=10, choices=RosterState, default=RosterState.SOLVING)
    is_refill = models.BooleanField(default=False)
    seed = models.PositiveIntegerField(default=0)
    site_version = models.PositiveBigIntegerField()
    problem = models.JSONField()
    solution = models.JSONField(null=True, blank=True)
    cost = models.FloatField(null=True, blank=True)
    bound_cost = models.FloatField(null=True, blank=True)
    gap_frac = models.FloatField(null=True, blank=True)
    n_parts_done = models.PositiveSmallIntegerField(default=0)
    why = models.JSONField(default=list)
    told = models.JSONField(default=list)
    finished_at = models.DateTimeField(null=True, blank=True)
    published_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            *site_constraints("by"),
            models.UniqueConstraint(
                fields=["site"], condition=Q(state="solving"), name="%(class)s_one_live"
            ),
            models.CheckConstraint(name="%(class)s_span", condition=Q(until_on__gt=F("from_on"))),
            models.CheckConstraint(
                name="%(class)s_found",
                condition=~Q(state__in=["draft", "published"]) | Q(solution__isnull=False),
            ),
        ]
        ordering = ["made_at", "pk"]


class SwapState(models.TextChoices):
    ASKED = "asked", _("Asked")
    APPROVED = "approved", _("Approved")
    REFUSED = "refused", _("Refused")


class SwapRequest(Dated, SiteModel):
    """That a worker would give a date's shift to another, and maybe take one of theirs for it."""

    worker = models.ForeignKey(Worker, on_delete=models.CASCADE, related_name="+")
    local_date = models.DateField()
    to_worker = models.ForeignKey(Worker, on_delete=models.CASCADE, related_name="+")
    for_date = models.DateField(null=True, blank=True)
    state = models.CharField(max_length=8, choices=SwapState, default=SwapState.ASKED)
    asked_at = models.DateTimeField()
    by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    decided_at = models.DateTimeField(null=True, blank=True)
    decided_by = models.ForeignKey(
        Actor, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        constraints = [
            *site_constraints("worker", "to_worker", "by", "decided_by"),
            models.UniqueConstraint(
                fields=["worker", "local_date"],
                condition=Q(state="asked"),
                name="%(class)s_one_open",
            ),
            models.CheckConstraint(name="%(class)s_two", condition=~Q(worker=F("to_worker"))),
        ]
        ordering = ["asked_at", "pk"]
