from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("equipment", "0004_settling_lane")]

    operations = []
