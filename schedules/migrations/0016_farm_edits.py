"""What people changed of the farm's facts, each change with what it moved."""

import django.db.models.deletion
from django.db import migrations, models

import equipment.site.constraints


class Migration(migrations.Migration):
    dependencies = [
        ("equipment", "0013_check_spot"),
        ("schedules", "0015_problem_safety"),
    ]

    operations = [
        migrations.AddField(
            model_name="loadedentry",
            name="by_hand",
            field=models.JSONField(blank=True, null=True),
        ),
        migrations.CreateModel(
            name="FarmEdit",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("made_at", models.DateTimeField()),
                (
                    "how",
                    models.CharField(
                        choices=[
                            ("form", "By hand"),
                            ("rows", "Pasted rows"),
                            ("file", "A file"),
                            ("undo", "Undone"),
                        ],
                        max_length=4,
                    ),
                ),
                ("entries", models.JSONField(default=list)),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="equipment.actor",
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
                    "undoes",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="undone_by",
                        to="schedules.farmedit",
                    ),
                ),
            ],
            options={
                "indexes": [models.Index(fields=["site", "-made_at"], name="farmedit_made")],
                "constraints": [
                    models.UniqueConstraint(fields=("site", "id"), name="farmedit_site_pk"),
                    equipment.site.constraints.SameSite(field="by", name="farmedit_by_same_site"),
                    equipment.site.constraints.SameSite(
                        field="undoes", name="farmedit_undoes_same_site"
                    ),
                ],
            },
        ),
    ]
