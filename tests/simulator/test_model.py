"""Every state of the small protocol holds what must; the intake answers as the model does."""

from __future__ import annotations

import itertools
import random
import uuid

import pytest
from django.db import transaction

from crews.devices.auth import Phone as Principal
from schedules.phone.intake import Told, take_events
from tests.factories import make_phone, make_site, make_worker, utc

from .model import BrokenError, Farm, Rules, States, take

NOON = utc("2026-03-04 12:00")
N_CASES = 300


@pytest.mark.parametrize(
    ("n_phones", "n_events", "n_restores", "n_states"),
    [
        (1, 4, 1, 2_282),
        (1, 4, 2, 4_797),
        (2, 1, 1, 301),
        (2, 2, 1, 10_510),
        (3, 1, 1, 2_026),
        (3, 1, 2, 9_166),
    ],
)
def test_every_choice_of_states_of_single_phones_is_met_and_no_other(
    n_phones: int, n_events: int, n_restores: int, n_states: int
) -> None:
    states = States(n_events, n_restores)

    assert states.composed(n_phones) == states.walked(n_phones) == n_states


def test_three_phones_with_four_events_each_hold_in_all_their_states() -> None:
    """All states of one phone are looked at; of three, every choice of them is met."""
    assert States(4).composed(3) == 701_139_084
    assert States(4, n_restores=2).composed(3) == 3_355_626_014


@pytest.mark.parametrize(
    ("rules", "words"),
    [
        (Rules(dedupes=False), "came in twice"),
        (Rules(counts=False), "out of their order"),
        (Rules(says_again=False), "has what it has not"),
        (Rules(keeps_until_backed_up=False), "nowhere any more"),
    ],
)
def test_rule_that_is_switched_off_breaks_a_state(rules: Rules, words: str) -> None:
    with pytest.raises(BrokenError, match=words):
        States(3, rules=rules)


@pytest.mark.django_db
def test_intake_answers_as_the_model_does() -> None:
    """Every way to send three of three events under three numbers, a few hundred by lot."""
    single = [(event, seq) for event in range(3) for seq in (1, 2, 3)]
    cases = random.Random(7).sample(list(itertools.product(single, repeat=3)), N_CASES)
    site = make_site("ours")
    device = make_phone(make_worker(site), NOON)[0]
    caller = Principal(device).caller_on("ours")
    assert caller is not None
    differing = []
    for case in cases:
        farm, expected_answers, got = Farm(), [], []
        ids = {event: uuid.uuid4() for event, _seq in case}
        with transaction.atomic():
            for event, seq in case:
                farm, [answer], expected = take(farm, ((event, seq),), Rules())
                expected_answers.append((answer, None if answer == "applied" else expected))
                told = Told(ids[event], "problem", {"text": "bent"}, NOON, seq)
                [found] = take_events(caller=caller, events=[told], received_at=NOON)
                got.append((found.code or found.state, found.expected_seq))
            transaction.set_rollback(True)
        if got != expected_answers:
            differing.append((case, expected_answers, got))
    assert differing == []
