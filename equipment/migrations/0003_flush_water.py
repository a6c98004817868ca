from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("equipment", "0002_weather_scores")]

    operations = []
