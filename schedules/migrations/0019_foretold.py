"""Visits that a lead foretells."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("schedules", "0018_read_by_time"),
    ]

    operations = [
        migrations.AddField(
            model_name="penvisit",
            name="foretold",
            field=models.JSONField(default=dict),
        ),
    ]
