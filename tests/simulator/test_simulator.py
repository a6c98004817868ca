"""Histories of phones: a seed decides all of one, and what is switched off is found out."""

from __future__ import annotations

import logging
from collections.abc import Iterator

import pytest

from .many import play_chunk
from .play import play
from .report import ALL_SABOTAGES, first_fault
from .server import Server

pytestmark = [pytest.mark.node, pytest.mark.django_db]

N_PHONES = 3
# Seeds whose histories find out what is switched off; the first there is: `--sabotage all`.
FOUND_BY = {
    "no dedupe by id": 0,
    "no gapless sequence": 7,
    "no names on a shared phone": 2,
    "a photo again takes room again": 3,
    "no overlay": 1,
    "let go once sent": 8,
    "a restore goes unnoticed": 0,
    "cursor before its documents": 7,
    "a photo counts as sent unanswered": 5,
    "photos sent before a restore are not sent again": 17,
    "taken back though it is being sent": 7,
    "what is taken back leaves a hole": 1,
    "a photo about nothing goes out": 1,
    "a photo goes before its word": 18,
}


@pytest.fixture(autouse=True)
def quiet() -> Iterator[None]:
    logging.disable(logging.ERROR)  # requests that are cut end as errors
    yield
    logging.disable(logging.NOTSET)


def test_seed_decides_everything() -> None:
    """The same hash of all steps, played again, in another order, and with every look made anew."""
    server = Server(N_PHONES)
    first, third = play(server, [3, 7], n_phones=N_PHONES)
    other, again = play(server, [7, 3], n_phones=N_PHONES, plain=True)

    assert None not in (first.hash, third.hash)
    assert (first.hash, first.n_steps) == (again.hash, again.n_steps)
    assert (third.hash, third.n_steps) == (other.hash, other.n_steps)


def test_seed_decides_everything_on_another_site() -> None:
    assert play_chunk([3, 7], N_PHONES) == play_chunk([3, 7], N_PHONES)


def test_each_guard_that_can_be_switched_off_has_its_seed() -> None:
    assert set(FOUND_BY) == set(ALL_SABOTAGES)


def test_short_row_of_histories_holds_what_must_hold() -> None:
    """The seeds that find out what is switched off: nothing is, so nothing is found."""
    histories = list(play(Server(N_PHONES), sorted(set(FOUND_BY.values())), n_phones=N_PHONES))

    assert [f"seed {h.seed}: {h.fault}" for h in histories if h.fault] == []


@pytest.mark.parametrize("name", FOUND_BY)
def test_what_is_switched_off_is_found_out(name: str) -> None:
    found = first_fault(Server(N_PHONES), [FOUND_BY[name]], N_PHONES, name)

    assert found is not None
    assert found.hash is None
