"""Where on a machine a line of its look round is looked at."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("equipment", "0012_changed_at")]

    operations = [
        migrations.AddField("checkitem", "spot", models.JSONField(default=dict)),
    ]
