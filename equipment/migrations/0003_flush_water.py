"""A farm's figures for its flush water; what a run lacks and how long it waits for its tank."""

import django.db.models.deletion
from django.db import migrations, models
from django.db.models import F, Q

STATUSES = [("planned", "Planned"), ("blocked", "Blocked"), ("done", "Taken as done")]


class Migration(migrations.Migration):
    dependencies = [("equipment", "0002_weather_scores")]

    operations = [
        migrations.CreateModel(
            "FlushWater",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="equipment.site",
                    ),
                ),
                ("wait_max_min", models.FloatField(default=45)),
                ("recycled_capacity_m3", models.FloatField(default=4000)),
                ("recycled_level_m3", models.FloatField(default=2500)),
                ("recycled_area_m2", models.FloatField(default=2000)),
                ("fresh_m3_d", models.FloatField(default=0)),
                ("solids_frac", models.FloatField(default=0.03)),
                ("no_flush_below_degc", models.FloatField(default=-10)),
                ("drain_below_degc", models.FloatField(default=-2)),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("site", "id"), name="flushwater_site_pk"),
                    models.UniqueConstraint(fields=("site",), name="flushwater_once"),
                    models.CheckConstraint(
                        name="flushwater_amounts",
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
            },
        ),
        migrations.AddField("tank", "reserve_m3", models.FloatField(default=0)),
        migrations.AddConstraint(
            "tank",
            models.CheckConstraint(
                name="tank_reserve",
                condition=Q(reserve_m3__gte=0, reserve_m3__lt=F("volume_m3")),
            ),
        ),
        migrations.AddField("flushrun", "short_m3", models.FloatField(default=0)),
        migrations.AddField("flushrun", "waits_s", models.FloatField(default=0)),
        migrations.AddConstraint(
            "flushrun",
            models.CheckConstraint(
                name="flushrun_water", condition=Q(short_m3__gte=0, waits_s__gte=0)
            ),
        ),
        migrations.AlterField(
            "flushrun",
            "status",
            models.CharField(choices=STATUSES, default="planned", max_length=8),
        ),
    ]
