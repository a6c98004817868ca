"""Weather as it was recorded, what was foretold of coming days, and how good that was."""

from django.db import models
from django.db.models import Q

from equipment.site.constraints import site_constraints
from equipment.site.models import Dated, Named, SiteModel, unique_key


class WeatherStation(Named):
    """Where weather rows come from."""

    latitude_deg = models.FloatField()
    longitude_deg = models.FloatField()
    elevation_m = models.FloatField()
    wind_height_m = models.FloatField(default=2)

    class Meta:
        constraints = [*site_constraints(), unique_key()]


class WeatherDay(Dated, SiteModel):
    """One local day at a station; `et0_method` says what the reference ET rests on."""

    station = models.ForeignKey(WeatherStation, on_delete=models.PROTECT, related_name="days")
    on = models.DateField()
    tmin_degc = models.FloatField()
    tmax_degc = models.FloatField()
    rh_min_frac = models.FloatField(null=True, blank=True)
    rh_max_frac = models.FloatField(null=True, blank=True)
    wind_2m_m_s = models.FloatField(null=True, blank=True)
    solar_mj_m2_d = models.FloatField(null=True, blank=True)
    rain_mm = models.FloatField()
    et0_mm = models.FloatField()
    et0_method = models.CharField(max_length=40)
    et0_estimated = models.CharField(max_length=40, blank=True, default="")  # "solar,wind"

    class Meta:
        constraints = [
            *site_constraints("station"),
            models.UniqueConstraint(fields=["station", "on"], name="%(class)s_once"),
            models.CheckConstraint(
                name="%(class)s_plausible",
                condition=Q(rain_mm__gte=0, et0_mm__gte=0, tmax_degc__gte=models.F("tmin_degc")),
            ),
        ]


class DayForecast(Dated, SiteModel):
    """What somebody foretold of one coming day; of several the one made last counts."""

    on = models.DateField()
    made_at = models.DateTimeField()
    source = models.CharField(max_length=60)
    tmin_degc = models.FloatField()
    tmax_degc = models.FloatField()
    rain_chance_frac = models.FloatField()
    rain_mm = models.FloatField()  # mean of the day if it rains
    et0_mm = models.FloatField()
    et0_sd_mm = models.FloatField()
    et0_method = models.CharField(max_length=40)

    class Meta:
        constraints = [
            *site_constraints(),
            models.UniqueConstraint(fields=["site", "on", "made_at"], name="%(class)s_once"),
            models.CheckConstraint(
                name="%(class)s_plausible",
                condition=Q(
                    rain_mm__gte=0,
                    rain_chance_frac__gte=0,
                    rain_chance_frac__lte=1,
                    et0_mm__gte=0,
                    et0_sd_mm__gte=0,
                    tmax_degc__gte=models.F("tmin_degc"),
                ),
            ),
        ]


class WeekForecast(Dated, SiteModel):
    """The sums of rain and ET0 that were foretold for the days ahead, and what came true.

    `sums_mm` has equally likely members by `Measure`; `climate_sums_mm` those of past years alone,
    which a forecast must beat.
    """

    start_on = models.DateField()
    n_days = models.PositiveSmallIntegerField()
    made_at = models.DateTimeField()
    n_days_foretold = models.PositiveSmallIntegerField()  # the rest is climate
    sums_mm = models.JSONField()
    climate_sums_mm = models.JSONField()

    class Meta:
        constraints = [
            *site_constraints(),
            models.UniqueConstraint(fields=["site", "start_on"], name="%(class)s_once"),
            models.CheckConstraint(name="%(class)s_of_days", condition=Q(n_days__gte=1)),
        ]


class Measure(models.TextChoices):
    """What a sum is of."""

    RAIN = "rain"
    ET0 = "et0"


class WeekScore(Dated, SiteModel):
    """How good one forecast of one sum was, once its days had been recorded."""

    forecast = models.ForeignKey(WeekForecast, on_delete=models.CASCADE, related_name="scores")
    measure = models.CharField(max_length=10, choices=Measure.choices)
    came_mm = models.FloatField()
    mean_mm = models.FloatField()
    crps_mm = models.FloatField()
    climate_crps_mm = models.FloatField()
    pit = models.FloatField()

    class Meta:
        constraints = [
            *site_constraints("forecast"),
            models.UniqueConstraint(fields=["forecast", "measure"], name="%(class)s_once"),
            models.CheckConstraint(
                name="%(class)s_is_score",
                condition=Q(crps_mm__gte=0, climate_crps_mm__gte=0, pit__gte=0, pit__lte=1),
            ),
        ]
