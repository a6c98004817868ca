"""Visits, work, assignments and claims read by when they are."""

import django.contrib.postgres.indexes
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("crews", "0007_read_by_time"),
        ("equipment", "0014_read_by_time"),
        ("schedules", "0017_alerts"),
    ]

    operations = [
        migrations.AddIndex(
            model_name="assignment",
            index=models.Index(fields=["site", "ends_at"], name="assignment_end"),
        ),
        migrations.AddIndex(
            model_name="claim",
            index=django.contrib.postgres.indexes.GistIndex(
                fields=["site", "span"], name="claim_when"
            ),
        ),
        migrations.AddIndex(
            model_name="penvisit",
            index=models.Index(fields=["site", "called_at"], name="penvisit_call"),
        ),
        migrations.AddIndex(
            model_name="workorder",
            index=models.Index(fields=["site", "due_at"], name="workorder_due"),
        ),
        migrations.AddIndex(
            model_name="workorder",
            index=models.Index(
                condition=models.Q(("needs_decision", ""), _negated=True),
                fields=["site"],
                name="workorder_asked",
            ),
        ),
    ]
