"""Days that were put by hand or by a swap, which rotations leave alone."""

import django.db.models.deletion
import equipment.site.constraints
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("crews", "0002_roster_runs"),
        ("equipment", "0009_machine_worth"),
    ]

    operations = [
        migrations.CreateModel(
            name="DayByHand",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("local_date", models.DateField()),
                ("is_despite_leave", models.BooleanField(default=False)),
                ("decided_at", models.DateTimeField()),
                (
                    "pattern",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="+",
                        to="crews.shiftpattern",
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
                (
                    "worker",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="+",
                        to="crews.worker",
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("site", "id"), name="daybyhand_site_pk"),
                    equipment.site.constraints.SameSite(
                        field="worker", name="daybyhand_worker_same_site"
                    ),
                    equipment.site.constraints.SameSite(
                        field="pattern", name="daybyhand_pattern_same_site"
                    ),
                    models.UniqueConstraint(fields=("worker", "local_date"), name="daybyhand_once"),
                ],
            },
        ),
    ]
