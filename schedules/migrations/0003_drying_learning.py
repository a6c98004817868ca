from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("schedules", "0002_milking_records")]

    operations = []
