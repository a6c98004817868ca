"""What the farm file last said, so that changes made by hand can be told from it."""

from django.db import models

from equipment.site.constraints import site_constraints
from equipment.site.models import SiteModel


class LoadedEntry(SiteModel):
    """One entry of the last loaded farm file, as it was written there."""

    section = models.CharField(max_length=40)
    key = models.CharField(max_length=80)
    value = models.JSONField(default=dict)
    loaded_at = models.DateTimeField()

    class Meta:
        constraints = [
            *site_constraints(),
            models.UniqueConstraint(fields=["site", "section", "key"], name="%(class)s_once"),
        ]
