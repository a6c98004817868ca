"""Pens, the beds in them and the alleys between."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from equipment.site.constraints import place_constraints
from equipment.site.models import Dated, PlaceModel


class PenKind(models.TextChoices):
    MILKING = "milking", pgettext_lazy("cows", "Milking")
    FRESH = "fresh", _("Fresh")
    HEIFER = "heifer", _("Heifers")
    HOSPITAL = "hospital", _("Hospital")


class ReturnMode(models.TextChoices):
    """What a pen does to have time for its beds (design, Words)."""

    NONE = "none", _("Straight back")
    GATE_HELD = "gate_held", _("Return gate held")
    SPARE_PEN = "spare_pen", _("Spare clean pen")
    FEED_RAIL_LOCK = "feed_rail_lock", _("Locked at the feed rail")
    INNER_GATE = "inner_gate", _("Moving inner gate")


class Pen(Dated, PlaceModel):
    """A group of cows and the space they live in."""

    kind = models.CharField(max_length=8, choices=PenKind)
    n_cows = models.PositiveIntegerField()
    walk_m = models.FloatField()
    clear_min = models.FloatField(default=4)
    milking_rank = models.PositiveSmallIntegerField()
    contagion_class = models.PositiveSmallIntegerField(default=2)
    is_milk_withheld = models.BooleanField(default=False)
    return_mode = models.CharField(max_length=14, choices=ReturnMode, default=ReturnMode.NONE)
    return_hold_min = models.FloatField(default=0)

    class Meta:
        constraints = [
            *place_constraints(),
            models.CheckConstraint(name="%(class)s_walk", condition=Q(walk_m__gt=0)),
        ]


class BedGroup(Dated, PlaceModel):
    """A row of stalls groomed as one."""

    pen = models.ForeignKey(Pen, on_delete=models.PROTECT, related_name="bed_groups")
    n_stalls = models.PositiveIntegerField()
    is_far_row = models.BooleanField(default=False)
    alley = models.ForeignKey(
        "Alley", null=True, blank=True, on_delete=models.PROTECT, related_name="bed_groups"
    )

    class Meta:
        constraints = [
            *place_constraints("pen", "alley"),
            models.CheckConstraint(name="%(class)s_stalls", condition=Q(n_stalls__gt=0)),
        ]


class Alley(Dated, PlaceModel):
    """The lane a flush washes. Return and holding alleys belong to no pen."""

    pen = models.ForeignKey(
        Pen, null=True, blank=True, on_delete=models.PROTECT, related_name="alleys"
    )
    length_m = models.FloatField()
    width_m = models.FloatField()
    slope_frac = models.FloatField(default=0.02)

    class Meta:
        constraints = [
            *place_constraints("pen"),
            models.CheckConstraint(
                name="%(class)s_size", condition=Q(length_m__gt=0, width_m__gt=0)
            ),
        ]
