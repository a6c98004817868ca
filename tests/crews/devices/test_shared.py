"""A phone that a crew shares, its tokens, and what PINs hash to."""

from datetime import UTC, datetime, timedelta

import pytest
from django.db import IntegrityError, transaction

from crews.devices.auth import Phone
from crews.devices.models import Device, Pin
from crews.devices.services import (
    OLD_TOKEN_LIFE,
    device_of,
    make_pairing_code,
    pair,
    renew_token,
    reset_pin,
    revoke_device,
    set_pin,
    state_for,
)
from crews.errors import PairingRefusedError
from crews.people.models import Crew, Worker
from equipment.site.errors import NotFoundError
from equipment.site.models import Role
from equipment.site.preconditions import RestsOn, rests_on
from tests.factories import make_phone, make_site, make_worker

NOW = datetime(2026, 3, 4, 12, tzinfo=UTC)
HERE = "127.0.0.1"

pytestmark = pytest.mark.django_db


@pytest.fixture
def crew() -> Crew:
    site = make_site("ours")
    crew = Crew.objects.create(site=site, key="one", name="One")
    make_worker(site, "ana", crew=crew)
    return crew


def pair_shared(crew: Crew) -> tuple[Device, str]:
    by = Worker.objects.get(key="ana").actor
    code = make_pairing_code(site_id=crew.site_id, crew_id=crew.pk, by=by, at=NOW)
    return pair(code=code, address=HERE, at=NOW)


def test_phone_of_a_crew_is_nobodys_until_a_name_is_picked(crew: Crew) -> None:
    device, _token = pair_shared(crew)

    caller = Phone(device).caller_on("ours")

    assert caller is not None
    assert (device.worker, device.crew) == (None, crew)
    assert (caller.role, caller.actor, caller.crew_id) == (Role.WORKER, device.actor, crew.pk)
    assert Phone(device).caller_on("theirs") is None


def state_by_caller(token: str) -> tuple[str, RestsOn] | None:
    device = device_of(token, NOW)
    if device is None:
        return None
    caller = Phone(device).caller_on(device.site.slug)
    assert caller is not None
    return device.site.slug, rests_on(caller)


def test_what_lists_follow_from_is_the_same_by_the_short_way(crew: Crew) -> None:
    """Every condition that puts a phone out counts in both statements."""
    lead = make_worker(crew.site, "lea", role=Role.LEAD)
    Worker.objects.filter(pk=lead.pk).update(language="en")
    _device, shared = pair_shared(crew)
    _device, token = make_phone(lead, NOW)
    other, other_token = make_phone(make_worker(make_site("theirs"), "bo"), NOW)

    tokens = (shared, token, other_token)
    told = [state_for(each) for each in tokens]
    assert told == [state_by_caller(each) for each in tokens]
    assert [state and state[1].role for state in told] == ["worker", "lead", "worker"]
    assert [state and state[1].language for state in told] == ["en", "en", "es"]
    revoke_device(site_id=other.site_id, device_id=other.pk, at=NOW)
    Crew.objects.update(retired_at=NOW)
    Worker.objects.filter(pk=lead.pk).update(retired_at=NOW)
    for each in (*tokens, "nobody"):
        assert state_for(each) is None
        assert state_by_caller(each) is None
    Worker.objects.filter(pk=lead.pk).update(retired_at=None)
    assert state_for(token) == state_by_caller(token) is not None


def test_token_that_is_being_renewed_goes_the_long_way(crew: Crew) -> None:
    device, token = make_phone(Worker.objects.get(), NOW)
    new = renew_token(site_id=crew.site_id, device_id=device.pk, at=NOW)

    assert (state_for(token), state_for(new)) == (None, None)
    assert device_of(new, NOW) is not None  # its first use: it is no longer new
    assert state_for(new) == state_by_caller(new) is not None
    assert state_for(token) is None


def test_code_is_of_one_person_or_one_crew(crew: Crew) -> None:
    device, _token = pair_shared(crew)
    for facts in ({"worker": Worker.objects.get()}, {"crew": None}):
        with pytest.raises(IntegrityError, match="one_owner"), transaction.atomic():
            Device.objects.filter(pk=device.pk).update(**facts)


def test_crew_that_is_no_more_pairs_nothing_and_its_phone_is_out(crew: Crew) -> None:
    _device, token = pair_shared(crew)
    by = Worker.objects.get().actor
    code = make_pairing_code(site_id=crew.site_id, crew_id=crew.pk, by=by, at=NOW)
    Crew.objects.update(retired_at=NOW)

    with pytest.raises(NotFoundError):
        make_pairing_code(site_id=crew.site_id, crew_id=crew.pk, by=by, at=NOW)
    with pytest.raises(PairingRefusedError):
        pair(code=code, address=HERE, at=NOW)
    assert device_of(token, NOW) is None


def test_another_sites_crew_gets_no_code(crew: Crew) -> None:
    by, theirs = Worker.objects.get().actor, make_site("theirs")
    with pytest.raises(NotFoundError):
        make_pairing_code(site_id=theirs.pk, crew_id=crew.pk, by=by, at=NOW)


# Tokens -----------------------------------------------------------------------------------------


@pytest.fixture
def phone(crew: Crew) -> tuple[Device, str]:
    return make_phone(Worker.objects.get(), NOW)


def renew(device: Device, at: datetime = NOW) -> str:
    return renew_token(site_id=device.site_id, device_id=device.pk, at=at)


def test_old_token_is_good_until_the_new_one_is_first_used(phone: tuple[Device, str]) -> None:
    device, old = phone
    new = renew(device)

    assert device_of(old, NOW) == device
    assert device_of(new, NOW) == device
    assert device_of(old, NOW) is None
    assert device_of(new, NOW + timedelta(days=365)) == device


def test_old_token_ends_after_a_day_and_the_new_one_does_not(phone: tuple[Device, str]) -> None:
    device, old = phone
    new = renew(device)

    assert device_of(old, NOW + OLD_TOKEN_LIFE - timedelta(seconds=1)) == device
    assert device_of(old, NOW + OLD_TOKEN_LIFE) is None
    assert device_of(new, NOW + OLD_TOKEN_LIFE) == device


def test_answer_that_got_lost_is_asked_for_again(phone: tuple[Device, str]) -> None:
    device, old = phone
    lost = renew(device)

    later = NOW + timedelta(hours=23)
    new = renew(device, later)

    assert device_of(lost, later) is None
    assert device_of(old, later + timedelta(hours=23)) == device
    assert device_of(new, later) == device


def test_tokens_are_random_and_only_their_hashes_are_kept(phone: tuple[Device, str]) -> None:
    device, old = phone
    new = renew(device)

    device.refresh_from_db()
    assert new != old
    assert len(new) >= 43  # 256 bits in base64url (RFC 4648)
    assert not {old, new} & {device.token_hash, device.next_token_hash}


def test_phone_that_lost_its_access_gets_no_new_token_and_the_new_one_ends_too(
    phone: tuple[Device, str],
) -> None:
    device, old = phone
    new = renew(device)
    revoke_device(site_id=device.site_id, device_id=device.pk, at=NOW)

    assert (device_of(old, NOW), device_of(new, NOW)) == (None, None)
    with pytest.raises(NotFoundError):
        renew(device)


# PINs -------------------------------------------------------------------------------------------


def test_last_pin_counts_and_one_taken_away_is_gone(crew: Crew) -> None:
    ana = Worker.objects.get()
    for digest in ("ab" * 32, "cd" * 32):
        set_pin(
            site_id=crew.site_id, worker=ana, salt="s" * 16, iterations=9, digest=digest, at=NOW
        )
    assert Pin.objects.get().hash == "cd" * 32

    for _twice in range(2):
        reset_pin(site_id=crew.site_id, worker_id=ana.pk, at=NOW)

    assert not Pin.objects.exists()


def test_another_sites_pin_is_not_there_to_take_away(crew: Crew) -> None:
    ana, theirs = Worker.objects.get(), make_site("theirs")
    set_pin(site_id=crew.site_id, worker=ana, salt="s" * 16, iterations=9, digest="d", at=NOW)

    with pytest.raises(NotFoundError):
        reset_pin(site_id=theirs.pk, worker_id=ana.pk, at=NOW)
    assert Pin.objects.exists()
