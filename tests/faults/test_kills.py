"""Worker, beat, Valkey and PostgreSQL are killed under a stream of acknowledged events.

The phone's rule is kept: an event that got no answer is sent again with the same id. At the end
the database holds exactly the events that were acknowledged, and their work exactly once. Around
each kill a standing order is made: its work, which only the background makes, is there in the end
as a calendar says, and no run of the background is left over.
"""

from __future__ import annotations

import json
import random
import urllib.error
import urllib.request
import uuid
from collections import Counter
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from tests.concurrency.work_oracle import DENVER, Owed, days_from, owed_daily
from tests.config.service import Service
from tests.config.waiting import wait_for
from tests.faults.fire import ask_farm, kill

pytestmark = pytest.mark.faults

SEED = 20261125
N_EVENTS = 200
KILLS = {40: "worker", 80: "beat", 120: "valkey", 160: "postgres"}  # before which event


def _stories(orders: list[int], rng: random.Random) -> list[tuple[str, dict[str, Any]]]:
    """Make 200 events: each order is begun, gets loads, and most are done."""
    stories = []
    for order in orders:
        loads = [("load", {"work_order": order})] * 8
        stories.append([("start", {"work_order": order}), *loads, ("done", {"work_order": order})])
    told = []
    while stories:
        story = rng.choice(stories)
        told.append(story.pop(0))
        stories = [s for s in stories if s]
    return told


def _send(service: Service, farm: dict[str, Any], event: dict[str, Any]) -> dict[str, Any] | None:
    """Send one event; None when no answer came, so that it is sent again."""
    request = urllib.request.Request(
        f"http://127.0.0.1:{service.port}/api/v1/sites/{farm['site']}/events/",
        data=json.dumps({"events": [event]}).encode(),
        headers={
            "Content-Type": "application/json",
            "Authorization": f"Bearer {farm['token']}",
        },
    )
    try:
        with urllib.request.urlopen(request, timeout=10) as reply:
            answer: dict[str, Any] = json.loads(reply.read())["answers"][0]
            return answer
    except urllib.error.HTTPError as error:
        if error.code < 500:
            raise
        return None
    except OSError:
        return None


def _send_until_answered(
    service: Service, farm: dict[str, Any], event: dict[str, Any]
) -> tuple[dict[str, Any], int]:
    """Send as a phone does: the same event again until it is answered. Gives how often."""
    answers: list[dict[str, Any] | None] = []

    def is_answered() -> bool:
        answers.append(_send(service, farm, event))
        return answers[-1] is not None

    wait_for(is_answered, f"an answer to event {event['seq']}", 90)
    assert answers[-1] is not None
    return answers[-1], len(answers)


def _kill_with_work_to_make(service: Service, name: str) -> int:
    """Kill a child just before work falls to the background; the database just after."""
    if name == "postgres":
        ask_farm(service, "order", name)
        return kill(service, name)
    pid = kill(service, name)
    ask_farm(service, "order", name)
    return pid


def test_200_acknowledged_events_survive_four_kills(service: Service) -> None:
    rng, began_at = random.Random(SEED), datetime.now(UTC)
    print(f"seed {SEED}")
    farm = ask_farm(service, "make")
    acknowledged: dict[str, str] = {}
    fired: dict[str, int] = {}
    n_sent = 0
    for number, (kind, payload) in enumerate(_stories(farm["orders"], rng), start=1):
        if number in KILLS:
            fired[KILLS[number]] = _kill_with_work_to_make(service, KILLS[number])
        event = {
            "id": str(uuid.UUID(int=rng.getrandbits(128), version=4)),
            "kind": kind,
            "payload": payload,
            "seq": number,
            "client_at": datetime.now(UTC).isoformat(),
        }
        answer, n_times = _send_until_answered(service, farm, event)
        assert answer["state"] == "applied", answer
        acknowledged[str(event["id"])] = kind
        n_sent += n_times
    assert len(acknowledged) == N_EVENTS
    _all_are_back(service, fired)
    _background_comes_to_rest(service)
    told = ask_farm(service, "tell")
    _nothing_lost_or_doubled(told, acknowledged)
    _all_work_is_made_once(told, began_at)
    print(f"killed {fired}; {n_sent - N_EVENTS} sendings went unanswered")


def _all_are_back(service: Service, fired: dict[str, int]) -> None:
    assert set(fired) == {"worker", "beat", "valkey", "postgres"}
    wait_for(lambda: set(fired) <= set(service.children()), "all children run again")
    assert all(service.children()[name] != pid for name, pid in fired.items())
    wait_for(lambda: service.get("/healthz")[0] == 200, "the web server answers")


def _background_comes_to_rest(service: Service) -> None:
    """Every run is done in the end: one whose worker was killed, when its lease has run out."""
    states: list[dict[str, int]] = []

    def is_at_rest() -> bool:
        states.append(ask_farm(service, "tell")["runs"])
        return set(states[-1]) == {"done"}

    wait_for(is_at_rest, "no run is waiting, running or dead", 150)
    print(f"runs: {states[-1]}")


def _all_work_is_made_once(told: dict[str, Any], began_at: datetime) -> None:
    """Two turns a day of each standing order, as the calendar has them for days to come."""
    first = began_at.astimezone(DENVER).date()
    turns = [(6, 0), (18, 0)]
    owed: Owed = {}
    for key in KILLS.values():
        owed |= owed_daily(key, "slab", days_from(first, 16), turns)
    start, end = datetime.now(UTC) + timedelta(hours=1), began_at + timedelta(days=13)
    owed = {key: at for key, at in owed.items() if start < at < end}
    made = [(key, datetime.fromisoformat(at)) for key, at in told["made"]]
    assert len({key for key, _at in made}) == len(made)
    assert {key: at for key, at in made if start < at < end} == owed
    assert len(owed) >= 24 * len(KILLS)


def _nothing_lost_or_doubled(told: dict[str, Any], acknowledged: dict[str, str]) -> None:
    events = told["events"]
    assert set(events) == set(acknowledged)
    assert {key: value[0] for key, value in events.items()} == acknowledged
    assert sorted(value[2] for value in events.values()) == list(range(1, N_EVENTS + 1))
    assert Counter(value[1] for value in events.values()) == {"applied": N_EVENTS}
    assert {tuple(order) for order in told["orders"].values()} == {("COMPLETED", "done", 8)}
