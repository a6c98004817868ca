from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("equipment", "0007_parlor_kinds")]

    operations = [
        migrations.AddField("parlor", "away_day_limit_min", models.FloatField(default=180)),
    ]
