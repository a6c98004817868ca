"""The parlor: the farm's clock."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from equipment.site.constraints import place_constraints, site_constraints
from equipment.site.models import PlaceModel, SiteModel


class ParlorKind(models.TextChoices):
    ROTARY = "rotary", _("Rotary")
    BATCH = "batch", _("Sides, in groups")


class Parlor(PlaceModel):
    """A rotary or batch parlor with its speed, its losses and the farm's limits around it.

    Of a batch parlor `n_stalls` are those of one side, and `seconds_per_stall_s` is its group's
    turn shared out over the stalls of that side.
    """

    kind = models.CharField(max_length=6, choices=ParlorKind, default=ParlorKind.ROTARY)
    n_sides = models.PositiveSmallIntegerField(default=1)
    n_stalls = models.PositiveIntegerField()
    seconds_per_stall_s = models.FloatField()
    is_stall_lost_behind_second_turn = models.BooleanField(default=False)
    milking_mean_s = models.FloatField(default=383)
    milking_sd_s = models.FloatField(default=129)
    holding_area_m2 = models.FloatField(null=True, blank=True)
    holding_m2_cow = models.FloatField(default=1.6)
    empty_frac = models.FloatField(default=0)
    second_turn_frac = models.FloatField(default=0)
    wash_min = models.FloatField()
    cow_walk_m_min = models.FloatField(default=55)
    open_buffer_min = models.FloatField(default=5)
    close_buffer_min = models.FloatField(default=5)
    away_limit_min = models.FloatField(default=60)
    away_day_limit_min = models.FloatField(default=180)

    class Meta:
        constraints = [
            *place_constraints(),
            models.CheckConstraint(
                name="%(class)s_speed",
                condition=Q(
                    n_stalls__gt=0,
                    seconds_per_stall_s__gt=0,
                    empty_frac__gte=0,
                    empty_frac__lt=1,
                    second_turn_frac__gte=0,
                ),
            ),
            models.CheckConstraint(
                name="%(class)s_room",
                condition=Q(
                    n_sides__gt=0,
                    milking_mean_s__gt=0,
                    milking_sd_s__gt=0,
                    holding_m2_cow__gt=0,
                )
                & (Q(holding_area_m2=None) | Q(holding_area_m2__gt=0)),
            ),
        ]


class MilkingStart(SiteModel):
    """When a milking of the day begins, in the site's local time."""

    parlor = models.ForeignKey(Parlor, on_delete=models.PROTECT, related_name="starts")
    slot = models.PositiveSmallIntegerField()
    starts_local = models.TimeField()

    class Meta:
        constraints = [
            *site_constraints("parlor"),
            models.UniqueConstraint(fields=["parlor", "slot"], name="%(class)s_once"),
        ]
        ordering = ["slot"]
