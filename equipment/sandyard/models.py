"""Where sand goes: settling lanes, slabs, pads with bays, pile places, and the farm's practice."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from equipment.site.constraints import place_constraints, site_constraints
from equipment.site.models import PlaceModel, SiteModel


class Lane(PlaceModel):
    """A slow channel where flushed sand drops; alleys reach it through `drains_to`."""

    capacity_m3 = models.FloatField()
    scoops_local = models.JSONField(default=list)
    length_m = models.FloatField(null=True, blank=True)
    width_m = models.FloatField(null=True, blank=True)
    slope_frac = models.FloatField(default=0.003)
    water_degc = models.FloatField(default=12)

    class Meta:
        constraints = [
            *place_constraints(),
            models.CheckConstraint(
                name="%(class)s_geometry",
                condition=Q(slope_frac__gt=0, water_degc__range=(0, 40))
                & (Q(length_m__isnull=True) | Q(length_m__gt=0))
                & (Q(width_m__isnull=True) | Q(width_m__gt=0)),
            ),
        ]


class SandKind(models.TextChoices):
    """Bands of a gradation, by the standard that draws them."""

    C33 = "c33", _("Concrete sand (ASTM C33)")
    C144 = "c144", _("Mason sand (ASTM C144)")


class Slab(PlaceModel):
    """Concrete where scooped sand drains before it goes to a bay."""

    capacity_kg = models.FloatField()

    class Meta:
        constraints = [*place_constraints()]


class Pad(PlaceModel):
    """A drying area, split into bays."""

    class Meta:
        constraints = [*place_constraints()]


class Bay(PlaceModel):
    """Room for one batch on a pad."""

    pad = models.ForeignKey(Pad, on_delete=models.PROTECT, related_name="bays")
    area_m2 = models.FloatField()
    capacity_kg = models.FloatField()

    class Meta:
        constraints = [
            *place_constraints("pad"),
            models.CheckConstraint(
                name="%(class)s_size", condition=Q(area_m2__gt=0, capacity_kg__gt=0)
            ),
        ]


class PilePlace(PlaceModel):
    """Room for one dated pile."""

    capacity_kg = models.FloatField()

    class Meta:
        constraints = [*place_constraints()]


class SandPractice(SiteModel):
    """The farm's own figures for its sand; every one a setting. Masses are dry."""

    use_kg_stall_d = models.FloatField(default=22)
    recovery_frac = models.FloatField(default=0.78)
    drain_h = models.FloatField(default=36)
    layer_depth_m = models.FloatField(default=0.25)
    turned_depth_m = models.FloatField(default=0.25)
    bulk_density_kg_m3 = models.FloatField(default=1600)
    field_capacity_frac = models.FloatField(default=0.12)
    wilting_point_frac = models.FloatField(default=0.04)
    evaporation_depth_m = models.FloatField(default=0.10)
    rew_mm = models.FloatField(default=5)
    pad_kc = models.FloatField(default=1.2)
    turns_per_d = models.FloatField(default=2)
    scooped_moisture_wb_frac = models.FloatField(default=0.15)
    dry_moisture_wb_frac = models.FloatField(default=0.05)
    dry_hold_d = models.PositiveSmallIntegerField(default=1)
    pile_close_d = models.PositiveSmallIntegerField(default=8)
    cure_d = models.PositiveSmallIntegerField(default=60)
    safety_stock_kg = models.FloatField(default=0)
    repose_deg = models.FloatField(default=34)
    sand_kind = models.CharField(max_length=4, choices=SandKind, default=SandKind.C33)
    passing_frac = models.JSONField(default=list)
    recovery_sd_frac = models.FloatField(default=0.1)

    class Meta:
        constraints = [
            *site_constraints(),
            models.UniqueConstraint(fields=["site"], name="%(class)s_once"),
            models.CheckConstraint(
                name="%(class)s_fractions",
                condition=Q(
                    recovery_frac__range=(0, 1),
                    scooped_moisture_wb_frac__range=(0, 0.9),
                    dry_moisture_wb_frac__range=(0, 0.9),
                ),
            ),
        ]
