"""Pairing: single use, ten minutes, wrong codes counted exactly."""

from datetime import UTC, datetime, timedelta

import pytest

from crews.devices.models import Device, PairingTry
from crews.devices.services import MAX_WRONG, make_pairing_code, pair, revoke_device
from crews.errors import PairingRefusedError, TooManyTriesError
from crews.people.models import Worker
from equipment.site.errors import NotFoundError
from equipment.site.models import Actor, ActorKind, Site
from equipment.site.services import create_site

NOW = datetime(2026, 3, 4, 12, tzinfo=UTC)
HERE = "127.0.0.1"

pytestmark = pytest.mark.django_db


def _site(slug: str) -> Site:
    return create_site(
        slug=slug, name=slug, time_zone="America/Denver", latitude_deg=38.6, longitude_deg=-102.4
    )


@pytest.fixture
def worker() -> Worker:
    site = _site("ours")
    actor = Actor.objects.create(site=site, kind=ActorKind.PERSON, key="ana", name="Ana")
    return Worker.objects.create(site=site, key="ana", name="Ana", actor=actor)


def _code(worker: Worker) -> str:
    return make_pairing_code(site_id=worker.site_id, worker_id=worker.pk, by=worker.actor, at=NOW)


def test_a_code_pairs_one_phone_and_only_the_hash_of_its_token_is_kept(worker: Worker) -> None:
    device, token = pair(code=_code(worker), address=HERE, at=NOW)
    assert device.worker == worker
    assert token not in Device.objects.values_list("token_hash", flat=True)


def test_a_code_works_once(worker: Worker) -> None:
    code = _code(worker)
    pair(code=code, address=HERE, at=NOW)
    with pytest.raises(PairingRefusedError):
        pair(code=code, address=HERE, at=NOW)


def test_a_code_may_be_typed_in_small_letters_with_a_dash(worker: Worker) -> None:
    code = _code(worker)
    typed = f"{code[:4]}-{code[4:]}".lower()
    assert pair(code=typed, address=HERE, at=NOW)[0].worker == worker


def test_a_code_is_dead_after_ten_minutes(worker: Worker) -> None:
    with pytest.raises(PairingRefusedError):
        pair(code=_code(worker), address=HERE, at=NOW + timedelta(minutes=10))


def test_the_sixth_try_is_not_even_looked_at_until_the_window_passed(worker: Worker) -> None:
    code = _code(worker)
    for _try in range(MAX_WRONG):
        with pytest.raises(PairingRefusedError):
            pair(code="WRONGONE", address=HERE, at=NOW)
    with pytest.raises(TooManyTriesError):
        pair(code=code, address=HERE, at=NOW + timedelta(minutes=1))
    assert PairingTry.objects.get(address=HERE).n_wrong == MAX_WRONG
    assert pair(code=_code(worker), address="127.0.0.2", at=NOW)[0].worker == worker


def test_another_sites_worker_gets_no_code(worker: Worker) -> None:
    stranger = _site("theirs")
    with pytest.raises(NotFoundError):
        make_pairing_code(site_id=stranger.pk, worker_id=worker.pk, by=worker.actor, at=NOW)


def test_a_revoked_phone_stays_revoked_from_the_first_moment(worker: Worker) -> None:
    device, _token = pair(code=_code(worker), address=HERE, at=NOW)
    later = NOW + timedelta(hours=1)
    revoke_device(site_id=worker.site_id, device_id=device.pk, at=NOW)
    revoke_device(site_id=worker.site_id, device_id=device.pk, at=later)
    assert Device.objects.get(pk=device.pk).revoked_at == NOW
