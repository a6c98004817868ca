from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("equipment", "0003_flush_water")]

    operations = []
