from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("equipment", "0005_basin_records")]

    operations = []
