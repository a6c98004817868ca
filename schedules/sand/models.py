"""Batches of sand, the dry kilograms that moved, and when each batch is expected dry."""

from datetime import date
from typing import NamedTuple

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from equipment.site.constraints import site_constraints
from equipment.site.models import Actor, Dated, Event, Place, SiteModel

MOST_KG = 10_000_000  # of one entry: a typed slip is more


class Stage(models.TextChoices):
    DRAINING = "draining", _("Draining")
    DRYING = "drying", _("Drying")
    CURING = "curing", _("Curing")
    CURED = "cured", _("Cured")
    RELEASED = "released", _("Released")
    BEDDED = "bedded", _("Bedded")


class Batch(Dated, SiteModel):
    """Sand followed by dry mass, a place and its parents. Only a person's event moves a stage."""

    number = models.PositiveIntegerField()
    stage = models.CharField(max_length=8, choices=Stage)
    place = models.ForeignKey(
        Place, null=True, blank=True, on_delete=models.PROTECT, related_name="batches"
    )
    is_bought = models.BooleanField(default=False)
    opened_at = models.DateTimeField()
    closed_at = models.DateTimeField(null=True, blank=True)
    stage_since = models.DateTimeField()
    moisture_wb_frac = models.FloatField()
    cure_d = models.PositiveSmallIntegerField()
    ready_on = models.DateField(null=True, blank=True)
    released_by = models.ForeignKey(
        Actor, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    released_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            *site_constraints("place", "released_by"),
            models.UniqueConstraint(fields=["site", "number"], name="%(class)s_number"),
            models.CheckConstraint(
                name="%(class)s_released_by_someone",
                condition=~Q(stage__in=["released", "bedded"]) | Q(released_by__isnull=False),
            ),
            models.CheckConstraint(
                name="%(class)s_moisture", condition=Q(moisture_wb_frac__range=(0, 0.9))
            ),
        ]
        ordering = ["number"]

    def __str__(self) -> str:
        return str(self.number)


class BatchParent(Dated, SiteModel):
    """That a batch was built of another, and how much of it."""

    child = models.ForeignKey(Batch, on_delete=models.CASCADE, related_name="parents")
    parent = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="children")
    dry_kg = models.FloatField()

    class Meta:
        constraints = [
            *site_constraints("child", "parent"),
            models.UniqueConstraint(fields=["child", "parent"], name="%(class)s_once"),
        ]


class BatchStep(Dated, SiteModel):
    """What was done to a batch and by whom: spread, turned, picked up, piled, closed, released."""

    batch = models.ForeignKey(Batch, on_delete=models.CASCADE, related_name="steps")
    kind = models.CharField(max_length=16)
    at = models.DateTimeField()
    by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    place = models.ForeignKey(
        Place, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    event = models.ForeignKey(
        Event, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    detail = models.JSONField(default=dict)

    class Meta:
        constraints = [*site_constraints("batch", "by", "place", "event")]
        ordering = ["at"]


class AccountKind(models.TextChoices):
    LANE = "lane", _("Lane")
    DELIVERY = "delivery", _("Delivery")
    PLACE = "place", _("Place")
    BEDS = "beds", _("Beds")
    LOSS = "loss", _("Loss")
    DISPOSAL = "disposal", _("Disposal")
    COUNT = "count", _("Count")


class SandAccount(Dated, SiteModel):
    """One side of every move: a place that holds sand, or where it comes from and goes to."""

    kind = models.CharField(max_length=8, choices=AccountKind)
    place = models.ForeignKey(
        Place, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        constraints = [
            *site_constraints("place"),
            models.UniqueConstraint(
                fields=["site", "kind", "place"], name="%(class)s_once", nulls_distinct=False
            ),
        ]


class SandMove(Dated, SiteModel):
    """Dry kilograms of one batch from one account to another. Only ever added."""

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="moves")
    source = models.ForeignKey(SandAccount, on_delete=models.PROTECT, related_name="+")
    target = models.ForeignKey(SandAccount, on_delete=models.PROTECT, related_name="+")
    dry_kg = models.FloatField()
    low_kg = models.FloatField()
    high_kg = models.FloatField()
    at = models.DateTimeField()
    by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    event = models.ForeignKey(
        Event, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    needs_look = models.BooleanField(default=False)

    class Meta:
        constraints = [
            *site_constraints("batch", "source", "target", "by", "event"),
            models.CheckConstraint(name="%(class)s_amount", condition=Q(dry_kg__gt=0)),
            models.CheckConstraint(name="%(class)s_two_sides", condition=~Q(source=F("target"))),
        ]
        ordering = ["at", "id"]


class MoistureTest(Dated, SiteModel):
    """A measured moisture: wet basis, from so many spots, at a depth."""

    batch = models.ForeignKey(Batch, on_delete=models.CASCADE, related_name="tests")
    taken_at = models.DateTimeField()
    moisture_wb_frac = models.FloatField()
    given_basis = models.CharField(max_length=2, choices=[("wb", "wet"), ("db", "dry")])
    depth_m = models.FloatField(null=True, blank=True)
    n_spots = models.PositiveSmallIntegerField(default=1)
    by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    event = models.ForeignKey(
        Event, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        constraints = [
            *site_constraints("batch", "by", "event"),
            models.CheckConstraint(
                name="%(class)s_range", condition=Q(moisture_wb_frac__range=(0, 0.9))
            ),
        ]
        ordering = ["taken_at"]


class MoistureEstimate(NamedTuple):
    """Mean moisture of a layer expected by the end of a day: of ten chances one below, one above.

    Reckoned, not measured.
    """

    on: date
    low_wb_frac: float
    likely_wb_frac: float
    high_wb_frac: float


class DryForecast(Dated, SiteModel):
    """When a batch on a pad is expected dry, as it was reckoned at one moment."""

    batch = models.ForeignKey(Batch, on_delete=models.CASCADE, related_name="forecasts")
    made_at = models.DateTimeField()
    n_members = models.PositiveIntegerField()
    dry_on_p10 = models.DateField(null=True, blank=True)
    dry_on_p50 = models.DateField(null=True, blank=True)
    dry_on_p90 = models.DateField(null=True, blank=True)
    ready_on_p10 = models.DateField(null=True, blank=True)
    ready_on_p50 = models.DateField(null=True, blank=True)
    ready_on_p90 = models.DateField(null=True, blank=True)
    dots = models.JSONField(default=list)
    et0_method = models.CharField(max_length=40)
    detail = models.JSONField(default=dict)

    class Meta:
        constraints = [*site_constraints("batch")]
        ordering = ["made_at", "id"]

    @property
    def n_days_filled(self) -> int:
        """Days since spreading without recorded weather: past years stand in for them."""
        return int(self.detail.get("n_days_filled", 0))

    @property
    def moisture(self) -> MoistureEstimate | None:
        """The moisture expected on the evening of the day it was reckoned."""
        if "moisture_wb_frac" not in self.detail:
            return None
        on = date.fromisoformat(self.detail["moisture_on"])
        return MoistureEstimate(on, *self.detail["moisture_wb_frac"])


class DryRate(SiteModel):
    """What a finished batch told of its bay's rate: log of evaporation over kc ET0, and its sd.

    Both are empty where its tests told nothing.
    """

    batch = models.OneToOneField(Batch, on_delete=models.CASCADE, related_name="rate")
    bay = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="+")
    log_rate = models.FloatField(null=True, blank=True)
    log_sd = models.FloatField(null=True, blank=True)

    class Meta:
        constraints = [
            *site_constraints("batch", "bay"),
            models.CheckConstraint(
                name="%(class)s_both_or_none",
                condition=Q(log_rate__isnull=True, log_sd__isnull=True)
                | Q(log_rate__isnull=False, log_sd__isnull=False, log_sd__gt=0),
            ),
        ]


class DryScore(SiteModel):
    """How good a forecast was, once a person told when the layer was dry."""

    forecast = models.OneToOneField(DryForecast, on_delete=models.CASCADE, related_name="score")
    dry_on = models.DateField()
    crps_d = models.FloatField()
    pit = models.FloatField()

    class Meta:
        constraints = [
            *site_constraints("forecast"),
            models.CheckConstraint(
                name="%(class)s_range", condition=Q(crps_d__gte=0, pit__range=(0, 1))
            ),
        ]
