"""Calendars that people subscribe to by a secret link, and what each has shown."""

from __future__ import annotations

from typing import Any

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from crews.people.models import Crew, Worker
from equipment.machines.models import Machine
from equipment.sandyard.models import Pad
from equipment.site.constraints import site_constraints
from equipment.site.models import Actor, Dated, SiteModel


class CalendarKind(models.TextChoices):
    WORKER = "worker", _("Worker")
    CREW = "crew", _("Crew")
    MACHINE = "machine", _("Machine")
    PAD = "pad", _("Pad")


def _of(kind: str) -> Q:
    """Say that a calendar of a kind is about one such thing and nothing else."""
    return Q(kind=kind, **{f"{name}__isnull": name != kind for name in CalendarKind.values})


class Calendar(Dated, SiteModel):
    """The calendar of one person, crew, machine or pad. Its link is kept hashed only.

    A new link ends the one before; without one nobody reads it.
    """

    kind = models.CharField(max_length=7, choices=CalendarKind)
    worker = models.ForeignKey(
        Worker, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    crew = models.ForeignKey(
        Crew, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    machine = models.ForeignKey(
        Machine, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    pad = models.ForeignKey(Pad, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    token_hash = models.CharField(max_length=64, blank=True)
    made_by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    read_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            *site_constraints("worker", "crew", "machine", "pad", "made_by"),
            models.CheckConstraint(
                name="%(class)s_of_one_thing",
                condition=_of("worker") | _of("crew") | _of("machine") | _of("pad"),
            ),
            models.UniqueConstraint(
                fields=["site", "worker", "crew", "machine", "pad"],
                name="%(class)s_once",
                nulls_distinct=False,
            ),
        ]


class CalendarEntry(SiteModel):
    """One event as the calendar showed it last: its identity, and how often it has changed."""

    calendar = models.ForeignKey(Calendar, on_delete=models.CASCADE, related_name="entries")
    key = models.CharField(max_length=60)
    uid = models.UUIDField(unique=True)
    sequence = models.PositiveIntegerField(default=0)
    body: models.JSONField[Any, Any] = models.JSONField()
    ends_at = models.DateTimeField()
    changed_at = models.DateTimeField()
    is_cancelled = models.BooleanField(default=False)

    class Meta:
        constraints = [
            *site_constraints("calendar"),
            models.UniqueConstraint(fields=["calendar", "key"], name="%(class)s_once"),
        ]
