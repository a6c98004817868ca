"""A lane's geometry and water, the farm's sand, and how unsure its recovery is."""

from django.db import migrations, models
from django.db.models import Q


class Migration(migrations.Migration):
    dependencies = [("equipment", "0003_flush_water")]

    operations = [
        migrations.AddField("lane", "length_m", models.FloatField(blank=True, null=True)),
        migrations.AddField("lane", "width_m", models.FloatField(blank=True, null=True)),
        migrations.AddField("lane", "slope_frac", models.FloatField(default=0.003)),
        migrations.AddField("lane", "water_degc", models.FloatField(default=12)),
        migrations.AddConstraint(
            "lane",
            models.CheckConstraint(
                name="lane_geometry",
                condition=Q(slope_frac__gt=0, water_degc__range=(0, 40))
                & (Q(length_m__isnull=True) | Q(length_m__gt=0))
                & (Q(width_m__isnull=True) | Q(width_m__gt=0)),
            ),
        ),
        migrations.AddField(
            "sandpractice",
            "sand_kind",
            models.CharField(
                choices=[("c33", "Concrete sand (ASTM C33)"), ("c144", "Mason sand (ASTM C144)")],
                default="c33",
                max_length=4,
            ),
        ),
        migrations.AddField("sandpractice", "passing_frac", models.JSONField(default=list)),
        migrations.AddField("sandpractice", "recovery_sd_frac", models.FloatField(default=0.1)),
    ]
