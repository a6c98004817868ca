"""What machines cost and lift, and the farm's own figures for both."""

import django.db.models.deletion
from django.db import migrations, models
from django.db.models import Q


def money(max_digits: int = 12, decimal_places: int = 2) -> "models.DecimalField[object, object]":
    return models.DecimalField(
        blank=True, decimal_places=decimal_places, max_digits=max_digits, null=True
    )


def unknown() -> "models.FloatField[object, object]":
    return models.FloatField(blank=True, null=True)


class Migration(migrations.Migration):
    dependencies = [("equipment", "0005_basin_records")]

    operations = [
        migrations.AddField("machine", "rated_load_kg", unknown()),
        migrations.AddField("machine", "power_kw", unknown()),
        migrations.AddField("machine", "price", money()),
        migrations.AddField("machine", "list_price", money()),
        migrations.AddField("machine", "salvage", money()),
        migrations.AddField("machine", "worth_now", money()),
        migrations.AddField("machine", "life_y", unknown()),
        migrations.AddField(
            "machine",
            "repair_row",
            models.CharField(
                blank=True,
                choices=[
                    ("tractor_2wd", "Two-wheel-drive tractor (ASAE D497)"),
                    ("tractor_4wd", "Four-wheel-drive tractor (ASAE D497)"),
                ],
                default="",
                max_length=12,
            ),
            preserve_default=False,
        ),
        migrations.CreateModel(
            "MachinePractice",
            [
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("interest_frac", unknown()),
                ("fuel_price_per_l", money(8, 4)),
                ("lubricant_frac", models.FloatField(default=0.15)),
                ("ownership_frac", models.FloatField(default=0.01)),
                ("visit_cost", money(10)),
                ("shop_cost_per_h", money(10)),
                ("most_early_frac", models.FloatField(default=0.2)),
                ("stops_per_1000_h", models.FloatField(default=3)),
                ("stops_weight_h", models.FloatField(default=1000)),
                ("wet_sand_kg_m3", models.FloatField(default=1920)),
                ("fixed_cycle_min", models.FloatField(default=0.55)),
                ("haul_m", models.FloatField(default=40)),
                ("work_share_frac", models.FloatField(default=0.83)),
                ("manned_h_d", unknown()),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="equipment.site",
                    ),
                ),
            ],
        ),
        migrations.AddConstraint(
            "machinepractice",
            models.UniqueConstraint(fields=["site"], name="machinepractice_once"),
        ),
        migrations.AddConstraint(
            "machinepractice",
            models.UniqueConstraint(fields=["site", "id"], name="machinepractice_site_pk"),
        ),
        migrations.AddConstraint(
            "machinepractice",
            models.CheckConstraint(
                name="machinepractice_fractions",
                condition=Q(
                    lubricant_frac__gte=0,
                    ownership_frac__gte=0,
                    most_early_frac__range=(0, 1),
                    work_share_frac__gt=0,
                    work_share_frac__lte=1,
                ),
            ),
        ),
    ]
