from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("equipment", "0001_initial")]

    operations = []
