"""Flush tanks, timers, the runs they make, and the locks that stop them."""

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from equipment.barns.models import Alley
from equipment.site.constraints import place_constraints, site_constraints
from equipment.site.models import Actor, Named, Place, PlaceModel, SiteModel, unique_key


class Tank(PlaceModel):
    """A flush tank and how fast it refills."""

    volume_m3 = models.FloatField()
    refill_m3_h = models.FloatField()

    class Meta:
        constraints = [
            *place_constraints(),
            models.CheckConstraint(
                name="%(class)s_size", condition=Q(volume_m3__gt=0, refill_m3_h__gt=0)
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
    PLANNED = "planned", _("Planned")
    BLOCKED = "blocked", _("Blocked")
    DONE = "done", _("Done")


class FlushRun(SiteModel):
    """One planned opening: a block on alley and tank, not a work order."""

    timer = models.ForeignKey(FlushTimer, on_delete=models.PROTECT, related_name="runs")
    alley = models.ForeignKey(Alley, on_delete=models.PROTECT, related_name="runs")
    natural_key = models.CharField(max_length=120)
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    volume_m3 = models.FloatField()
    status = models.CharField(max_length=8, choices=RunStatus, default=RunStatus.PLANNED)
    blocked_by = models.ForeignKey(
        "Lock", null=True, blank=True, on_delete=models.PROTECT, related_name="blocks"
    )

    class Meta:
        constraints = [
            *site_constraints("timer", "alley", "blocked_by"),
            models.UniqueConstraint(fields=["site", "natural_key"], name="%(class)s_once"),
            models.CheckConstraint(name="%(class)s_span", condition=Q(ends_at__gt=F("starts_at"))),
        ]
        indexes = [models.Index(fields=["site", "starts_at"], name="%(class)s_start")]


class Lock(SiteModel):
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
