"""Histories of phones over a bad line: lost answers, repeats, crashes, bad events, wrong clocks.

Reliability R13, R14, R18 and R23, scaled down; `SEED` replays the same history. Each has a run with
its guard switched off, which must show the fault.
"""

import random
import uuid
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db import transaction

from crews.devices.auth import Phone
from crews.devices.models import Device
from equipment.site.callers import Caller
from equipment.site.models import Event, EventState, Site, SiteVersion
from schedules.phone import intake, registry
from schedules.phone.carry import standing_of
from schedules.phone.intake import Answer, Told, take_events
from schedules.phone.pull import pull
from schedules.work.models import Report, WorkOrder
from tests.factories import make_phone, make_site, make_work_order, make_worker, utc

pytestmark = pytest.mark.django_db

NOON = utc("2026-03-04 12:00")
SEED = 20260304
N_EVENTS, BATCH = 300, 50


class CrashError(BaseException):
    """The server dies in the midst of an event: nobody is left to say that it failed."""


@dataclass
class Client:
    """A phone's outbox: keeps what it said until a backup has it, sends in order, in batches."""

    device: Device
    kept: list[Told] = field(default_factory=list)
    answers: dict[uuid.UUID, Answer] = field(default_factory=dict)
    epoch: str = ""

    @property
    def caller(self) -> Caller:
        caller = Phone(self.device).caller_on(self.device.site.slug)
        assert caller is not None
        return caller

    def say(self, kind: str, at: datetime = NOON, **payload: Any) -> None:
        self.kept.append(Told(uuid.uuid4(), kind, payload, at, len(self.kept) + 1))

    def waiting(self) -> list[Told]:
        return [told for told in self.kept if told.id not in self.answers]

    def send(self, n: int = BATCH) -> list[Answer]:
        events = self.waiting()[:n]
        return take_events(caller=self.caller, events=events, received_at=NOON) if events else []

    def hear(self, answers: list[Answer]) -> None:
        self.answers |= {answer.id: answer for answer in answers if answer.state != "gap"}

    def pull(self) -> None:
        """Send all that is kept again where the service was restored; forget what a backup has."""
        found = pull(self.caller, None, NOON)
        if self.epoch and found.cursor.epoch != self.epoch:
            self.answers.clear()
        self.epoch = found.cursor.epoch


@pytest.fixture
def site() -> Site:
    return make_site("ours")


@pytest.fixture
def orders(site: Site) -> list[WorkOrder]:
    return [make_work_order(site, f"by-hand/{n}") for n in range(4)]


def client_of(site: Site, key: str) -> Client:
    return Client(make_phone(make_worker(site, key), NOON)[0])


# R13, R14: each once, in order, whatever happens on the way -------------------------------------


def say_many(client: Client, orders: list[WorkOrder], turn: random.Random) -> int:
    """Say loads, and among twenty one that nobody can take; give how many of those."""
    n_bad = 0
    for _event in range(N_EVENTS):
        order = turn.choice(orders).pk
        bad: tuple[str, dict[str, Any]] = turn.choice(
            [("load", {"work_order": 10**9}), ("load", {}), ("unheard_of", {"x": 1})]
        )
        is_bad = turn.random() < 0.05
        n_bad += is_bad
        kind, payload = bad if is_bad else ("load", {"work_order": order})
        client.say(kind, **payload)
    return n_bad


def over_a_bad_line(
    client: Client, turn: random.Random, monkeypatch: pytest.MonkeyPatch
) -> dict[str, int]:
    """Send until all is answered; count what went wrong on the way, so that it did."""
    seen = {"lost": 0, "repeated": 0, "crashed": 0}
    perform, is_dying = registry.perform, [False]

    def perform_and_die(teller: Caller, events: list[Event]) -> list[dict[str, Any]]:
        results = perform(teller, events)
        if is_dying[0] and turn.random() < 0.1 * len(events):
            seen["crashed"] += 1
            raise CrashError
        return results

    monkeypatch.setattr(intake, "perform", perform_and_die)
    while client.waiting():
        n, is_dying[0] = turn.randint(1, 20), turn.random() < 0.4
        answers: list[Answer] = []
        with suppress(CrashError):
            answers = client.send(n)
        if turn.random() < 0.1 and answers:
            is_dying[0] = False
            seen["repeated"] += 1
            assert client.send(n) == answers
        if turn.random() < 0.3:
            seen["lost"] += 1
        else:
            client.hear(answers)
    return seen


def faults_of(client: Client, n_bad: int) -> list[str]:
    """Say what is not as it should be after a history."""
    loads = [told for told in client.kept if client.answers[told.id].state == "applied"]
    reports = Report.objects.order_by("pk").values_list("event_id", flat=True)
    stored = Event.objects.order_by("received_at", "device_seq").values_list("pk", flat=True)
    facts = {
        "lost or doubled": sum(o.loads for o in WorkOrder.objects.all()) == len(loads),
        "reordered": list(reports) == [told.id for told in loads],
        "not kept": list(stored) == [told.id for told in client.kept],
        "bad ones not in the tray": Event.objects.filter(state=EventState.REFUSED).count() == n_bad,
        "blocked": len(loads) == N_EVENTS - n_bad,
    }
    return [words for words, is_so in facts.items() if not is_so]


def test_each_event_is_taken_once_in_its_order_over_a_line_that_loses_and_repeats(
    site: Site,
    orders: list[WorkOrder],
    monkeypatch: pytest.MonkeyPatch,
    record_property: Callable[[str, object], None],
) -> None:
    turn, client = random.Random(SEED), client_of(site, "ana")
    n_bad = say_many(client, orders, turn)

    seen = over_a_bad_line(client, turn, monkeypatch)

    assert all(n > 1 for n in (*seen.values(), n_bad)), (SEED, seen, n_bad)
    assert faults_of(client, n_bad) == [], SEED
    record_property("count", f"events over a bad line: {N_EVENTS}, {n_bad} bad; {seen}")


def test_without_its_id_an_event_whose_answer_was_lost_would_be_refused(
    site: Site, orders: list[WorkOrder]
) -> None:
    """What the ids are for: a phone that made a new one for each try would hear nothing."""
    client = client_of(site, "ana")
    client.say("load", work_order=orders[0].pk)
    [first] = client.send()  # whose answer is lost
    assert client.send() == [first]

    client.kept = [replace(client.kept[0], id=uuid.uuid4())]

    assert [(a.state, a.code) for a in client.send()] == [("refused", "seq_used")]


def test_without_the_number_of_each_event_a_lost_batch_would_be_overtaken(
    site: Site, orders: list[WorkOrder], monkeypatch: pytest.MonkeyPatch
) -> None:
    client = client_of(site, "ana")
    for n in (1, 2):
        client.say("load", work_order=orders[0].pk, n=n)

    def send_the_second_first() -> list[str]:
        second = take_events(caller=client.caller, events=client.kept[1:], received_at=NOON)
        return [answer.state for answer in second]

    assert send_the_second_first() == ["gap"]
    monkeypatch.setattr(intake, "_order_fault", lambda _device, _told, **_how: None)
    assert send_the_second_first() == ["applied"]


# R18: wrong clocks change nothing ---------------------------------------------------------------

KINDS = ("start", "load", "done", "part", "could_not", "undo")
Clock = Callable[[int], timedelta]  # how far off a phone's clock is when it says something


def history_of(
    site: Site, turn: random.Random, kinds: tuple[str, ...]
) -> list[tuple[int, str, dict[str, Any]]]:
    """What three people say, in the order in which the server hears it."""
    orders = [order.pk for order in WorkOrder.objects.filter(site=site).order_by("pk")]
    said = []
    for _event in range(30):
        kind = turn.choice(kinds)
        more: dict[str, dict[str, Any]] = {
            "part": {"n_left": turn.randint(1, 20)},
            "could_not": {"reason": "ice"},
        }
        payload = {"work_order": turn.choice(orders), **more.get(kind, {})}
        said.append((turn.randrange(3), kind, payload))
    return said


def states_after(clock: Clock, seed: int, kinds: tuple[str, ...]) -> list[tuple[Any, ...]]:
    """Play one history with clocks that are off; give the states, and take all back.

    Not the answers: whether a start was told before somebody else closed the work is evidence of
    the clock, so such a start is kept beside or refused; it changes no state either way.
    """
    with transaction.atomic():
        site = make_site("theirs")
        for n in range(3):
            make_work_order(site, f"by-hand/{n}")
        clients = [client_of(site, f"worker-{n}") for n in range(3)]
        history = history_of(site, random.Random(seed), kinds)
        for number, kind, payload in history:
            clients[number].say(kind, NOON + clock(number), **payload)
            clients[number].hear(clients[number].send())
        rows = WorkOrder.objects.filter(site=site).order_by("pk")
        states = [(o.status, o.outcome, o.loads, o.n_left) for o in rows]
        transaction.set_rollback(True)
    return states


@pytest.mark.parametrize("seed", range(SEED, SEED + 4))
def test_clocks_off_by_days_change_no_state(seed: int) -> None:
    turn = random.Random(seed)
    off_h = [turn.uniform(-72, 72) for _phone in range(3)]

    right = states_after(lambda _phone: timedelta(0), seed, KINDS)
    wrong = states_after(lambda phone: timedelta(hours=off_h[phone]), seed, KINDS)

    assert right == wrong, seed
    assert any(state[0] != "NEEDS-ACTION" for state in right)


@pytest.mark.parametrize("seed", range(SEED, SEED + 4))
def test_clocks_that_jump_by_days_change_no_state(seed: int) -> None:
    """But for what one may take back: that is ten minutes by the phone's own clock."""
    turn = random.Random(seed)
    kinds = KINDS[:-1]

    right = states_after(lambda _phone: timedelta(0), seed, kinds)
    wrong = states_after(lambda _phone: timedelta(hours=turn.uniform(-72, 72)), seed, kinds)

    assert right == wrong, seed


# R23: after a restore the phones heal the server ------------------------------------------------


@pytest.fixture
def restored() -> Callable[[Callable[[], None], Site], None]:
    """Do something and take it back as a restore of an older backup does; another life begins."""

    def lose(do: Callable[[], None], site: Site) -> None:
        with transaction.atomic():
            do()
            transaction.set_rollback(True)
        SiteVersion.objects.filter(site=site).update(epoch=uuid.uuid4())

    return lose


def test_phones_tell_again_what_a_restored_backup_did_not_have(
    site: Site, orders: list[WorkOrder], restored: Callable[[Callable[[], None], Site], None]
) -> None:
    clients = [client_of(site, f"worker-{n}") for n in range(5)]

    def work() -> None:
        for client, order in zip(clients, [*orders, orders[0]], strict=True):
            for _load in range(7):
                client.say("load", work_order=order.pk)
            client.say("load", work_order=10**9)  # refused ones fill their number too
            client.hear(client.send())
            client.pull()

    work()
    backed_up = standing_of(site.pk)
    restored(work, site)
    assert standing_of(site.pk).version == backed_up.version
    assert standing_of(site.pk).epoch != backed_up.epoch
    assert not any(client.waiting() for client in clients)  # they think that all is told

    for client in clients:
        client.pull()
        assert len(client.waiting()) == 16
        client.hear(client.send())

    assert sum(o.loads for o in WorkOrder.objects.all()) == 5 * 14
    assert Event.objects.count() == 5 * 16
    assert Event.objects.filter(state=EventState.REFUSED).count() == 5 * 2
    for client in clients:
        assert not client.waiting()
        before = WorkOrder.objects.values_list("loads", flat=True)
        client.answers.clear()  # and once more, though nothing is missing
        client.hear(client.send())
        assert list(before) == list(WorkOrder.objects.values_list("loads", flat=True))


def test_phones_that_kept_nothing_would_lose_it_and_be_stopped_by_the_gap(
    site: Site, orders: list[WorkOrder], restored: Callable[[Callable[[], None], Site], None]
) -> None:
    """What the keeping is for: forgotten events are gone, and later ones wait for them."""
    client = client_of(site, "ana")

    def work() -> None:
        client.say("load", work_order=orders[0].pk)
        client.hear(client.send())

    restored(work, site)
    client.kept = [replace(client.kept[0], id=uuid.uuid4(), seq=2)]

    assert [(a.state, a.expected_seq) for a in client.send()] == [("gap", 1)]
    assert WorkOrder.objects.get(pk=orders[0].pk).loads == 0
