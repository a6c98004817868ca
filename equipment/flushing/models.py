"""Flush tanks, timers, the runs they make, and the locks that stop them."""

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from equipment.barns.models import Alley
from equipment.site.constraints import place_constraints, site_constraints
from equipment.site.models import Actor, Dated, Named, Place, PlaceModel, SiteModel, unique_key


class Tank(PlaceModel):
    """A flush tank and how fast it refills."""

    volume_m3 = models.FloatField()
    refill_m3_h = models.FloatField()
    reserve_m3 = models.FloatField(default=0)

    class Meta:
        constraints = [
            *place_constraints(),
            models.CheckConstraint(
                name="%(class)s_size", condition=Q(volume_m3__gt=0, refill_m3_h__gt=0)
            ),
            models.CheckConstraint(
                name="%(class)s_reserve",
                condition=Q(reserve_m3__gte=0, reserve_m3__lt=F("volume_m3")),
            ),
        ]


class FlushWater(SiteModel):
    """The farm's own figures for its flush water; every one a setting."""

    wait_max_min = models.FloatField(default=45)
    recycled_capacity_m3 = models.FloatField(default=4000)
    recycled_level_m3 = models.FloatField(default=2500)
    recycled_area_m2 = models.FloatField(default=2000)
    fresh_m3_d = models.FloatField(default=0)
    solids_frac = models.FloatField(default=0.03)
    no_flush_below_degc = models.FloatField(default=-10)
    drain_below_degc = models.FloatField(default=-2)

    class Meta:
        constraints = [
            *site_constraints(),
            models.UniqueConstraint(fields=["site"], name="%(class)s_once"),
            models.CheckConstraint(
                name="%(class)s_amounts",
                condition=Q(
                    wait_max_min__gte=0,
                    recycled_capacity_m3__gt=0,
                    recycled_level_m3__range=(0, F("recycled_capacity_m3")),
                    recycled_area_m2__gte=0,
                    fresh_m3_d__gte=0,
                    solids_frac__range=(0, 1),
                    no_flush_below_degc__lte=F("drain_below_degc"),
                ),
            ),
        ]


class TimerTrigger(models.TextChoices):
    AT_VISIT = "at_visit", _("At each visit")
    AT_TIMES = "at_times", _("At set times")


class FlushTimer(Named):
    """Opens one alley's valve: at each pen visit (after the beds) or at set local times."""

    alley = models.ForeignKey(Alley, on_delete=models.PROTECT, related_name="timers")
    tank = models.ForeignKey(Tank, on_delete=models.PROTECT, related_name="timers")
    trigger = models.CharField(max_length=8, choices=TimerTrigger)
    times_local = models.JSONField(default=list)
    open_s = models.FloatField()
    flow_m3_s = models.FloatField()

    class Meta:
        constraints = [*site_constraints("alley", "tank"), unique_key()]


class RunStatus(models.TextChoices):
    """No valve reports back: a run that was planned and is over is taken as done."""

    PLANNED = "planned", _("Planned")
    BLOCKED = "blocked", _("Blocked")
    DONE = "done", _("Taken as done")


class FlushRun(Dated, SiteModel):
    """One planned opening: a block on alley and tank, not a work order.

    `short_m3` is what the tank will lack for it, `waits_s` how long it waits for the tank.
    """

    timer = models.ForeignKey(FlushTimer, on_delete=models.PROTECT, related_name="runs")
    alley = models.ForeignKey(Alley, on_delete=models.PROTECT, related_name="runs")
    natural_key = models.CharField(max_length=120)
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    volume_m3 = models.FloatField()
    short_m3 = models.FloatField(default=0)
    waits_s = models.FloatField(default=0)
    status = models.CharField(max_length=8, choices=RunStatus, default=RunStatus.PLANNED)
    blocked_by = models.ForeignKey(
        "Lock", null=True, blank=True, on_delete=models.PROTECT, related_name="blocks"
    )

    class Meta:
        constraints = [
            *site_constraints("timer", "alley", "blocked_by"),
            models.UniqueConstraint(fields=["site", "natural_key"], name="%(class)s_once"),
            models.CheckConstraint(name="%(class)s_span", condition=Q(ends_at__gt=F("starts_at"))),
            models.CheckConstraint(
                name="%(class)s_water", condition=Q(short_m3__gte=0, waits_s__gte=0)
            ),
        ]
        indexes = [
            models.Index(fields=["site", "starts_at"], name="%(class)s_start"),
            models.Index(fields=["site", "ends_at"], name="%(class)s_end"),
        ]


class Lock(Dated, SiteModel):
    """Isolation recorded by the person exposed. Recording it here stops no valve."""

    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="locks")
    what = models.CharField(max_length=200, blank=True)
    owner = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    on_at = models.DateTimeField()
    off_at = models.DateTimeField(null=True, blank=True)
    off_by = models.ForeignKey(
        Actor, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    off_note = models.CharField(max_length=300, blank=True)

    class Meta:
        constraints = [
            *site_constraints("place", "owner", "off_by"),
            models.CheckConstraint(
                name="%(class)s_off_by_someone",
                condition=Q(off_at__isnull=True, off_by__isnull=True)
                | Q(off_at__isnull=False, off_by__isnull=False),
            ),
        ]
