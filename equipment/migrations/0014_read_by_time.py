"""What is read by when it ends, or by whether it waits for a look."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("equipment", "0013_check_spot"),
    ]

    operations = [
        migrations.AddIndex(
            model_name="event",
            index=models.Index(
                condition=models.Q(("looked_at__isnull", True), ("state", "refused")),
                fields=["site", "received_at"],
                name="event_to_look_at",
            ),
        ),
        migrations.AddIndex(
            model_name="flushrun",
            index=models.Index(fields=["site", "ends_at"], name="flushrun_end"),
        ),
    ]
