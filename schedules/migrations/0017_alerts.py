"""What needs a decision, with its evidence, its answers and what was decided."""

import django.db.models.deletion
import django.db.models.functions.datetime
from django.db import migrations, models

import equipment.site.constraints
from equipment.site.operations import StampChanges


class Migration(migrations.Migration):
    dependencies = [
        ("equipment", "0013_check_spot"),
        ("schedules", "0016_farm_edits"),
    ]

    operations = [
        migrations.CreateModel(
            name="Alert",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "changed_at",
                    models.DateTimeField(
                        db_default=django.db.models.functions.datetime.Now(),
                        editable=False,
                        serialize=False,
                    ),
                ),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("beds", "beds"),
                            ("sand", "sand"),
                            ("basin", "basin"),
                            ("machine", "machine"),
                            ("drivers", "drivers"),
                        ],
                        max_length=10,
                    ),
                ),
                ("subject", models.CharField(max_length=80)),
                ("raised_at", models.DateTimeField()),
                ("due_at", models.DateTimeField()),
                ("facts", models.JSONField(default=dict)),
                ("answers", models.JSONField(blank=True, null=True)),
                ("n_stated", models.PositiveIntegerField(default=1)),
                ("stated_at", models.DateTimeField()),
                ("n_answered", models.PositiveIntegerField(default=0)),
                ("decided_at", models.DateTimeField(blank=True, null=True)),
                ("decision", models.JSONField(blank=True, null=True)),
                ("note", models.CharField(blank=True, max_length=300)),
                ("ended_at", models.DateTimeField(blank=True, null=True)),
                (
                    "decided_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="equipment.actor",
                    ),
                ),
                (
                    "place",
                    models.ForeignKey(
                        blank=True,
                        null=True,
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
                "ordering": ["due_at", "pk"],
                "indexes": [models.Index(fields=["site", "-raised_at"], name="alert_latest")],
                "constraints": [
                    models.UniqueConstraint(fields=("site", "id"), name="alert_site_pk"),
                    equipment.site.constraints.SameSite(
                        field="place", name="alert_place_same_site"
                    ),
                    equipment.site.constraints.SameSite(
                        field="decided_by", name="alert_decided_by_same_site"
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("ended_at__isnull", True)),
                        fields=("site", "kind", "subject"),
                        name="alert_open_once",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("decided_at__isnull", True), ("decided_by__isnull", True)),
                            models.Q(("decided_at__isnull", False), ("decided_by__isnull", False)),
                            _connector="OR",
                        ),
                        name="alert_decided_by_someone",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("decided_at__isnull", True),
                            ("decision__isnull", False),
                            models.Q(("note", ""), _negated=True),
                            _connector="OR",
                        ),
                        name="alert_decided_on_something",
                    ),
                ],
            },
        ),
        StampChanges("alert"),
    ]
