"""Weather as it was recorded, day by day, and the years a forecast is drawn from."""

from django.db import models
from django.db.models import Q

from equipment.site.constraints import site_constraints
from equipment.site.models import Named, SiteModel, unique_key


class WeatherStation(Named):
    """Where weather rows come from."""

    latitude_deg = models.FloatField()
    longitude_deg = models.FloatField()
    elevation_m = models.FloatField()
    wind_height_m = models.FloatField(default=2)

    class Meta:
        constraints = [*site_constraints(), unique_key()]


class WeatherDay(SiteModel):
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

    class Meta:
        constraints = [
            *site_constraints("station"),
            models.UniqueConstraint(fields=["station", "on"], name="%(class)s_once"),
            models.CheckConstraint(
                name="%(class)s_plausible",
                condition=Q(rain_mm__gte=0, et0_mm__gte=0, tmax_degc__gte=models.F("tmin_degc")),
            ),
        ]
