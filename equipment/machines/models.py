"""Loaders and the rest: meters, service plans, checks, defects and repairs."""

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from equipment.site.constraints import site_constraints
from equipment.site.models import Actor, Dated, Event, Named, Place, SiteModel, unique_key

MOST_METER_H = 200_000  # of any hour meter: more than twenty years without a stop


class MachineKind(models.TextChoices):
    LOADER = "loader", _("Loader")
    SKID_LOADER = "skid_loader", _("Skid loader")
    GROOMER = "groomer", _("Mounted groomer")
    TRUCK = "truck", _("Truck")
    SPREADER = "spreader", _("Sand spreader")


class RepairRow(models.TextChoices):
    """Rows of ASAE D497 that a farm may borrow: it has none for loaders."""

    TRACTOR_2WD = "tractor_2wd", _("Two-wheel-drive tractor (ASAE D497)")
    TRACTOR_4WD = "tractor_4wd", _("Four-wheel-drive tractor (ASAE D497)")


class Machine(Dated, Named):
    """A machine known by its number on the farm; what is left out of its costs is not known."""

    kind = models.CharField(max_length=12, choices=MachineKind)
    home = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="+")
    driver_skill = models.SlugField(max_length=60, blank=True)
    bucket_m3 = models.FloatField(null=True, blank=True)
    fill_frac = models.FloatField(default=0.95)
    travel_m_min = models.FloatField(default=150)
    is_clean_only = models.BooleanField(default=False)
    rated_load_kg = models.FloatField(null=True, blank=True)
    power_kw = models.FloatField(null=True, blank=True)
    price = models.DecimalField(max_digits=12, decimal_places=2, null=True, blank=True)
    list_price = models.DecimalField(max_digits=12, decimal_places=2, null=True, blank=True)
    salvage = models.DecimalField(max_digits=12, decimal_places=2, null=True, blank=True)
    worth_now = models.DecimalField(max_digits=12, decimal_places=2, null=True, blank=True)
    life_y = models.FloatField(null=True, blank=True)
    repair_row = models.CharField(max_length=12, choices=RepairRow, blank=True)

    class Meta:
        constraints = [*site_constraints("home"), unique_key()]


class MachinePractice(SiteModel):
    """The farm's own figures for its machines; every one a setting. Money is the site's."""

    interest_frac = models.FloatField(null=True, blank=True)
    fuel_price_per_l = models.DecimalField(max_digits=8, decimal_places=4, null=True, blank=True)
    lubricant_frac = models.FloatField(default=0.15)
    ownership_frac = models.FloatField(default=0.01)
    visit_cost = models.DecimalField(max_digits=10, decimal_places=2, null=True, blank=True)
    shop_cost_per_h = models.DecimalField(max_digits=10, decimal_places=2, null=True, blank=True)
    most_early_frac = models.FloatField(default=0.2)
    stops_per_1000_h = models.FloatField(default=3)
    stops_weight_h = models.FloatField(default=1000)
    wet_sand_kg_m3 = models.FloatField(default=1920)
    fixed_cycle_min = models.FloatField(default=0.55)
    haul_m = models.FloatField(default=40)
    work_share_frac = models.FloatField(default=0.83)
    manned_h_d = models.FloatField(null=True, blank=True)
    kept_at_once_frac = models.FloatField(default=0.68)

    class Meta:
        constraints = [
            *site_constraints(),
            models.UniqueConstraint(fields=["site"], name="%(class)s_once"),
            models.CheckConstraint(
                name="%(class)s_fractions",
                condition=Q(
                    lubricant_frac__gte=0,
                    ownership_frac__gte=0,
                    most_early_frac__range=(0, 1),
                    work_share_frac__gt=0,
                    work_share_frac__lte=1,
                ),
            ),
        ]


class MeterReading(Dated, SiteModel):
    """What the hour meter showed. Only ever added; a new meter starts a new run of readings."""

    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, related_name="readings")
    read_at = models.DateTimeField()
    meter_h = models.FloatField()
    is_new_meter = models.BooleanField(default=False)
    source = models.CharField(max_length=20, default="person")
    by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    event = models.ForeignKey(
        Event, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    question = models.CharField(max_length=20, blank=True)
    reason = models.CharField(max_length=300, blank=True)

    class Meta:
        constraints = [
            *site_constraints("machine", "by", "event"),
            models.UniqueConstraint(fields=["machine", "read_at"], name="%(class)s_instant"),
            models.CheckConstraint(
                name="%(class)s_questioned_has_reason",
                condition=Q(question="") | ~Q(reason=""),
            ),
        ]
        ordering = ["read_at"]


class ServiceItem(Named):
    """What machines of a kind (or one machine) need every so many hours or days."""

    machine_kind = models.CharField(max_length=12, choices=MachineKind, blank=True)
    machine = models.ForeignKey(
        Machine, null=True, blank=True, on_delete=models.PROTECT, related_name="own_items"
    )
    title = models.JSONField(default=dict)
    every_h = models.FloatField(null=True, blank=True)
    every_d = models.PositiveIntegerField(null=True, blank=True)
    first_at_h = models.FloatField(null=True, blank=True)
    duration_min = models.PositiveIntegerField()
    skill = models.SlugField(max_length=60)
    caution = models.JSONField(default=dict)

    class Meta:
        constraints = [
            *site_constraints("machine"),
            unique_key(),
            models.CheckConstraint(
                name="%(class)s_has_interval",
                condition=Q(every_h__isnull=False) | Q(every_d__isnull=False),
            ),
        ]


class ServiceRecord(Dated, SiteModel):
    """That a service was done: with what reading, parts, minutes and cost."""

    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, related_name="services")
    item = models.ForeignKey(ServiceItem, on_delete=models.PROTECT, related_name="records")
    cycle = models.PositiveIntegerField()
    done_at = models.DateTimeField()
    meter_h = models.FloatField()
    minutes = models.PositiveIntegerField(default=0)
    parts = models.CharField(max_length=300, blank=True)
    cost = models.DecimalField(max_digits=10, decimal_places=2, default=0)
    note = models.CharField(max_length=300, blank=True)
    by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            *site_constraints("machine", "item", "by"),
            models.UniqueConstraint(fields=["machine", "item", "cycle"], name="%(class)s_once"),
        ]
        ordering = ["done_at"]


class Repair(Dated, SiteModel):
    """An unplanned stop: down from, until, cause, stand-in, who returned it to service."""

    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, related_name="repairs")
    down_from = models.DateTimeField()
    down_until = models.DateTimeField(null=True, blank=True)
    cause = models.CharField(max_length=300)
    substitute = models.ForeignKey(
        Machine, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    parts = models.CharField(max_length=300, blank=True)
    cost = models.DecimalField(max_digits=10, decimal_places=2, default=0)
    reported_by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    cleared_by = models.ForeignKey(
        Actor, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        constraints = [
            *site_constraints("machine", "substitute", "reported_by", "cleared_by"),
            models.CheckConstraint(
                name="%(class)s_span",
                condition=Q(down_until__isnull=True) | Q(down_until__gt=F("down_from")),
            ),
        ]


class CheckItem(Dated, Named):
    """One line of the look round before a machine starts: the good state, in both languages.

    `spot` says where on the machine it is looked at, in both languages, or nothing.
    """

    machine_kind = models.CharField(max_length=12, choices=MachineKind)
    position = models.PositiveSmallIntegerField()
    text = models.JSONField(default=dict)
    spot = models.JSONField(default=dict)
    is_safety = models.BooleanField(default=False)

    class Meta:
        constraints = [*site_constraints(), unique_key()]
        ordering = ["machine_kind", "position"]


class Verdict(models.TextChoices):
    RUN = "run", _("Run")
    WITH_CARE = "with_care", _("Run with care")
    PARK = "park", _("Park it")


class PrestartCheck(Dated, SiteModel):
    """A look round before starting, and what came of it."""

    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, related_name="checks")
    by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    answers = models.JSONField(default=list)
    verdict = models.CharField(max_length=10, choices=Verdict)

    class Meta:
        constraints = [*site_constraints("machine", "by")]


class Defect(Dated, SiteModel):
    """Something wrong with a machine, until someone says it was put right."""

    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, related_name="defects")
    text = models.CharField(max_length=300)
    is_safety = models.BooleanField(default=False)
    reported_by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    reported_at = models.DateTimeField()
    closed_by = models.ForeignKey(
        Actor, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    closed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [*site_constraints("machine", "reported_by", "closed_by")]
