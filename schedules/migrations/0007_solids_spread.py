from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("equipment", "0009_machine_worth"),
        ("schedules", "0006_outlook"),
    ]

    operations = [
        migrations.RemoveConstraint(
            model_name="outlookpractice",
            name="outlookpractice_amounts",
        ),
        migrations.AddField(
            model_name="outlookpractice",
            name="solids_sd_frac",
            field=models.FloatField(default=0.1),
        ),
        migrations.AddConstraint(
            model_name="outlookpractice",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("clean_m3_d__gte", 0),
                    ("loader_h_d__range", (0, 24)),
                    ("loader_up_frac__range", (0, 1)),
                    ("log_rate_sd__gte", 0),
                    ("rain_factor__gte", 0),
                    ("screening_loss_frac__gte", 0),
                    ("screening_loss_frac__lt", 1),
                    ("solids_sd_frac__gte", 0),
                    ("truck_kg__gt", 0),
                    ("use_sd_frac__gte", 0),
                    models.Q(("buy_lead_d__isnull", True), ("buy_lead_d__gte", 1), _connector="OR"),
                ),
                name="outlookpractice_amounts",
            ),
        ),
    ]
