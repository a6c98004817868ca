"""Pairing a phone with a worker or a crew, its tokens and PINs, and taking its access away."""

import hashlib
import secrets
from datetime import datetime, timedelta

from django.db import transaction
from django.utils.translation import gettext as _

from crews.errors import PairingRefusedError, TooManyTriesError
from crews.people.models import Crew, Worker
from crews.people.services import find_worker
from equipment.site.errors import NotFoundError
from equipment.site.models import Actor, ActorKind, Named, Role, Site, SiteVersion
from equipment.site.preconditions import RestsOn
from equipment.site.rows import Joined, first_row
from equipment.site.writes import site_write

from .models import Device, PairingCode, PairingTry, Pin

CODE_SIGNS = "ABCDEFGHJKMNPQRSTUVWXYZ23456789"  # none that gloves and glare mix up
CODE_LENGTH = 8
CODE_LIFE = timedelta(minutes=10)
MAX_WRONG = 5
WRONG_WINDOW = timedelta(minutes=10)
OLD_TOKEN_LIFE = timedelta(hours=24)
HEARD_EVERY = timedelta(minutes=5)


def hashed(secret: str) -> str:
    """Hash a code or token; both are random, so a plain digest is enough."""
    return hashlib.sha256(secret.encode()).hexdigest()


def make_pairing_code(
    *,
    site_id: int,
    by: Actor,
    at: datetime,
    worker_id: int | None = None,
    crew_id: int | None = None,
) -> str:
    """Make a single-use code for a worker's phone or a crew's; only its hash is kept."""
    if crew_id is None:
        _refuse_missing(Worker, site_id, worker_id, _("There is no such worker here."))
    else:
        _refuse_missing(Crew, site_id, crew_id, _("There is no such crew here."))
    code = "".join(secrets.choice(CODE_SIGNS) for _i in range(CODE_LENGTH))
    PairingCode.objects.create(
        site_id=site_id,
        worker_id=worker_id,
        crew_id=crew_id,
        code_hash=hashed(code),
        made_by=by,
        expires_at=at + CODE_LIFE,
    )
    return code


def _refuse_missing(model: type[Named], site_id: int, pk: int | None, words: str) -> None:
    rows = model._default_manager.filter(site_id=site_id, pk=pk, retired_at=None)
    if not rows.exists():
        raise NotFoundError(words)


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
        code_hash=hashed(clean),
        used_at=None,
        expires_at__gt=at,
        worker__retired_at=None,
        crew__retired_at=None,
    )
    if unused.update(used_at=at) != 1:
        return None
    found = PairingCode.objects.select_related("worker__actor", "crew", "site")
    return found.get(code_hash=hashed(clean))


def _add_device(code: PairingCode, token: str, at: datetime) -> Device:
    with site_write(code.site_id, at) as write:
        owner = code.worker or code.crew
        actor = Actor.objects.create(
            site_id=code.site_id,
            kind=ActorKind.DEVICE,
            key=f"phone-{code.pk}",
            name=owner.name if owner else "",
        )
        device = Device.objects.create(
            site=code.site,
            actor=actor,
            worker=code.worker,
            crew=code.crew,
            token_hash=hashed(token),
            paired_at=at,
        )
        write.touch()
    return device


PHONE = Joined(device=Device, site=Site, version=SiteVersion, worker=Worker, actor=Actor)
FROM_DEVICE = """
    FROM crews_device device
    JOIN equipment_site site ON site.id = device.site_id
    JOIN equipment_siteversion version ON version.site_id = site.id
    LEFT JOIN crews_worker worker ON worker.id = device.worker_id
    JOIN equipment_actor actor ON actor.id = coalesce(worker.actor_id, device.actor_id)
    WHERE (device.token_hash = $1 OR device.next_token_hash = $1) AND device.revoked_at IS NULL
        AND worker.retired_at IS NULL
        AND (SELECT retired_at FROM crews_crew WHERE id = device.crew_id) IS NULL
"""
OF_TOKEN = f"SELECT {PHONE.columns} {FROM_DEVICE}"
STATE_OF_TOKEN = f"""
    SELECT site.slug, version.epoch, version.version, actor.id,
        coalesce(worker.role, '{Role.WORKER}'), coalesce(worker.language, site.language)
    {FROM_DEVICE} AND device.next_made_at IS NULL
"""


def device_of(token: str, at: datetime) -> Device | None:
    """Give the phone that a token is good for; a new one's first use ends the old: 1 query.

    It comes with whom it stands for, and with its site as of the site's version.
    """
    digest = hashed(token)
    device = _phone_of(digest)
    if device is None or device.next_made_at is None:
        return device
    if device.token_hash == digest:
        return device if at < device.next_made_at + OLD_TOKEN_LIFE else None
    _begin_new_token(device, digest)
    return device


def state_for(token: str) -> tuple[str, RestsOn] | None:
    """Give the site's slug, and what lists follow from for the phone of a token: 1 query.

    None for a token that is good for no phone, and for one that is being renewed: its first use
    counts, and that is `device_of`'s to see. Who a phone is on its site says `Phone.caller_on`.
    """
    found = first_row(STATE_OF_TOKEN, hashed(token))
    return found and (found[0], RestsOn(*found[1:]))


def _phone_of(digest: str) -> Device | None:
    found = PHONE.first(OF_TOKEN, digest)
    if found is None:
        return None
    device, site, version, worker, actor = found
    device.site, version.site, device.worker = site, site, worker
    if worker is None:
        device.actor = actor
    else:
        worker.site, worker.actor = site, actor
    phone: Device = device
    return phone


def _begin_new_token(device: Device, digest: str) -> None:
    begun = Device.objects.filter(pk=device.pk, next_token_hash=digest, revoked_at=None)
    begun.update(token_hash=digest, next_token_hash=None, next_made_at=None)


def renew_token(*, site_id: int, device_id: int, at: datetime) -> str:
    """Give a phone a new token; the old is good until that one is first used, or a day.

    Asked again before that (the answer got lost), it gives another, and the day begins anew.
    """
    token = secrets.token_urlsafe(32)
    rows = Device.objects.filter(site_id=site_id, id=device_id, revoked_at=None)
    if not rows.update(next_token_hash=hashed(token), next_made_at=at):
        raise NotFoundError(_("There is no such phone here."))
    return token


def heard(device: Device, at: datetime) -> None:
    """Note that a phone asked for something; by the minutes, so that asking writes seldom."""
    if device.last_seen_at is None or at - device.last_seen_at > HEARD_EVERY:
        Device.objects.filter(pk=device.pk).update(last_seen_at=at)


def revoke_device(*, site_id: int, device_id: int, at: datetime) -> None:
    """Take a phone's access away at once. Twice changes nothing."""
    with site_write(site_id, at) as write:
        done = Device.objects.filter(site_id=site_id, id=device_id, revoked_at=None)
        if done.update(revoked_at=at):
            write.touch()


def set_pin(
    *, site_id: int, worker: Worker, salt: str, iterations: int, digest: str, at: datetime
) -> None:
    """Keep what a person's PIN hashes to, for the phones of their crew; the last one counts."""
    with site_write(site_id, at) as write:
        Pin.objects.update_or_create(
            site_id=site_id,
            worker=worker,
            defaults={"salt": salt, "iterations": iterations, "hash": digest, "set_at": at},
        )
        write.touch()


def reset_pin(*, site_id: int, worker_id: int, at: datetime) -> None:
    """Forget a person's PIN: they set a new one when they next pick their name."""
    with site_write(site_id, at) as write:
        find_worker(site_id, worker_id)
        if Pin.objects.filter(site_id=site_id, worker_id=worker_id).delete()[0]:
            write.touch()
