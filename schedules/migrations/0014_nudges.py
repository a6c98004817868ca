"""Where the nudges of phones go, and what each phone knows."""

import django.db.models.deletion
from django.db import migrations, models

import equipment.site.constraints


class Migration(migrations.Migration):
    dependencies = [
        ("crews", "0006_changed_at"),
        ("equipment", "0012_changed_at"),
        ("schedules", "0013_calendars"),
    ]

    operations = [
        migrations.CreateModel(
            name="Subscription",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("endpoint", models.CharField(max_length=1000)),
                ("p256dh", models.CharField(max_length=100)),
                ("auth", models.CharField(max_length=40)),
                ("made_at", models.DateTimeField()),
                ("ended_at", models.DateTimeField(blank=True, null=True)),
                ("nudged_at", models.DateTimeField(blank=True, null=True)),
                ("known", models.JSONField(default=dict)),
                (
                    "device",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="subscription",
                        to="crews.device",
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
                    models.UniqueConstraint(fields=("site", "id"), name="subscription_site_pk"),
                    equipment.site.constraints.SameSite(
                        field="device", name="subscription_device_same_site"
                    ),
                ],
            },
        ),
    ]
