"""Weeping-wall basins and their levels."""

from django.db import models
from django.db.models import Q

from equipment.site.constraints import place_constraints, site_constraints
from equipment.site.models import Actor, PlaceModel, SiteModel


class Basin(PlaceModel):
    """A storage for flush solids with weeping walls."""

    length_m = models.FloatField()
    width_m = models.FloatField()
    depth_m = models.FloatField()
    must_act_depth_m = models.FloatField()

    class Meta:
        constraints = [
            *place_constraints(),
            models.CheckConstraint(
                name="%(class)s_size",
                condition=Q(length_m__gt=0, width_m__gt=0, must_act_depth_m__gt=0)
                & Q(depth_m__gte=models.F("must_act_depth_m")),
            ),
        ]


class LevelReading(SiteModel):
    """Depth by the marker. Only ever added."""

    basin = models.ForeignKey(Basin, on_delete=models.PROTECT, related_name="levels")
    read_at = models.DateTimeField()
    depth_m = models.FloatField()
    by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            *site_constraints("basin", "by"),
            models.CheckConstraint(name="%(class)s_depth", condition=Q(depth_m__gte=0)),
        ]
        ordering = ["read_at"]
