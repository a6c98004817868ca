"""Sixty-four guess at once: exactly the limit is looked at (reliability R28, R29)."""

from datetime import datetime

import pytest
from django.db import connections

from crews.devices import services
from crews.devices.models import Device, PairingTry
from crews.devices.services import MAX_WRONG, make_pairing_code, pair
from crews.errors import PairingRefusedError, TooManyTriesError
from crews.people.models import Worker
from tests.factories import make_site, make_worker, utc

from .threads import run_together

pytestmark = pytest.mark.django_db(transaction=True)

NOON = utc("2026-03-04 12:00")
N_GUESSERS = 64
ADDRESS = "192.0.2.7"  # RFC 5737: documentation


@pytest.fixture
def ana() -> Worker:
    return make_worker(make_site("ours"), "ana")


def guess_all_at_once(monkeypatch: pytest.MonkeyPatch) -> tuple[int, int]:
    """Give how many guesses were looked at, and how many were not even that."""
    looked_at: list[str] = []
    take = services._take_code

    def counted(code: str, at: object) -> object:
        looked_at.append(code)
        return take(code, at)  # type: ignore[arg-type]

    monkeypatch.setattr(services, "_take_code", counted)
    guesses = [
        lambda n=n: pair(code=f"WRONG{n:03}", address=ADDRESS, at=NOON) for n in range(N_GUESSERS)
    ]
    ends = run_together(*guesses)
    connections.close_all()
    assert {type(end) for end in ends} <= {PairingRefusedError, TooManyTriesError}, ends
    n_refused = sum(isinstance(end, TooManyTriesError) for end in ends)
    assert n_refused == N_GUESSERS - len(looked_at)
    return len(looked_at), n_refused


def test_exactly_the_limit_is_looked_at(ana: Worker, monkeypatch: pytest.MonkeyPatch) -> None:
    n_looked_at, n_refused = guess_all_at_once(monkeypatch)

    assert (n_looked_at, n_refused) == (MAX_WRONG, N_GUESSERS - MAX_WRONG)
    assert PairingTry.objects.get(address=ADDRESS).n_wrong == MAX_WRONG


def test_without_the_lock_more_would_be_looked_at(
    ana: Worker, monkeypatch: pytest.MonkeyPatch
) -> None:
    def unlocked(address: str, at: datetime) -> PairingTry:
        tries, _made = PairingTry.objects.get_or_create(address=address, defaults={"since": at})
        if tries.n_wrong >= MAX_WRONG:
            raise TooManyTriesError("")
        return tries

    monkeypatch.setattr(services, "_locked_tries", unlocked)
    n_looked_at, _n_refused = guess_all_at_once(monkeypatch)

    assert n_looked_at > MAX_WRONG


def test_right_code_told_by_sixty_four_at_once_pairs_one_phone(ana: Worker) -> None:
    code = make_pairing_code(site_id=ana.site_id, worker_id=ana.pk, by=ana.actor, at=NOON)
    tries = [
        lambda n=n: pair(code=code, address=f"192.0.2.{n + 1}", at=NOON) for n in range(N_GUESSERS)
    ]

    ends = run_together(*tries)

    assert sum(not isinstance(end, Exception) for end in ends) == 1
    assert Device.objects.count() == 1
