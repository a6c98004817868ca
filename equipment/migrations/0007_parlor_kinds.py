from django.db import migrations, models
from django.db.models import Q


def classify_pens(apps, schema_editor):
    """Give pens that stand already the usual class of their kind; the farm may set another."""
    pens = apps.get_model("equipment", "Pen").objects
    pens.filter(kind__in=["fresh", "heifer"]).update(contagion_class=1)
    pens.filter(kind="hospital").update(contagion_class=3, is_milk_withheld=True)


class Migration(migrations.Migration):
    dependencies = [("equipment", "0006_machine_costs")]

    operations = [
        migrations.AddField("parlor", "holding_area_m2", models.FloatField(blank=True, null=True)),
        migrations.AddField("parlor", "holding_m2_cow", models.FloatField(default=1.6)),
        migrations.AddField(
            "parlor", "is_stall_lost_behind_second_turn", models.BooleanField(default=False)
        ),
        migrations.AddField(
            "parlor",
            "kind",
            models.CharField(
                choices=[("rotary", "Rotary"), ("batch", "Sides, in groups")],
                default="rotary",
                max_length=6,
            ),
        ),
        migrations.AddField("parlor", "milking_mean_s", models.FloatField(default=383)),
        migrations.AddField("parlor", "milking_sd_s", models.FloatField(default=129)),
        migrations.AddField("parlor", "n_sides", models.PositiveSmallIntegerField(default=1)),
        migrations.AddField("pen", "contagion_class", models.PositiveSmallIntegerField(default=2)),
        migrations.AddField("pen", "is_milk_withheld", models.BooleanField(default=False)),
        migrations.AddConstraint(
            "parlor",
            models.CheckConstraint(
                name="parlor_room",
                condition=Q(
                    n_sides__gt=0,
                    milking_mean_s__gt=0,
                    milking_sd_s__gt=0,
                    holding_m2_cow__gt=0,
                )
                & (Q(holding_area_m2=None) | Q(holding_area_m2__gt=0)),
            ),
        ),
        migrations.RunPython(classify_pens, migrations.RunPython.noop),
    ]
