from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("schedules", "0001_initial")]

    operations = []
