"""Milkings, each pen's visit to the parlor, and the windows its beds can be groomed in."""

from django.db import models
from django.db.models import F, Q
from django.utils.translation import pgettext_lazy

from equipment.barns.models import BedGroup, Pen
from equipment.parlor.models import Parlor
from equipment.site.constraints import site_constraints
from equipment.site.models import Dated, SiteModel


class MilkingState(models.TextChoices):
    PLANNED = "planned", pgettext_lazy("milking", "Planned")
    STARTED = "started", pgettext_lazy("milking", "Started")
    ENDED = "ended", pgettext_lazy("milking", "Ended")


class Milking(Dated, SiteModel):
    """One pass of all milked pens through the parlor, known by local date and slot."""

    parlor = models.ForeignKey(Parlor, on_delete=models.PROTECT, related_name="milkings")
    local_date = models.DateField()
    slot = models.PositiveSmallIntegerField()
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    wash_until = models.DateTimeField()
    state = models.CharField(max_length=8, choices=MilkingState, default=MilkingState.PLANNED)

    class Meta:
        constraints = [
            *site_constraints("parlor"),
            models.UniqueConstraint(fields=["parlor", "local_date", "slot"], name="%(class)s_once"),
            models.CheckConstraint(
                name="%(class)s_span",
                condition=Q(ends_at__gt=F("starts_at"), wash_until__gte=F("ends_at")),
            ),
        ]
        ordering = ["starts_at"]


class PenVisit(Dated, SiteModel):
    """A pen's turn in a milking. Times are as expected until `actual` says what happened.

    `actual` maps any of called, first_out, last_out, first_on, first_back, last_back to an
    ISO instant reported by a person or a gate. `foretold` maps them to when a lead expects them
    instead; it counts until the moment, or a later one, is reported.
    """

    milking = models.ForeignKey(Milking, on_delete=models.CASCADE, related_name="visits")
    pen = models.ForeignKey(Pen, on_delete=models.PROTECT, related_name="visits")
    position = models.PositiveSmallIntegerField()
    n_cows = models.PositiveIntegerField()
    called_at = models.DateTimeField()
    first_out_at = models.DateTimeField()
    last_out_at = models.DateTimeField()
    first_on_at = models.DateTimeField()
    first_back_at = models.DateTimeField()
    last_back_at = models.DateTimeField()
    actual = models.JSONField(default=dict)
    foretold = models.JSONField(default=dict)
    warnings = models.JSONField(default=list)
    cost_cow_h = models.FloatField(default=0)

    class Meta:
        constraints = [
            *site_constraints("milking", "pen"),
            models.UniqueConstraint(fields=["milking", "pen"], name="%(class)s_once"),
            models.CheckConstraint(
                name="%(class)s_order",
                condition=Q(
                    first_out_at__gte=F("called_at"),
                    last_out_at__gte=F("first_out_at"),
                    last_back_at__gte=F("first_back_at"),
                ),
            ),
        ]
        ordering = ["called_at"]
        indexes = [models.Index(fields=["site", "called_at"], name="%(class)s_call")]


class BedWindow(Dated, SiteModel):
    """When one bed group is empty of cows, and the part of it that work may use."""

    visit = models.ForeignKey(PenVisit, on_delete=models.CASCADE, related_name="windows")
    bed_group = models.ForeignKey(BedGroup, on_delete=models.PROTECT, related_name="windows")
    opens_at = models.DateTimeField()
    closes_at = models.DateTimeField()
    usable_from = models.DateTimeField()
    usable_until = models.DateTimeField()

    class Meta:
        constraints = [
            *site_constraints("visit", "bed_group"),
            models.UniqueConstraint(fields=["visit", "bed_group"], name="%(class)s_once"),
            models.CheckConstraint(
                name="%(class)s_span", condition=Q(closes_at__gte=F("opens_at"))
            ),
        ]
