from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("equipment", "0008_parlor_away_day")]

    operations = [
        migrations.AddField("machinepractice", "kept_at_once_frac", models.FloatField(default=0.68)),
    ]
