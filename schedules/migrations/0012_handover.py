"""What one shift leaves to the next, and the lines and answers of walk-rounds."""

import django.db.models.deletion
from django.db import migrations, models

import equipment.site.constraints


class Migration(migrations.Migration):
    dependencies = [
        ("crews", "0006_changed_at"),
        ("equipment", "0012_changed_at"),
        ("schedules", "0011_changed_at"),
    ]

    operations = [
        migrations.CreateModel(
            name="WalkLine",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("key", models.SlugField(max_length=60)),
                ("name", models.CharField(max_length=100)),
                ("retired_at", models.DateTimeField(blank=True, null=True)),
                ("position", models.PositiveSmallIntegerField()),
                ("text", models.JSONField(default=dict)),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="equipment.site",
                    ),
                ),
                (
                    "stand",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="equipment.place",
                    ),
                ),
            ],
            options={
                "ordering": ["position", "key"],
            },
        ),
        migrations.CreateModel(
            name="WalkAnswer",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("at", models.DateTimeField()),
                ("ok", models.BooleanField()),
                ("text", models.CharField(blank=True, max_length=300)),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="equipment.actor",
                    ),
                ),
                (
                    "event",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="equipment.event",
                    ),
                ),
                (
                    "problem",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="schedules.problem",
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
                    "line",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="answers",
                        to="schedules.walkline",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Handover",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("made_at", models.DateTimeField()),
                ("left", models.JSONField(default=list)),
                ("broken", models.JSONField(default=list)),
                ("watch", models.JSONField(default=list)),
                ("first", models.JSONField(default=list)),
                ("taken_at", models.DateTimeField(blank=True, null=True)),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="equipment.actor",
                    ),
                ),
                (
                    "crew",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="crews.crew",
                    ),
                ),
                (
                    "event",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="equipment.event",
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
                    "taken_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="equipment.actor",
                    ),
                ),
            ],
            options={
                "indexes": [
                    models.Index(fields=["site", "crew", "-made_at"], name="handover_latest")
                ],
                "constraints": [
                    models.UniqueConstraint(fields=("site", "id"), name="handover_site_pk"),
                    equipment.site.constraints.SameSite(
                        field="crew", name="handover_crew_same_site"
                    ),
                    equipment.site.constraints.SameSite(field="by", name="handover_by_same_site"),
                    equipment.site.constraints.SameSite(
                        field="taken_by", name="handover_taken_by_same_site"
                    ),
                    equipment.site.constraints.SameSite(
                        field="event", name="handover_event_same_site"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("taken_at__isnull", True), ("taken_by__isnull", True)),
                            models.Q(("taken_at__isnull", False), ("taken_by__isnull", False)),
                            _connector="OR",
                        ),
                        name="handover_taken_by_someone",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="SafetyItem",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("text", models.CharField(max_length=1000)),
                ("raised_at", models.DateTimeField()),
                ("closed_at", models.DateTimeField(blank=True, null=True)),
                (
                    "closed_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="equipment.actor",
                    ),
                ),
                (
                    "crew",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="crews.crew",
                    ),
                ),
                (
                    "raised_by",
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
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("site", "id"), name="safetyitem_site_pk"),
                    equipment.site.constraints.SameSite(
                        field="crew", name="safetyitem_crew_same_site"
                    ),
                    equipment.site.constraints.SameSite(
                        field="raised_by", name="safetyitem_raised_by_same_site"
                    ),
                    equipment.site.constraints.SameSite(
                        field="closed_by", name="safetyitem_closed_by_same_site"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("closed_at__isnull", True), ("closed_by__isnull", True)),
                            models.Q(("closed_at__isnull", False), ("closed_by__isnull", False)),
                            _connector="OR",
                        ),
                        name="safetyitem_closed_by_someone",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("closed_at__isnull", True)),
                        fields=("site", "crew", "text"),
                        name="safetyitem_open_once",
                    ),
                ],
            },
        ),
        migrations.AddConstraint(
            model_name="walkline",
            constraint=models.UniqueConstraint(fields=("site", "id"), name="walkline_site_pk"),
        ),
        migrations.AddConstraint(
            model_name="walkline",
            constraint=equipment.site.constraints.SameSite(
                field="stand", name="walkline_stand_same_site"
            ),
        ),
        migrations.AddConstraint(
            model_name="walkline",
            constraint=models.UniqueConstraint(fields=("site", "key"), name="walkline_key"),
        ),
        migrations.AddConstraint(
            model_name="walkanswer",
            constraint=models.UniqueConstraint(fields=("site", "id"), name="walkanswer_site_pk"),
        ),
        migrations.AddConstraint(
            model_name="walkanswer",
            constraint=equipment.site.constraints.SameSite(
                field="line", name="walkanswer_line_same_site"
            ),
        ),
        migrations.AddConstraint(
            model_name="walkanswer",
            constraint=equipment.site.constraints.SameSite(
                field="by", name="walkanswer_by_same_site"
            ),
        ),
        migrations.AddConstraint(
            model_name="walkanswer",
            constraint=equipment.site.constraints.SameSite(
                field="problem", name="walkanswer_problem_same_site"
            ),
        ),
        migrations.AddConstraint(
            model_name="walkanswer",
            constraint=equipment.site.constraints.SameSite(
                field="event", name="walkanswer_event_same_site"
            ),
        ),
        migrations.AddConstraint(
            model_name="walkanswer",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("ok", True), ("problem__isnull", True)),
                    models.Q(("ok", False), ("problem__isnull", False)),
                    _connector="OR",
                ),
                name="walkanswer_not_ok_is_a_problem",
            ),
        ),
    ]
