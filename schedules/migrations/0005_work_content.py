from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("schedules", "0004_sand_supply")]

    operations = []
