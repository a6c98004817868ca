"""Which phones wish to be nudged, and what each knows already."""

from __future__ import annotations

from typing import Any

from django.db import models

from crews.devices.models import Device
from equipment.site.constraints import site_constraints
from equipment.site.models import SiteModel


class Subscription(SiteModel):
    """Where a phone's nudges go (RFC 8030), until its push service says that it is gone.

    `known` holds the jobs ahead, each with its start, and the matters to look at that the phone
    has been told of: only what is new is worth a nudge.
    """

    device = models.OneToOneField(Device, on_delete=models.CASCADE, related_name="subscription")
    endpoint = models.CharField(max_length=1000)
    p256dh = models.CharField(max_length=100)
    auth = models.CharField(max_length=40)
    made_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)
    nudged_at = models.DateTimeField(null=True, blank=True)
    known: models.JSONField[Any, Any] = models.JSONField(default=dict)

    class Meta:
        constraints = [*site_constraints("device")]
