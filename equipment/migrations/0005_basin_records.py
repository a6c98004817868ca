"""Slopes, stages and gates of basins, the farm's figures, fields, and what is recorded of each."""

import django.db.models.deletion
import django.db.models.expressions
from django.db import migrations, models

import equipment.site.constraints


class Migration(migrations.Migration):
    dependencies = [("equipment", "0004_settling_lane")]

    operations = [
        migrations.CreateModel(
            name="BasinCleanOut",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("done_at", models.DateTimeField()),
                ("depth_after_m", models.FloatField()),
                ("removed_m3", models.FloatField()),
                ("note", models.CharField(blank=True, max_length=300)),
            ],
            options={
                "ordering": ["done_at", "pk"],
            },
        ),
        migrations.CreateModel(
            name="BasinPractice",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("storm_mm", models.FloatField(blank=True, null=True)),
                (
                    "manure_table",
                    models.CharField(
                        choices=[("asae", "ASAE D384.2"), ("nrcs", "NRCS 651")],
                        default="asae",
                        max_length=4,
                    ),
                ),
                ("cow_kg", models.FloatField(default=624)),
                ("n_dry_cows", models.PositiveIntegerField(default=0)),
                ("wash_m3_d", models.FloatField(default=0)),
                ("sand_kg_d", models.FloatField(default=0)),
                ("retained_frac", models.FloatField(default=0.55)),
                ("settled_dm_frac", models.FloatField(default=0.18)),
                ("late_settled_frac", models.FloatField(default=0.3)),
                ("haul_h_d", models.FloatField(default=10)),
                ("n_loaders", models.PositiveSmallIntegerField(default=1)),
                ("loader_loads_h", models.FloatField(default=10)),
                ("mineralised_frac", models.FloatField(blank=True, null=True)),
                ("nh4_kept_frac", models.FloatField(blank=True, null=True)),
                ("season_from_md", models.CharField(default="09-01", max_length=5)),
            ],
        ),
        migrations.CreateModel(
            name="CropField",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("key", models.SlugField(max_length=60)),
                ("name", models.CharField(max_length=100)),
                ("retired_at", models.DateTimeField(blank=True, null=True)),
                ("crop", models.CharField(max_length=60)),
                ("area_ha", models.FloatField()),
                ("distance_km", models.FloatField()),
                ("need_n_kg_ha", models.FloatField()),
                ("need_p2o5_kg_ha", models.FloatField()),
                ("need_k2o_kg_ha", models.FloatField()),
                ("is_p_limited", models.BooleanField(default=True)),
                ("is_k_limited", models.BooleanField(default=False)),
            ],
        ),
        migrations.CreateModel(
            name="FieldApplication",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("applied_on", models.DateField()),
                ("mass_kg", models.FloatField()),
                ("volume_m3", models.FloatField()),
                ("available_n_kg", models.FloatField()),
                ("p2o5_kg", models.FloatField()),
                ("k2o_kg", models.FloatField()),
                ("note", models.CharField(blank=True, max_length=300)),
                ("recorded_at", models.DateTimeField()),
            ],
            options={
                "ordering": ["applied_on", "pk"],
            },
        ),
        migrations.CreateModel(
            name="FieldWindow",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("key", models.SlugField(max_length=60)),
                ("name", models.CharField(max_length=100)),
                ("retired_at", models.DateTimeField(blank=True, null=True)),
                ("first_md", models.CharField(max_length=5)),
                ("last_md", models.CharField(max_length=5)),
            ],
        ),
        migrations.CreateModel(
            name="GateSwitch",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("at", models.DateTimeField()),
            ],
            options={
                "ordering": ["at", "pk"],
            },
        ),
        migrations.CreateModel(
            name="HaulTruck",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("key", models.SlugField(max_length=60)),
                ("name", models.CharField(max_length=100)),
                ("retired_at", models.DateTimeField(blank=True, null=True)),
                ("n_trucks", models.PositiveSmallIntegerField(default=1)),
                ("tank_m3", models.FloatField()),
                ("fill_frac", models.FloatField(default=0.95)),
                ("loads_h", models.FloatField(default=3.5)),
            ],
        ),
        migrations.CreateModel(
            name="ManureAnalysis",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("sampled_on", models.DateField()),
                ("n_kg_t", models.FloatField()),
                ("nh4_n_kg_t", models.FloatField()),
                ("no3_n_kg_t", models.FloatField(default=0)),
                ("p2o5_kg_t", models.FloatField()),
                ("k2o_kg_t", models.FloatField()),
                ("recorded_at", models.DateTimeField()),
            ],
            options={
                "ordering": ["sampled_on", "pk"],
            },
        ),
        migrations.AddField(
            model_name="basin",
            name="depth_volume",
            field=models.JSONField(default=list),
        ),
        migrations.AddField(
            model_name="basin",
            name="fills",
            field=models.BooleanField(default=True),
        ),
        migrations.AddField(
            model_name="basin",
            name="open_frac",
            field=models.FloatField(default=0.3),
        ),
        migrations.AddField(
            model_name="basin",
            name="pair",
            field=models.CharField(blank=True, max_length=60),
        ),
        migrations.AddField(
            model_name="basin",
            name="ramp_slope",
            field=models.FloatField(default=0),
        ),
        migrations.AddField(
            model_name="basin",
            name="side_slope",
            field=models.FloatField(default=0),
        ),
        migrations.AddField(
            model_name="basin",
            name="sludge_m",
            field=models.FloatField(default=0.1),
        ),
        migrations.AddField(
            model_name="basin",
            name="stage",
            field=models.CharField(
                choices=[("first", "First stage"), ("second", "Second stage")],
                default="first",
                max_length=6,
            ),
        ),
        migrations.AddField(
            model_name="basin",
            name="weep_frac_d",
            field=models.FloatField(default=0.95),
        ),
        migrations.AddConstraint(
            model_name="basin",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("open_frac__range", (0, 1)),
                    ("ramp_slope__gte", 0),
                    ("side_slope__gte", 0),
                    ("sludge_m__gte", 0),
                    ("weep_frac_d__range", (0, 1)),
                ),
                name="basin_shares",
            ),
        ),
        migrations.AddField(
            model_name="basincleanout",
            name="basin",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="clean_outs",
                to="equipment.basin",
            ),
        ),
        migrations.AddField(
            model_name="basincleanout",
            name="by",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="equipment.actor"
            ),
        ),
        migrations.AddField(
            model_name="basincleanout",
            name="site",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="equipment.site"
            ),
        ),
        migrations.AddField(
            model_name="basinpractice",
            name="site",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="equipment.site"
            ),
        ),
        migrations.AddField(
            model_name="cropfield",
            name="site",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="equipment.site"
            ),
        ),
        migrations.AddField(
            model_name="fieldapplication",
            name="basin",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="applications",
                to="equipment.basin",
            ),
        ),
        migrations.AddField(
            model_name="fieldapplication",
            name="by",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="equipment.actor"
            ),
        ),
        migrations.AddField(
            model_name="fieldapplication",
            name="field",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="applications",
                to="equipment.cropfield",
            ),
        ),
        migrations.AddField(
            model_name="fieldapplication",
            name="site",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="equipment.site"
            ),
        ),
        migrations.AddField(
            model_name="fieldwindow",
            name="field",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="windows",
                to="equipment.cropfield",
            ),
        ),
        migrations.AddField(
            model_name="fieldwindow",
            name="site",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="equipment.site"
            ),
        ),
        migrations.AddField(
            model_name="gateswitch",
            name="basin",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="switches",
                to="equipment.basin",
            ),
        ),
        migrations.AddField(
            model_name="gateswitch",
            name="by",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="equipment.actor"
            ),
        ),
        migrations.AddField(
            model_name="gateswitch",
            name="site",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="equipment.site"
            ),
        ),
        migrations.AddField(
            model_name="haultruck",
            name="site",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="equipment.site"
            ),
        ),
        migrations.AddField(
            model_name="manureanalysis",
            name="basin",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="analyses",
                to="equipment.basin",
            ),
        ),
        migrations.AddField(
            model_name="manureanalysis",
            name="by",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="equipment.actor"
            ),
        ),
        migrations.AddField(
            model_name="manureanalysis",
            name="site",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="equipment.site"
            ),
        ),
        migrations.AddField(
            model_name="fieldapplication",
            name="analysis",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="applications",
                to="equipment.manureanalysis",
            ),
        ),
        migrations.AddConstraint(
            model_name="basincleanout",
            constraint=models.UniqueConstraint(fields=("site", "id"), name="basincleanout_site_pk"),
        ),
        migrations.AddConstraint(
            model_name="basincleanout",
            constraint=equipment.site.constraints.SameSite(
                field="basin", name="basincleanout_basin_same_site"
            ),
        ),
        migrations.AddConstraint(
            model_name="basincleanout",
            constraint=equipment.site.constraints.SameSite(
                field="by", name="basincleanout_by_same_site"
            ),
        ),
        migrations.AddConstraint(
            model_name="basincleanout",
            constraint=models.CheckConstraint(
                condition=models.Q(("depth_after_m__gte", 0), ("removed_m3__gte", 0)),
                name="basincleanout_amounts",
            ),
        ),
        migrations.AddConstraint(
            model_name="basinpractice",
            constraint=models.UniqueConstraint(fields=("site", "id"), name="basinpractice_site_pk"),
        ),
        migrations.AddConstraint(
            model_name="basinpractice",
            constraint=models.UniqueConstraint(fields=("site",), name="basinpractice_once"),
        ),
        migrations.AddConstraint(
            model_name="basinpractice",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("cow_kg__gt", 0),
                    ("haul_h_d__gt", 0),
                    ("haul_h_d__lte", 24),
                    ("late_settled_frac__range", (0, 1)),
                    ("loader_loads_h__gt", 0),
                    ("n_loaders__gte", 1),
                    ("retained_frac__range", (0, 1)),
                    ("sand_kg_d__gte", 0),
                    ("season_from_md__regex", "^(0[1-9]|1[0-2])-(0[1-9]|[12]\\d|3[01])$"),
                    ("settled_dm_frac__gt", 0),
                    ("settled_dm_frac__lte", 1),
                    ("wash_m3_d__gte", 0),
                    models.Q(("storm_mm__isnull", True), ("storm_mm__gte", 0), _connector="OR"),
                    models.Q(
                        ("mineralised_frac__isnull", True),
                        ("mineralised_frac__range", (0, 1)),
                        _connector="OR",
                    ),
                    models.Q(
                        ("nh4_kept_frac__isnull", True),
                        ("nh4_kept_frac__range", (0, 1)),
                        _connector="OR",
                    ),
                ),
                name="basinpractice_amounts",
            ),
        ),
        migrations.AddConstraint(
            model_name="cropfield",
            constraint=models.UniqueConstraint(fields=("site", "id"), name="cropfield_site_pk"),
        ),
        migrations.AddConstraint(
            model_name="cropfield",
            constraint=models.UniqueConstraint(fields=("site", "key"), name="cropfield_key"),
        ),
        migrations.AddConstraint(
            model_name="cropfield",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("area_ha__gt", 0),
                    ("distance_km__gte", 0),
                    ("need_k2o_kg_ha__gte", 0),
                    ("need_n_kg_ha__gte", 0),
                    ("need_p2o5_kg_ha__gte", 0),
                ),
                name="cropfield_amounts",
            ),
        ),
        migrations.AddConstraint(
            model_name="fieldwindow",
            constraint=models.UniqueConstraint(fields=("site", "id"), name="fieldwindow_site_pk"),
        ),
        migrations.AddConstraint(
            model_name="fieldwindow",
            constraint=equipment.site.constraints.SameSite(
                field="field", name="fieldwindow_field_same_site"
            ),
        ),
        migrations.AddConstraint(
            model_name="fieldwindow",
            constraint=models.UniqueConstraint(fields=("site", "key"), name="fieldwindow_key"),
        ),
        migrations.AddConstraint(
            model_name="fieldwindow",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("first_md__regex", "^(0[1-9]|1[0-2])-(0[1-9]|[12]\\d|3[01])$"),
                    ("last_md__regex", "^(0[1-9]|1[0-2])-(0[1-9]|[12]\\d|3[01])$"),
                ),
                name="fieldwindow_days",
            ),
        ),
        migrations.AddConstraint(
            model_name="gateswitch",
            constraint=models.UniqueConstraint(fields=("site", "id"), name="gateswitch_site_pk"),
        ),
        migrations.AddConstraint(
            model_name="gateswitch",
            constraint=equipment.site.constraints.SameSite(
                field="basin", name="gateswitch_basin_same_site"
            ),
        ),
        migrations.AddConstraint(
            model_name="gateswitch",
            constraint=equipment.site.constraints.SameSite(
                field="by", name="gateswitch_by_same_site"
            ),
        ),
        migrations.AddConstraint(
            model_name="haultruck",
            constraint=models.UniqueConstraint(fields=("site", "id"), name="haultruck_site_pk"),
        ),
        migrations.AddConstraint(
            model_name="haultruck",
            constraint=models.UniqueConstraint(fields=("site", "key"), name="haultruck_key"),
        ),
        migrations.AddConstraint(
            model_name="haultruck",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("fill_frac__gt", 0),
                    ("fill_frac__lte", 1),
                    ("loads_h__gt", 0),
                    ("n_trucks__gte", 1),
                    ("tank_m3__gt", 0),
                ),
                name="haultruck_pace",
            ),
        ),
        migrations.AddConstraint(
            model_name="manureanalysis",
            constraint=models.UniqueConstraint(
                fields=("site", "id"), name="manureanalysis_site_pk"
            ),
        ),
        migrations.AddConstraint(
            model_name="manureanalysis",
            constraint=equipment.site.constraints.SameSite(
                field="basin", name="manureanalysis_basin_same_site"
            ),
        ),
        migrations.AddConstraint(
            model_name="manureanalysis",
            constraint=equipment.site.constraints.SameSite(
                field="by", name="manureanalysis_by_same_site"
            ),
        ),
        migrations.AddConstraint(
            model_name="manureanalysis",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("k2o_kg_t__gte", 0),
                    ("nh4_n_kg_t__gte", 0),
                    ("no3_n_kg_t__gte", 0),
                    ("p2o5_kg_t__gte", 0),
                    (
                        "n_kg_t__gte",
                        django.db.models.expressions.CombinedExpression(
                            models.F("nh4_n_kg_t"), "+", models.F("no3_n_kg_t")
                        ),
                    ),
                ),
                name="manureanalysis_amounts",
            ),
        ),
        migrations.AddConstraint(
            model_name="fieldapplication",
            constraint=models.UniqueConstraint(
                fields=("site", "id"), name="fieldapplication_site_pk"
            ),
        ),
        migrations.AddConstraint(
            model_name="fieldapplication",
            constraint=equipment.site.constraints.SameSite(
                field="field", name="fieldapplication_field_same_site"
            ),
        ),
        migrations.AddConstraint(
            model_name="fieldapplication",
            constraint=equipment.site.constraints.SameSite(
                field="basin", name="fieldapplication_basin_same_site"
            ),
        ),
        migrations.AddConstraint(
            model_name="fieldapplication",
            constraint=equipment.site.constraints.SameSite(
                field="analysis", name="fieldapplication_analysis_same_site"
            ),
        ),
        migrations.AddConstraint(
            model_name="fieldapplication",
            constraint=equipment.site.constraints.SameSite(
                field="by", name="fieldapplication_by_same_site"
            ),
        ),
        migrations.AddConstraint(
            model_name="fieldapplication",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("available_n_kg__gte", 0),
                    ("k2o_kg__gte", 0),
                    ("mass_kg__gt", 0),
                    ("p2o5_kg__gte", 0),
                    ("volume_m3__gt", 0),
                ),
                name="fieldapplication_amounts",
            ),
        ),
        migrations.CreateModel(
            name="BasinOutlook",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("made_at", models.DateTimeField()),
                ("line_on", models.DateField(blank=True, null=True)),
                ("clean_d", models.PositiveIntegerField(blank=True, null=True)),
                (
                    "basin",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="outlook",
                        to="equipment.basin",
                    ),
                ),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="equipment.site",
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("site", "id"), name="basinoutlook_site_pk"),
                    equipment.site.constraints.SameSite(
                        field="basin", name="basinoutlook_basin_same_site"
                    ),
                ],
            },
        ),
    ]
