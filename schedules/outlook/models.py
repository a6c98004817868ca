"""Years ahead that were asked for, with all they were reckoned from, and what came of them."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from equipment.site.constraints import site_constraints
from equipment.site.models import Actor, Dated, SiteModel


class OutlookState(models.TextChoices):
    RUNNING = "running", _("Running")
    STOPPED = "stopped", _("Stopped")
    DONE = "done", _("Done")
    FAILED = "failed", _("Failed")


class OutlookPractice(SiteModel):
    """The farm's own figures for a year ahead; every one a setting. None buys nothing."""

    buy_lead_d = models.PositiveSmallIntegerField(null=True, blank=True)
    truck_kg = models.FloatField(default=24_000)
    season_frac = models.JSONField(default=list)
    use_sd_frac = models.FloatField(default=0.05)
    screening_loss_frac = models.FloatField(default=0)
    log_rate_sd = models.FloatField(default=0.15)
    rain_factor = models.FloatField(default=1)
    solids_sd_frac = models.FloatField(default=0.1)
    clean_m3_d = models.FloatField(default=0)
    clean_rest_d = models.PositiveSmallIntegerField(default=30)
    clean_months = models.JSONField(default=list)
    loader_up_frac = models.FloatField(default=0.9)
    loader_h_d = models.FloatField(default=12)

    class Meta:
        constraints = [
            *site_constraints(),
            models.UniqueConstraint(fields=["site"], name="%(class)s_once"),
            models.CheckConstraint(
                name="%(class)s_amounts",
                condition=Q(
                    truck_kg__gt=0,
                    use_sd_frac__gte=0,
                    screening_loss_frac__gte=0,
                    screening_loss_frac__lt=1,
                    log_rate_sd__gte=0,
                    rain_factor__gte=0,
                    solids_sd_frac__gte=0,
                    clean_m3_d__gte=0,
                    loader_up_frac__range=(0, 1),
                    loader_h_d__range=(0, 24),
                )
                & (Q(buy_lead_d__isnull=True) | Q(buy_lead_d__gte=1)),
            ),
        ]


class OutlookRun(Dated, SiteModel):
    """A year ahead: its inputs, seed and code version, so that it can be rerun to the same bits.

    `inputs` holds the farm's scenario first and then what it is compared with; `inputs_hash` is of
    them and of the weather record. `result` is what pages show; `digest` is of every member's bits.
    """

    made_at = models.DateTimeField()
    by = models.ForeignKey(Actor, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    state = models.CharField(max_length=7, choices=OutlookState, default=OutlookState.RUNNING)
    seed = models.PositiveBigIntegerField()
    n_members = models.PositiveIntegerField()
    inputs = models.JSONField()
    inputs_hash = models.CharField(max_length=64)
    code_version = models.CharField(max_length=64)
    libraries = models.JSONField(default=dict)
    result = models.JSONField(null=True, blank=True)
    digest = models.CharField(max_length=64, blank=True)
    error = models.CharField(max_length=2000, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            *site_constraints("by"),
            models.CheckConstraint(name="%(class)s_members", condition=Q(n_members__gte=2)),
            models.CheckConstraint(
                name="%(class)s_done",
                condition=~Q(state="done")
                | Q(result__isnull=False, finished_at__isnull=False) & ~Q(digest=""),
            ),
        ]
        ordering = ["made_at", "pk"]


class OutlookChunk(Dated, SiteModel):
    """Some members of a run; `payload` is empty until they are done, and when the run is."""

    run = models.ForeignKey(OutlookRun, on_delete=models.CASCADE, related_name="chunks")
    first = models.PositiveIntegerField()
    n_members = models.PositiveIntegerField()
    done_at = models.DateTimeField(null=True, blank=True)
    payload = models.BinaryField(default=b"")

    class Meta:
        constraints = [
            *site_constraints("run"),
            models.UniqueConstraint(fields=["run", "first"], name="%(class)s_once"),
        ]
        ordering = ["first"]
