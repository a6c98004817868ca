"""Phones, the codes that pair them, and the PINs of people who share one."""

from django.db import models
from django.db.models import Q

from crews.people.models import Crew, Worker
from equipment.site.constraints import site_constraints
from equipment.site.models import Actor, SiteModel


def one_owner() -> models.CheckConstraint:
    """A phone is one person's or one crew's."""
    return models.CheckConstraint(
        name="%(class)s_one_owner",
        condition=Q(worker__isnull=False, crew__isnull=True)
        | Q(worker__isnull=True, crew__isnull=False),
    )


class Device(SiteModel):
    """A paired phone, of a worker or of a crew. Its tokens are kept hashed only.

    Events carry its gapless sequence. The old token is good until the next one is first used, and
    no longer than a day.
    """

    actor = models.OneToOneField(Actor, on_delete=models.PROTECT, related_name="device")
    worker = models.ForeignKey(
        Worker, null=True, blank=True, on_delete=models.PROTECT, related_name="devices"
    )
    crew = models.ForeignKey(
        Crew, null=True, blank=True, on_delete=models.PROTECT, related_name="devices"
    )
    token_hash = models.CharField(max_length=64, unique=True)
    next_token_hash = models.CharField(max_length=64, unique=True, null=True, blank=True)
    next_made_at = models.DateTimeField(null=True, blank=True)
    paired_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)
    last_seq = models.BigIntegerField(default=0)
    last_seen_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [*site_constraints("actor", "worker", "crew"), one_owner()]


class PairingCode(SiteModel):
    """A single-use code that pairs one phone for one worker or crew within minutes."""

    worker = models.ForeignKey(
        Worker, null=True, blank=True, on_delete=models.CASCADE, related_name="+"
    )
    crew = models.ForeignKey(
        Crew, null=True, blank=True, on_delete=models.CASCADE, related_name="+"
    )
    code_hash = models.CharField(max_length=64, unique=True)
    made_by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [*site_constraints("worker", "crew", "made_by"), one_owner()]


class Pin(SiteModel):
    """What a person's PIN hashes to (PBKDF2, RFC 8018, with SHA-256); phones check it themselves.

    It guards against mix-ups on a shared phone, not against thieves: whoever holds the phone can
    try all ten thousand.
    """

    worker = models.OneToOneField(Worker, on_delete=models.CASCADE, related_name="pin")
    salt = models.CharField(max_length=88)
    iterations = models.PositiveIntegerField()
    hash = models.CharField(max_length=88)
    set_at = models.DateTimeField()

    class Meta:
        constraints = [*site_constraints("worker")]


class PairingTry(models.Model):
    """A wrong code, counted per address, so that guessing stops exactly at the limit."""

    address = models.GenericIPAddressField(unique=True)
    since = models.DateTimeField()
    n_wrong = models.PositiveIntegerField(default=0)
