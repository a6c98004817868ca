"""When rows of lists last changed: a column that the database writes by itself.

Its default is reckoned once for all rows that are there, so no table is rewritten.
"""

from django.db import migrations, models
from django.db.models.functions import Now

from equipment.site.operations import StampChanges

DATED = (
    "alley",
    "basin",
    "basincleanout",
    "basinoutlook",
    "bedgroup",
    "checkitem",
    "cropfield",
    "dayforecast",
    "defect",
    "fieldapplication",
    "flushrun",
    "gateswitch",
    "hold",
    "levelreading",
    "lock",
    "machine",
    "manureanalysis",
    "meterreading",
    "pen",
    "place",
    "prestartcheck",
    "repair",
    "servicerecord",
    "site",
    "weatherday",
    "weekforecast",
    "weekscore",
)


class Migration(migrations.Migration):
    dependencies = [
        ("equipment", "0011_attachments"),
    ]

    operations = [
        *(
            migrations.AddField(
                model,
                "changed_at",
                models.DateTimeField(db_default=Now(), editable=False, serialize=False),
            )
            for model in DATED
        ),
        StampChanges(*DATED),
    ]
