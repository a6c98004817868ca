"""What phones carry: documents by scope, each numbered by when it last changed."""

from __future__ import annotations

from typing import Any

from django.db import models

from equipment.site.constraints import site_constraints
from equipment.site.models import SiteModel


class Carried(SiteModel):
    """One document as phones of a scope carry it; without a body it is gone.

    `n` is the number of the look (`CarriedState.n`) that changed it last.
    """

    scope = models.CharField(max_length=40)
    kind = models.CharField(max_length=20)
    key = models.CharField(max_length=60)
    digest = models.CharField(max_length=64, blank=True)
    body: models.JSONField[Any, Any] = models.JSONField(null=True)
    n = models.BigIntegerField()
    gone_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            *site_constraints(),
            models.UniqueConstraint(
                fields=["site", "scope", "kind", "key"], name="%(class)s_document"
            ),
        ]
        indexes = [models.Index(fields=["site", "scope", "n"], name="%(class)s_changed")]


class CarriedState(SiteModel):
    """How far a site's documents are: the site's version they show and the number of looks.

    Whoever knows less than `whole_below` gets everything: what went before it is forgotten.
    """

    version = models.BigIntegerField(default=-1)
    made_at = models.DateTimeField(null=True, blank=True)
    n = models.BigIntegerField(default=0)
    whole_below = models.BigIntegerField(default=0)

    class Meta:
        constraints = [
            *site_constraints(),
            models.UniqueConstraint(fields=["site"], name="%(class)s_one_a_site"),
        ]
