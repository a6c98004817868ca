"""A roster may have come to nothing."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("crews", "0003_days_by_hand"),
    ]

    operations = [
        migrations.AlterField(
            model_name="rosterrun",
            name="state",
            field=models.CharField(
                choices=[
                    ("solving", "Being made"),
                    ("draft", "Draft"),
                    ("published", "Published"),
                    ("cancelled", "Given up"),
                    ("impossible", "No roster keeps all the rules"),
                    ("failed", "Could not be made"),
                ],
                default="solving",
                max_length=10,
            ),
        ),
    ]
