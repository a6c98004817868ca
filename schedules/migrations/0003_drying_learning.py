import django.db.models.deletion
from django.db import migrations, models

import equipment.site.constraints


class Migration(migrations.Migration):
    dependencies = [("schedules", "0002_milking_records")]

    operations = [
        migrations.CreateModel(
            name="DryRate",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("log_rate", models.FloatField(blank=True, null=True)),
                ("log_sd", models.FloatField(blank=True, null=True)),
                (
                    "batch",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="rate",
                        to="schedules.batch",
                    ),
                ),
                (
                    "bay",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="equipment.place",
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
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("site", "id"), name="dryrate_site_pk"),
                    equipment.site.constraints.SameSite(
                        field="batch", name="dryrate_batch_same_site"
                    ),
                    equipment.site.constraints.SameSite(field="bay", name="dryrate_bay_same_site"),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("log_rate__isnull", True), ("log_sd__isnull", True)),
                            models.Q(
                                ("log_rate__isnull", False),
                                ("log_sd__gt", 0),
                                ("log_sd__isnull", False),
                            ),
                            _connector="OR",
                        ),
                        name="dryrate_both_or_none",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="DryScore",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("dry_on", models.DateField()),
                ("crps_d", models.FloatField()),
                ("pit", models.FloatField()),
                (
                    "forecast",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="score",
                        to="schedules.dryforecast",
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
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("site", "id"), name="dryscore_site_pk"),
                    equipment.site.constraints.SameSite(
                        field="forecast", name="dryscore_forecast_same_site"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("crps_d__gte", 0), ("pit__range", (0, 1))),
                        name="dryscore_range",
                    ),
                ],
            },
        ),
    ]
