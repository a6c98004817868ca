"""The ground floor: sites, accounts, places, who did what, and what every room rests on."""

from __future__ import annotations

import uuid
from typing import Any
from zoneinfo import ZoneInfo

from django.contrib.auth.models import AbstractUser
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from .constraints import site_constraints


class Language(models.TextChoices):
    ENGLISH = "en", "English"
    SPANISH = "es", "Español"


class User(AbstractUser):
    """An account that signs in at the desk."""

    language = models.CharField(max_length=2, choices=Language, default=Language.ENGLISH)


class ChangedAtField(models.DateTimeField):  # type: ignore[type-arg]  # has no parameters when run
    """When a row last changed, by the database's clock. Written by its trigger and nobody else."""

    def __init__(self, **kwargs: Any) -> None:
        fixed = {"db_default": Now(), "editable": False, "serialize": False}
        super().__init__(**{**kwargs, **fixed})

    def deconstruct(self) -> Any:
        """Stand in migrations as the plain column that it is."""
        name, _path, args, kwargs = super().deconstruct()
        return name, "django.db.models.DateTimeField", args, kwargs


class Dated(models.Model):
    """Base of rows that lists of the API show: `updated_since` asks when they changed.

    The table needs a trigger: `StampChanges` in a migration (`operations.py`).
    """

    changed_at = ChangedAtField()

    class Meta:
        abstract = True


class Site(Dated):
    """One dairy: its clock, its place on earth, its units and its own words."""

    slug = models.SlugField(unique=True)
    name = models.CharField(max_length=100)
    time_zone = models.CharField(max_length=64)
    latitude_deg = models.FloatField()
    longitude_deg = models.FloatField()
    elevation_m = models.FloatField(default=0)
    language = models.CharField(max_length=2, choices=Language, default=Language.ENGLISH)
    units = models.CharField(max_length=2, choices=[("us", "US"), ("si", "SI")], default="us")
    clock_h = models.PositiveSmallIntegerField(choices=[(12, "12 h"), (24, "24 h")], default=12)
    walk_speed_m_min = models.FloatField(default=70)
    words = models.JSONField(default=dict)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="%(class)s_latitude", condition=Q(latitude_deg__range=(-90, 90))
            ),
            models.CheckConstraint(
                name="%(class)s_longitude", condition=Q(longitude_deg__range=(-180, 180))
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.time_zone)


class SiteModel(models.Model):
    """Base of every row that belongs to one site."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="+")

    class Meta:
        abstract = True


class Named(SiteModel):
    """A thing of the farm file: a key that never changes, a name, retired but never deleted."""

    key = models.SlugField(max_length=60)
    name = models.CharField(max_length=100)
    retired_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        abstract = True

    def __str__(self) -> str:
        return self.name


def unique_key() -> models.UniqueConstraint:
    """One row per (site, key) of a `Named` model."""
    return models.UniqueConstraint(fields=["site", "key"], name="%(class)s_key")


class Role(models.TextChoices):
    MANAGER = "manager", _("Manager")
    LEAD = "lead", _("Lead")
    WORKER = "worker", _("Worker")
    MECHANIC = "mechanic", _("Mechanic")


LEADS = (Role.MANAGER, Role.LEAD)  # who decides for others
SHOP = (*LEADS, Role.MECHANIC)


class Membership(SiteModel):
    """What an account may do on a site."""

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="memberships")
    role = models.CharField(max_length=10, choices=Role)

    class Meta:
        constraints = [
            *site_constraints(),
            models.UniqueConstraint(fields=["site", "user"], name="%(class)s_once"),
        ]


class SiteVersion(models.Model):
    """The site's count of committed changes; its row lock is what puts them in order.

    `epoch` is renewed by a restore. A backup holds all changes up to `kept_through`.
    """

    site = models.OneToOneField(Site, on_delete=models.CASCADE, primary_key=True)
    version = models.BigIntegerField(default=0)
    epoch = models.UUIDField(default=uuid.uuid4)
    kept_through = models.BigIntegerField(default=0)


class PlaceKind(models.TextChoices):
    SITE = "site", _("Site")
    PARLOR = "parlor", _("Parlor")
    PEN = "pen", _("Pen")
    BED_GROUP = "bed_group", _("Bed group")
    ALLEY = "alley", _("Alley")
    TANK = "tank", _("Flush tank")
    LANE = "lane", _("Sand lane")
    SLAB = "slab", _("Drain slab")
    PAD = "pad", _("Pad")
    BAY = "bay", _("Pad bay")
    PILE_PLACE = "pile_place", _("Pile place")
    BASIN = "basin", _("Basin")
    SHOP = "shop", _("Shop")
    YARD = "yard", _("Yard")
    FIELD = "field", _("Field")


class Place(Dated, SiteModel):
    """Somewhere on the farm: where work is, where machines stand, where water runs to.

    `drains_to` is where the water of this place goes next (alley, alley, lane, basin).
    """

    key = models.SlugField(max_length=60)
    kind = models.CharField(max_length=12, choices=PlaceKind)
    label = models.CharField(max_length=60, blank=True)
    x_m = models.FloatField(default=0)
    y_m = models.FloatField(default=0)
    parent = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="parts"
    )
    drains_to = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="fed_by"
    )
    retired_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [*site_constraints("parent", "drains_to"), unique_key()]

    def __str__(self) -> str:
        return self.key


class PlaceModel(SiteModel):
    """Base of what stands on a place and is known by it: `pen.pk == pen.place_id`."""

    place = models.OneToOneField(
        Place, on_delete=models.PROTECT, primary_key=True, related_name="%(class)s"
    )

    class Meta:
        abstract = True

    def __str__(self) -> str:
        return self.place.key


class ActorKind(models.TextChoices):
    PERSON = "person", _("Person")
    DEVICE = "device", _("Phone")
    TIMER = "timer", _("Timer")
    METER = "meter", pgettext_lazy("actor", "Meter")
    SERVICE = "service", _("Penround")


class Actor(SiteModel):
    """Who or what did something, so that every room can say who."""

    kind = models.CharField(max_length=8, choices=ActorKind)
    key = models.SlugField(max_length=80)
    name = models.CharField(max_length=100)
    user = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL)

    class Meta:
        constraints = [*site_constraints(), unique_key()]

    def __str__(self) -> str:
        return self.name


class EventState(models.TextChoices):
    APPLIED = "applied", _("Applied")
    REFUSED = "refused", _("Refused")


class Event(SiteModel):
    """What a phone, timer, meter or person reported, with the answer given. Append-only."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    actor = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    device_key = models.BigIntegerField(null=True, blank=True)
    device_seq = models.BigIntegerField(null=True, blank=True)
    kind = models.CharField(max_length=40)
    schema_version = models.PositiveSmallIntegerField(default=1)
    payload = models.JSONField(default=dict)
    happened_at = models.DateTimeField()
    client_at = models.DateTimeField(null=True, blank=True)
    received_at = models.DateTimeField()
    state = models.CharField(max_length=8, choices=EventState)
    answer = models.JSONField(default=dict)
    version = models.BigIntegerField(null=True, blank=True)  # the site's, with this event in it
    looked_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            *site_constraints("actor"),
            models.UniqueConstraint(
                fields=["site", "device_key", "device_seq"], name="%(class)s_device_seq"
            ),
        ]
        indexes = [
            models.Index(fields=["site", "-received_at"], name="%(class)s_received"),
            models.Index(
                fields=["site", "received_at"],
                name="%(class)s_to_look_at",
                condition=Q(state="refused", looked_at__isnull=True),
            ),
        ]


class Change(SiteModel):
    """Tells upper rooms what a lower one changed; ordered by the site's version."""

    version = models.BigIntegerField()
    topic = models.CharField(max_length=40)
    subject_id = models.CharField(max_length=64, blank=True)
    detail = models.JSONField(default=dict)
    at = models.DateTimeField()

    class Meta:
        constraints = [*site_constraints()]
        indexes = [models.Index(fields=["site", "version"], name="%(class)s_version")]


class ChangeCursor(SiteModel):
    """How far an upper room has read the site's changes."""

    consumer = models.CharField(max_length=40)
    version = models.BigIntegerField(default=0)

    class Meta:
        constraints = [
            *site_constraints(),
            models.UniqueConstraint(fields=["site", "consumer"], name="%(class)s_once"),
        ]


class HoldSubject(models.TextChoices):
    MACHINE = "machine", _("Machine")
    PEN = "pen", _("Pen")
    BATCH = "batch", _("Batch")


class Hold(Dated, SiteModel):
    """A machine, pen or batch out of use by a named person until a named person clears it."""

    subject_kind = models.CharField(max_length=8, choices=HoldSubject)
    subject_id = models.BigIntegerField()
    reason = models.CharField(max_length=300)
    put_by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    put_at = models.DateTimeField()
    cleared_by = models.ForeignKey(
        Actor, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    cleared_at = models.DateTimeField(null=True, blank=True)
    clear_note = models.CharField(max_length=300, blank=True)

    class Meta:
        constraints = [
            *site_constraints("put_by", "cleared_by"),
            models.CheckConstraint(
                name="%(class)s_cleared_by_someone",
                condition=Q(cleared_at__isnull=True, cleared_by__isnull=True)
                | Q(cleared_at__isnull=False, cleared_by__isnull=False),
            ),
        ]
        indexes = [
            models.Index(
                fields=["site", "subject_kind", "subject_id"],
                name="%(class)s_open",
                condition=Q(cleared_at__isnull=True),
            )
        ]


class RunState(models.TextChoices):
    WAITING = "waiting", _("Waiting")
    RUNNING = "running", _("Running")
    DONE = "done", _("Done")
    DEAD = "dead", _("Given up")


class TaskRun(models.Model):
    """One background piece of work of the service itself; the broker only rings for it."""

    site = models.ForeignKey(
        Site, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    kind = models.CharField(max_length=40)
    dedupe_key = models.CharField(max_length=120)
    args = models.JSONField(default=dict)
    queue = models.CharField(max_length=10, default="produce")
    state = models.CharField(max_length=8, choices=RunState, default=RunState.WAITING)
    due_at = models.DateTimeField()
    attempts = models.PositiveSmallIntegerField(default=0)
    lease_until = models.DateTimeField(null=True, blank=True)
    error = models.TextField(blank=True)
    created_at = models.DateTimeField()
    finished_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["kind", "dedupe_key"], name="%(class)s_once"),
        ]
        indexes = [
            models.Index(
                fields=["due_at"],
                name="%(class)s_open",
                condition=Q(state__in=["waiting", "running"]),
            )
        ]


class IdempotencyKey(SiteModel):
    """The first answer to an unsafe API call, kept so that a repeat gets the same."""

    principal = models.CharField(max_length=80)
    key = models.CharField(max_length=80)
    fingerprint = models.CharField(max_length=64)
    status = models.PositiveSmallIntegerField(null=True, blank=True)
    body: models.JSONField[Any, Any] = models.JSONField(null=True, blank=True)
    created_at = models.DateTimeField()

    class Meta:
        constraints = [
            *site_constraints(),
            models.UniqueConstraint(fields=["principal", "key"], name="%(class)s_once"),
        ]
