"""When rows of lists last changed: a column that the database writes by itself.

Its default is reckoned once for all rows that are there, so no table is rewritten.
"""

from django.db import migrations, models
from django.db.models.functions import Now

from equipment.site.operations import StampChanges

DATED = (
    "crew",
    "crewpens",
    "rosterrun",
    "shift",
    "shiftpattern",
    "shiftwish",
    "swaprequest",
    "worker",
    "workerskill",
)


class Migration(migrations.Migration):
    dependencies = [
        ("crews", "0005_shared_phones"),
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
