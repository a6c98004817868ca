"""Phones, and the codes that pair them."""

from django.db import models

from crews.people.models import Worker
from equipment.site.constraints import site_constraints
from equipment.site.models import Actor, SiteModel


class Device(SiteModel):
    """A paired phone. Its token is kept hashed only; events carry its gapless sequence."""

    actor = models.OneToOneField(Actor, on_delete=models.PROTECT, related_name="device")
    worker = models.ForeignKey(Worker, on_delete=models.PROTECT, related_name="devices")
    token_hash = models.CharField(max_length=64, unique=True)
    paired_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)
    last_seq = models.BigIntegerField(default=0)
    last_seen_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [*site_constraints("actor", "worker")]


class PairingCode(SiteModel):
    """A single-use code that pairs one phone for one worker within minutes."""

    worker = models.ForeignKey(Worker, on_delete=models.CASCADE, related_name="+")
    code_hash = models.CharField(max_length=64, unique=True)
    made_by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [*site_constraints("worker", "made_by")]


class PairingTry(models.Model):
    """A wrong code, counted per address, so that guessing stops exactly at the limit."""

    address = models.GenericIPAddressField(unique=True)
    since = models.DateTimeField()
    n_wrong = models.PositiveIntegerField(default=0)
