"""The farm's figures for a year ahead, the years asked for, and their members by parts."""

import django.db.models.deletion
from django.db import migrations, models

import equipment.site.constraints


class Migration(migrations.Migration):
    dependencies = [("equipment", "0007_parlor_kinds"), ("schedules", "0005_work_content")]

    operations = [
        migrations.CreateModel(
            name="OutlookChunk",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("first", models.PositiveIntegerField()),
                ("n_members", models.PositiveIntegerField()),
                ("done_at", models.DateTimeField(blank=True, null=True)),
                ("payload", models.BinaryField(default=b"")),
            ],
            options={
                "ordering": ["first"],
            },
        ),
        migrations.CreateModel(
            name="OutlookPractice",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("buy_lead_d", models.PositiveSmallIntegerField(blank=True, null=True)),
                ("truck_kg", models.FloatField(default=24000)),
                ("season_frac", models.JSONField(default=list)),
                ("use_sd_frac", models.FloatField(default=0.05)),
                ("screening_loss_frac", models.FloatField(default=0)),
                ("log_rate_sd", models.FloatField(default=0.15)),
                ("rain_factor", models.FloatField(default=1)),
                ("clean_m3_d", models.FloatField(default=0)),
                ("clean_rest_d", models.PositiveSmallIntegerField(default=30)),
                ("clean_months", models.JSONField(default=list)),
                ("loader_up_frac", models.FloatField(default=0.9)),
                ("loader_h_d", models.FloatField(default=12)),
            ],
        ),
        migrations.CreateModel(
            name="OutlookRun",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("made_at", models.DateTimeField()),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("running", "Running"),
                            ("stopped", "Stopped"),
                            ("done", "Done"),
                            ("failed", "Failed"),
                        ],
                        default="running",
                        max_length=7,
                    ),
                ),
                ("seed", models.PositiveBigIntegerField()),
                ("n_members", models.PositiveIntegerField()),
                ("inputs", models.JSONField()),
                ("inputs_hash", models.CharField(max_length=64)),
                ("code_version", models.CharField(max_length=64)),
                ("libraries", models.JSONField(default=dict)),
                ("result", models.JSONField(blank=True, null=True)),
                ("digest", models.CharField(blank=True, max_length=64)),
                ("error", models.CharField(blank=True, max_length=2000)),
                ("finished_at", models.DateTimeField(blank=True, null=True)),
            ],
            options={
                "ordering": ["made_at", "pk"],
            },
        ),
        migrations.AddField(
            model_name="outlookchunk",
            name="site",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="equipment.site"
            ),
        ),
        migrations.AddField(
            model_name="outlookpractice",
            name="site",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="equipment.site"
            ),
        ),
        migrations.AddField(
            model_name="outlookrun",
            name="by",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="equipment.actor",
            ),
        ),
        migrations.AddField(
            model_name="outlookrun",
            name="site",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="equipment.site"
            ),
        ),
        migrations.AddField(
            model_name="outlookchunk",
            name="run",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.CASCADE,
                related_name="chunks",
                to="schedules.outlookrun",
            ),
        ),
        migrations.AddConstraint(
            model_name="outlookpractice",
            constraint=models.UniqueConstraint(
                fields=("site", "id"), name="outlookpractice_site_pk"
            ),
        ),
        migrations.AddConstraint(
            model_name="outlookpractice",
            constraint=models.UniqueConstraint(fields=("site",), name="outlookpractice_once"),
        ),
        migrations.AddConstraint(
            model_name="outlookpractice",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("clean_m3_d__gte", 0),
                    ("loader_h_d__range", (0, 24)),
                    ("loader_up_frac__range", (0, 1)),
                    ("log_rate_sd__gte", 0),
                    ("rain_factor__gte", 0),
                    ("screening_loss_frac__gte", 0),
                    ("screening_loss_frac__lt", 1),
                    ("truck_kg__gt", 0),
                    ("use_sd_frac__gte", 0),
                    models.Q(("buy_lead_d__isnull", True), ("buy_lead_d__gte", 1), _connector="OR"),
                ),
                name="outlookpractice_amounts",
            ),
        ),
        migrations.AddConstraint(
            model_name="outlookrun",
            constraint=models.UniqueConstraint(fields=("site", "id"), name="outlookrun_site_pk"),
        ),
        migrations.AddConstraint(
            model_name="outlookrun",
            constraint=equipment.site.constraints.SameSite(
                field="by", name="outlookrun_by_same_site"
            ),
        ),
        migrations.AddConstraint(
            model_name="outlookrun",
            constraint=models.CheckConstraint(
                condition=models.Q(("n_members__gte", 2)), name="outlookrun_members"
            ),
        ),
        migrations.AddConstraint(
            model_name="outlookrun",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("state", "done"), _negated=True),
                    models.Q(
                        ("finished_at__isnull", False),
                        ("result__isnull", False),
                        models.Q(("digest", ""), _negated=True),
                    ),
                    _connector="OR",
                ),
                name="outlookrun_done",
            ),
        ),
        migrations.AddConstraint(
            model_name="outlookchunk",
            constraint=models.UniqueConstraint(fields=("site", "id"), name="outlookchunk_site_pk"),
        ),
        migrations.AddConstraint(
            model_name="outlookchunk",
            constraint=equipment.site.constraints.SameSite(
                field="run", name="outlookchunk_run_same_site"
            ),
        ),
        migrations.AddConstraint(
            model_name="outlookchunk",
            constraint=models.UniqueConstraint(fields=("run", "first"), name="outlookchunk_once"),
        ),
    ]
