"""Shifts read by when they end."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("crews", "0006_changed_at"),
        ("equipment", "0014_read_by_time"),
    ]

    operations = [
        migrations.AddIndex(
            model_name="shift",
            index=models.Index(fields=["site", "ends_at"], name="shift_end"),
        ),
    ]
