from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("schedules", "0005_work_content")]

    operations = []
