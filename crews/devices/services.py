"""Pairing a phone with a worker, and taking its access away."""

import hashlib
import secrets
from datetime import datetime, timedelta

from django.db import transaction
from django.utils.translation import gettext as _

from crews.errors import PairingRefusedError, TooManyTriesError
from crews.people.models import Worker
from equipment.site.errors import NotFoundError
from equipment.site.models import Actor, ActorKind
from equipment.site.writes import site_write

from .models import Device, PairingCode, PairingTry

CODE_SIGNS = "ABCDEFGHJKMNPQRSTUVWXYZ23456789"  # none that gloves and glare mix up
CODE_LENGTH = 8
CODE_LIFE = timedelta(minutes=10)
MAX_WRONG = 5
WRONG_WINDOW = timedelta(minutes=10)


def hashed(secret: str) -> str:
    """Hash a code or token; both are random, so a plain digest is enough."""
    return hashlib.sha256(secret.encode()).hexdigest()


def make_pairing_code(*, site_id: int, worker_id: int, by: Actor, at: datetime) -> str:
    """Make a single-use code for one worker's phone; only its hash is kept."""
    if not Worker.objects.filter(site_id=site_id, id=worker_id, retired_at=None).exists():
        raise NotFoundError(_("There is no such worker here."))
    code = "".join(secrets.choice(CODE_SIGNS) for _i in range(CODE_LENGTH))
    PairingCode.objects.create(
        site_id=site_id,
        worker_id=worker_id,
        code_hash=hashed(code),
        made_by=by,
        expires_at=at + CODE_LIFE,
    )
    return code


def pair(*, code: str, address: str, at: datetime) -> tuple[Device, str]:
    """Trade a code for a device and its token. Wrong codes are counted per address, exactly."""
    token = secrets.token_urlsafe(32)
    device = None
    with transaction.atomic():  # a refusal commits too: its count must stay
        tries = _locked_tries(address, at)
        found = _take_code(code, at)
        if found is None:
            tries.n_wrong += 1
            tries.save(update_fields=["n_wrong", "since"])
        else:
            device = _add_device(found, token, at)
    if device is None:
        raise PairingRefusedError(_("This code is wrong, used, or older than 10 minutes."))
    return device, token


def _locked_tries(address: str, at: datetime) -> PairingTry:
    PairingTry.objects.get_or_create(address=address, defaults={"since": at})
    tries = PairingTry.objects.select_for_update(no_key=True).get(address=address)
    if at - tries.since > WRONG_WINDOW:
        tries.since, tries.n_wrong = at, 0
    if tries.n_wrong >= MAX_WRONG:
        raise TooManyTriesError(_("Too many wrong codes. Wait 10 minutes, then ask for a new one."))
    return tries


def _take_code(code: str, at: datetime) -> PairingCode | None:
    clean = code.strip().upper().replace("-", "").replace(" ", "")
    unused = PairingCode.objects.filter(
        code_hash=hashed(clean), used_at=None, expires_at__gt=at, worker__retired_at=None
    )
    if unused.update(used_at=at) != 1:
        return None
    return PairingCode.objects.select_related("worker").get(code_hash=hashed(clean))


def _add_device(code: PairingCode, token: str, at: datetime) -> Device:
    with site_write(code.site_id, at) as write:
        actor = Actor.objects.create(
            site_id=code.site_id,
            kind=ActorKind.DEVICE,
            key=f"phone-{code.pk}",
            name=code.worker.name,
        )
        device = Device.objects.create(
            site_id=code.site_id,
            actor=actor,
            worker=code.worker,
            token_hash=hashed(token),
            paired_at=at,
        )
        write.touch()
    return device


def revoke_device(*, site_id: int, device_id: int, at: datetime) -> None:
    """Take a phone's access away at once. Twice changes nothing."""
    with site_write(site_id, at) as write:
        done = Device.objects.filter(site_id=site_id, id=device_id, revoked_at=None)
        if done.update(revoked_at=at):
            write.touch()
