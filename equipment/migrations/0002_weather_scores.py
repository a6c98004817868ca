"""What is foretold of the weather and how good it was; which inputs of ET0 were estimated."""

import django.db.models.deletion
from django.db import migrations, models
from django.db.models import F, Q

from equipment.site.constraints import SameSite

MEASURES = [("rain", "Rain"), ("et0", "Et0")]


def _key() -> models.BigAutoField:
    return models.BigAutoField(
        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
    )


def _site() -> models.ForeignKey:
    return models.ForeignKey(
        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="equipment.site"
    )


class Migration(migrations.Migration):
    dependencies = [("equipment", "0001_initial")]

    operations = [
        migrations.AddField(
            "weatherday",
            "et0_estimated",
            models.CharField(blank=True, default="", max_length=40),
        ),
        migrations.CreateModel(
            "DayForecast",
            fields=[
                ("id", _key()),
                ("site", _site()),
                ("on", models.DateField()),
                ("made_at", models.DateTimeField()),
                ("source", models.CharField(max_length=60)),
                ("tmin_degc", models.FloatField()),
                ("tmax_degc", models.FloatField()),
                ("rain_chance_frac", models.FloatField()),
                ("rain_mm", models.FloatField()),
                ("et0_mm", models.FloatField()),
                ("et0_sd_mm", models.FloatField()),
                ("et0_method", models.CharField(max_length=40)),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("site", "id"), name="dayforecast_site_pk"),
                    models.UniqueConstraint(
                        fields=("site", "on", "made_at"), name="dayforecast_once"
                    ),
                    models.CheckConstraint(
                        condition=Q(
                            rain_mm__gte=0,
                            rain_chance_frac__gte=0,
                            rain_chance_frac__lte=1,
                            et0_mm__gte=0,
                            et0_sd_mm__gte=0,
                            tmax_degc__gte=F("tmin_degc"),
                        ),
                        name="dayforecast_plausible",
                    ),
                ]
            },
        ),
        migrations.CreateModel(
            "WeekForecast",
            fields=[
                ("id", _key()),
                ("site", _site()),
                ("start_on", models.DateField()),
                ("n_days", models.PositiveSmallIntegerField()),
                ("made_at", models.DateTimeField()),
                ("n_days_foretold", models.PositiveSmallIntegerField()),
                ("sums_mm", models.JSONField()),
                ("climate_sums_mm", models.JSONField()),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("site", "id"), name="weekforecast_site_pk"),
                    models.UniqueConstraint(fields=("site", "start_on"), name="weekforecast_once"),
                    models.CheckConstraint(condition=Q(n_days__gte=1), name="weekforecast_of_days"),
                ]
            },
        ),
        migrations.CreateModel(
            "WeekScore",
            fields=[
                ("id", _key()),
                ("site", _site()),
                (
                    "forecast",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="scores",
                        to="equipment.weekforecast",
                    ),
                ),
                ("measure", models.CharField(choices=MEASURES, max_length=10)),
                ("came_mm", models.FloatField()),
                ("mean_mm", models.FloatField()),
                ("crps_mm", models.FloatField()),
                ("climate_crps_mm", models.FloatField()),
                ("pit", models.FloatField()),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("site", "id"), name="weekscore_site_pk"),
                    SameSite(field="forecast", name="weekscore_forecast_same_site"),
                    models.UniqueConstraint(fields=("forecast", "measure"), name="weekscore_once"),
                    models.CheckConstraint(
                        condition=Q(crps_mm__gte=0, climate_crps_mm__gte=0, pit__gte=0, pit__lte=1),
                        name="weekscore_is_score",
                    ),
                ]
            },
        ),
    ]
