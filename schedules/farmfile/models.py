"""What the farm file last said, and what people changed of the farm's facts since."""

from __future__ import annotations

from typing import Any

from django.db import models
from django.utils.translation import gettext_lazy as _

from equipment.site.constraints import site_constraints
from equipment.site.models import Actor, SiteModel


class LoadedEntry(SiteModel):
    """One entry of the last loaded farm file, as it was written there.

    `by_hand` is what a person made of an entry for which no room has a table.
    """

    section = models.CharField(max_length=40)
    key = models.CharField(max_length=80)
    value = models.JSONField(default=dict)
    by_hand: models.JSONField[Any, Any] = models.JSONField(null=True, blank=True)
    loaded_at = models.DateTimeField()

    class Meta:
        constraints = [
            *site_constraints(),
            models.UniqueConstraint(fields=["site", "section", "key"], name="%(class)s_once"),
        ]


class HowEdited(models.TextChoices):
    FORM = "form", _("By hand")
    ROWS = "rows", _("Pasted rows")
    FILE = "file", _("A file")
    UNDO = "undo", _("Undone")


class FarmEdit(SiteModel):
    """One change that a person made to the farm's facts, with all that it moved. Append-only.

    `entries` holds `section`, `key`, `before` and `after` of each: the values as the file has them,
    None where the entry was not, or is no longer, in use.
    """

    made_at = models.DateTimeField()
    by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    how = models.CharField(max_length=4, choices=HowEdited)
    entries: models.JSONField[Any, Any] = models.JSONField(default=list)
    undoes = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="undone_by"
    )

    class Meta:
        constraints = [*site_constraints("by", "undoes")]
        indexes = [models.Index(fields=["site", "-made_at"], name="%(class)s_made")]
