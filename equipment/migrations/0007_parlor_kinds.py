from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("equipment", "0006_machine_costs")]

    operations = []
