"""The parlor: the farm's clock."""

from django.db import models
from django.db.models import Q

from equipment.site.constraints import place_constraints, site_constraints
from equipment.site.models import PlaceModel, SiteModel


class Parlor(PlaceModel):
    """A rotary (or batch) parlor with its speed, its losses and the farm's limits around it."""

    n_stalls = models.PositiveIntegerField()
    seconds_per_stall_s = models.FloatField()
    empty_frac = models.FloatField(default=0)
    second_turn_frac = models.FloatField(default=0)
    wash_min = models.FloatField()
    cow_walk_m_min = models.FloatField(default=55)
    open_buffer_min = models.FloatField(default=5)
    close_buffer_min = models.FloatField(default=5)
    away_limit_min = models.FloatField(default=60)

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
