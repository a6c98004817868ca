from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("schedules", "0003_drying_learning")]

    operations = []
