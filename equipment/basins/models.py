"""Weeping-wall basins, what is read of them and taken out, and the fields that take it."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from equipment.site.constraints import place_constraints, site_constraints
from equipment.site.models import Actor, Dated, Named, PlaceModel, SiteModel, unique_key

MONTH_DAY = r"^(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])$"


class BasinStage(models.TextChoices):
    FIRST = "first", _("First stage")
    SECOND = "second", _("Second stage")


class Basin(Dated, PlaceModel):
    """A storage for flush solids with weeping walls, or of the second stage behind them.

    `depth_volume` is a surveyed curve, floor to rim; without one, size and slopes give it.
    `pair` names the basins that take turns; `fills` is the farm file's word until a gate is
    switched.
    """

    length_m = models.FloatField()
    width_m = models.FloatField()
    depth_m = models.FloatField()
    must_act_depth_m = models.FloatField()
    side_slope = models.FloatField(default=0)
    ramp_slope = models.FloatField(default=0)
    depth_volume = models.JSONField(default=list)
    stage = models.CharField(max_length=6, choices=BasinStage, default=BasinStage.FIRST)
    pair = models.CharField(max_length=60, blank=True)
    fills = models.BooleanField(default=True)
    weep_frac_d = models.FloatField(default=0.95)
    open_frac = models.FloatField(default=0.3)
    sludge_m = models.FloatField(default=0.1)

    class Meta:
        constraints = [
            *place_constraints(),
            models.CheckConstraint(
                name="%(class)s_size",
                condition=Q(length_m__gt=0, width_m__gt=0, must_act_depth_m__gt=0)
                & Q(depth_m__gte=models.F("must_act_depth_m")),
            ),
            models.CheckConstraint(
                name="%(class)s_shares",
                condition=Q(
                    side_slope__gte=0,
                    ramp_slope__gte=0,
                    weep_frac_d__range=(0, 1),
                    open_frac__range=(0, 1),
                    sludge_m__gte=0,
                ),
            ),
        ]


class ManureTable(models.TextChoices):
    """Whose figures of manure as excreted; the two are never mixed."""

    ASAE = "asae", "ASAE D384.2"
    NRCS = "nrcs", "NRCS 651"


class BasinPractice(SiteModel):
    """The farm's own figures for its basins; every one a setting. The storm has no default."""

    storm_mm = models.FloatField(null=True, blank=True)
    manure_table = models.CharField(max_length=4, choices=ManureTable, default=ManureTable.ASAE)
    cow_kg = models.FloatField(default=624)
    n_dry_cows = models.PositiveIntegerField(default=0)
    wash_m3_d = models.FloatField(default=0)
    sand_kg_d = models.FloatField(default=0)
    retained_frac = models.FloatField(default=0.55)
    settled_dm_frac = models.FloatField(default=0.18)
    late_settled_frac = models.FloatField(default=0.3)
    haul_h_d = models.FloatField(default=10)
    n_loaders = models.PositiveSmallIntegerField(default=1)
    loader_loads_h = models.FloatField(default=10)
    mineralised_frac = models.FloatField(null=True, blank=True)
    nh4_kept_frac = models.FloatField(null=True, blank=True)
    season_from_md = models.CharField(max_length=5, default="09-01")

    class Meta:
        constraints = [
            *site_constraints(),
            models.UniqueConstraint(fields=["site"], name="%(class)s_once"),
            models.CheckConstraint(
                name="%(class)s_amounts",
                condition=Q(
                    cow_kg__gt=0,
                    wash_m3_d__gte=0,
                    sand_kg_d__gte=0,
                    retained_frac__range=(0, 1),
                    settled_dm_frac__gt=0,
                    settled_dm_frac__lte=1,
                    late_settled_frac__range=(0, 1),
                    haul_h_d__gt=0,
                    haul_h_d__lte=24,
                    n_loaders__gte=1,
                    loader_loads_h__gt=0,
                    season_from_md__regex=MONTH_DAY,
                )
                & (Q(storm_mm__isnull=True) | Q(storm_mm__gte=0))
                & (Q(mineralised_frac__isnull=True) | Q(mineralised_frac__range=(0, 1)))
                & (Q(nh4_kept_frac__isnull=True) | Q(nh4_kept_frac__range=(0, 1))),
            ),
        ]


class HaulTruck(Named):
    """Trucks or spreaders of one kind that take manure to fields."""

    n_trucks = models.PositiveSmallIntegerField(default=1)
    tank_m3 = models.FloatField()
    fill_frac = models.FloatField(default=0.95)
    loads_h = models.FloatField(default=3.5)

    class Meta:
        constraints = [
            *site_constraints(),
            unique_key(),
            models.CheckConstraint(
                name="%(class)s_pace",
                condition=Q(
                    n_trucks__gte=1, tank_m3__gt=0, fill_frac__gt=0, fill_frac__lte=1, loads_h__gt=0
                ),
            ),
        ]


class CropField(Dated, Named):
    """A field that takes manure, and what its crop needs in a season."""

    crop = models.CharField(max_length=60)
    area_ha = models.FloatField()
    distance_km = models.FloatField()
    need_n_kg_ha = models.FloatField()
    need_p2o5_kg_ha = models.FloatField()
    need_k2o_kg_ha = models.FloatField()
    is_p_limited = models.BooleanField(default=True)
    is_k_limited = models.BooleanField(default=False)

    class Meta:
        constraints = [
            *site_constraints(),
            unique_key(),
            models.CheckConstraint(
                name="%(class)s_amounts",
                condition=Q(
                    area_ha__gt=0,
                    distance_km__gte=0,
                    need_n_kg_ha__gte=0,
                    need_p2o5_kg_ha__gte=0,
                    need_k2o_kg_ha__gte=0,
                ),
            ),
        ]


class FieldWindow(Named):
    """Days of each year on which a field can take manure, both ends in it, as MM-DD."""

    field = models.ForeignKey(CropField, on_delete=models.PROTECT, related_name="windows")
    first_md = models.CharField(max_length=5)
    last_md = models.CharField(max_length=5)

    class Meta:
        constraints = [
            *site_constraints("field"),
            unique_key(),
            models.CheckConstraint(
                name="%(class)s_days",
                condition=Q(first_md__regex=MONTH_DAY, last_md__regex=MONTH_DAY),
            ),
        ]


class LevelReading(Dated, SiteModel):
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


class BasinOutlook(Dated, SiteModel):
    """What was last projected of a basin, for pages that only warn.

    `line_on` is when the earliest tenth of runs reaches the line with the storm kept free; None
    where it does not. `clean_d` is how many days a clean-out takes.
    """

    basin = models.OneToOneField(Basin, on_delete=models.CASCADE, related_name="outlook")
    made_at = models.DateTimeField()
    line_on = models.DateField(null=True, blank=True)
    clean_d = models.PositiveIntegerField(null=True, blank=True)

    class Meta:
        constraints = [*site_constraints("basin")]


class GateSwitch(Dated, SiteModel):
    """A basin's gate opened, and those of its pair shut. Only ever added."""

    basin = models.ForeignKey(Basin, on_delete=models.PROTECT, related_name="switches")
    at = models.DateTimeField()
    by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [*site_constraints("basin", "by")]
        ordering = ["at", "pk"]


class BasinCleanOut(Dated, SiteModel):
    """A basin emptied down to a depth. Only ever added."""

    basin = models.ForeignKey(Basin, on_delete=models.PROTECT, related_name="clean_outs")
    done_at = models.DateTimeField()
    depth_after_m = models.FloatField()
    removed_m3 = models.FloatField()
    note = models.CharField(max_length=300, blank=True)
    by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            *site_constraints("basin", "by"),
            models.CheckConstraint(
                name="%(class)s_amounts", condition=Q(depth_after_m__gte=0, removed_m3__gte=0)
            ),
        ]
        ordering = ["done_at", "pk"]


class ManureAnalysis(Dated, SiteModel):
    """A laboratory's sheet of one basin's manure, per tonne as it lies. Only ever added."""

    basin = models.ForeignKey(Basin, on_delete=models.PROTECT, related_name="analyses")
    sampled_on = models.DateField()
    n_kg_t = models.FloatField()
    nh4_n_kg_t = models.FloatField()
    no3_n_kg_t = models.FloatField(default=0)
    p2o5_kg_t = models.FloatField()
    k2o_kg_t = models.FloatField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            *site_constraints("basin", "by"),
            models.CheckConstraint(
                name="%(class)s_amounts",
                condition=Q(nh4_n_kg_t__gte=0, no3_n_kg_t__gte=0, p2o5_kg_t__gte=0, k2o_kg_t__gte=0)
                & Q(n_kg_t__gte=models.F("nh4_n_kg_t") + models.F("no3_n_kg_t")),
            ),
        ]
        ordering = ["sampled_on", "pk"]


class FieldApplication(Dated, SiteModel):
    """Manure brought to a field, with what it brought by the analysis used. Only ever added."""

    field = models.ForeignKey(CropField, on_delete=models.PROTECT, related_name="applications")
    basin = models.ForeignKey(Basin, on_delete=models.PROTECT, related_name="applications")
    analysis = models.ForeignKey(
        ManureAnalysis, on_delete=models.PROTECT, related_name="applications"
    )
    applied_on = models.DateField()
    mass_kg = models.FloatField()
    volume_m3 = models.FloatField()
    available_n_kg = models.FloatField()
    p2o5_kg = models.FloatField()
    k2o_kg = models.FloatField()
    note = models.CharField(max_length=300, blank=True)
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            *site_constraints("field", "basin", "analysis", "by"),
            models.CheckConstraint(
                name="%(class)s_amounts",
                condition=Q(
                    mass_kg__gt=0,
                    volume_m3__gt=0,
                    available_n_kg__gte=0,
                    p2o5_kg__gte=0,
                    k2o_kg__gte=0,
                ),
            ),
        ]
        ordering = ["applied_on", "pk"]
