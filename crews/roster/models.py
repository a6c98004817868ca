"""Shift patterns, who works which shift, and which crew has which pens."""

from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import RangeOperators
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from crews.people.models import Crew, Worker
from equipment.barns.models import Pen
from equipment.site.constraints import TsTzRange, site_constraints
from equipment.site.models import Named, SiteModel, unique_key


class ShiftPattern(Named):
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


class Shift(SiteModel):
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
                condition=Q(presence__in=["expected", "here"]),
            ),
        ]
        indexes = [models.Index(fields=["site", "starts_at"], name="%(class)s_start")]


class CrewPens(SiteModel):
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
