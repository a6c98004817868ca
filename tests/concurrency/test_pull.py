"""Pulls while others write: none missed, none doubled, all of one moment; and what each guard does.

Reliability R16 and R28.
"""

import random
import threading
import uuid
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from typing import Any

import pytest
from django.db import connection
from rest_framework.test import APIClient

from crews.devices.auth import Phone
from crews.devices.models import Device
from crews.devices.services import revoke_device
from crews.errors import NotPairedError
from equipment.site import bell as bells
from equipment.site import writes
from equipment.site.callers import Caller
from equipment.site.models import Role, Site
from schedules.phone import carry, waiting
from schedules.phone.documents import Document, Look
from schedules.phone.intake import Answer, Told, take_events
from schedules.phone.pull import Cursor, Pull, pull
from tests.factories import make_phone, make_site, make_worker, utc

from .threads import WAIT_S, run_together

pytestmark = pytest.mark.django_db(transaction=True)

NOON = utc("2026-03-04 12:00")
SEED = 20260304
N_WRITERS, N_READERS, N_WRITES = 16, 8, 6
Key = tuple[str, str, str]


@pytest.fixture
def site() -> Site:
    return make_site("ours")


@pytest.fixture
def lead(site: Site) -> Caller:
    return phone_of(site, "lena", Role.LEAD)


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Wait for no burst; end the listening thread, whose connection would outlive the test."""
    monkeypatch.setattr(waiting, "GATHER_S", 0.0)
    monkeypatch.setattr(waiting, "rest_s", lambda _site: 0.0)
    monkeypatch.setattr(bells, "REST_S", 0.01)
    monkeypatch.setattr(bells, "LOOK_S", 0.05)
    yield
    bells.bell.close()


def phone_of(site: Site, key: str, role: Role = Role.WORKER) -> Caller:
    device, _token = make_phone(make_worker(site, key, role=role), NOON)
    caller = Phone(device).caller_on("ours")
    assert caller is not None
    return caller


def tell(caller: Caller, seq: int) -> Answer:
    event = Told(uuid.uuid4(), "problem", {"text": f"{caller.actor} {seq}"}, NOON, seq)
    [answer] = take_events(caller=caller, events=[event], received_at=NOON)
    assert answer.state == "applied"
    return answer


def problem_of(answer: Answer) -> int:
    return int((answer.result or {})["problem"])


def now() -> datetime:
    return datetime.now(UTC)


class Replica:
    """What one phone holds, what it held at each version, and how often a body came to it."""

    def __init__(self, caller: Caller) -> None:
        self.caller = caller
        self.cursor: Cursor | None = None
        self.documents: dict[Key, Any] = {}
        self.held_at: dict[int, set[int]] = {}
        self.n_came: Counter[tuple[Key, str]] = Counter()

    def pull(self) -> Pull:
        found = pull(self.caller, self.cursor, now())
        if found.whole:
            self.documents.clear()
        for document in found.documents:
            key = (document["scope"], document["kind"], document["key"])
            self.n_came[key, str(document["body"])] += 1
            self.documents[key] = document["body"]
        self.cursor = found.cursor
        kept = [key for key in self.documents if key[:2] == ("leads", "problem")]
        self.held_at[found.cursor.version] = {int(key) for _scope, _kind, key in kept}
        return found


# Sixteen write, eight read ----------------------------------------------------------------------


def dawdle_before_the_end(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let each transaction take its time between what it writes and its end: they overtake."""
    bump, turn = writes._next_version, random.Random(SEED)

    def dawdle(site_id: int) -> int:
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_sleep(%s)", [turn.uniform(0, 0.02)])
        return bump(site_id)

    monkeypatch.setattr(writes, "_next_version", dawdle)


def write_and_read(site: Site) -> tuple[dict[int, int], list[Replica]]:
    """Give each problem's version, and the replicas that pulled meanwhile."""
    writers = [phone_of(site, f"writer-{n}") for n in range(N_WRITERS)]
    readers = [Replica(phone_of(site, f"lead-{n}", Role.LEAD)) for n in range(N_READERS)]
    ended = threading.Semaphore(0)
    is_over = threading.Event()

    def write(caller: Caller) -> list[Answer]:
        try:
            return [tell(caller, seq) for seq in range(1, N_WRITES + 1)]
        finally:
            ended.release()

    def read(replica: Replica) -> list[Answer]:
        while not is_over.is_set():
            replica.pull()
        replica.pull()
        return []

    def end() -> list[Answer]:
        for _writer in writers:
            assert ended.acquire(timeout=WAIT_S)
        is_over.set()
        return []

    told = run_together(
        *[lambda w=w: write(w) for w in writers], *[lambda r=r: read(r) for r in readers], end
    )
    assert not [fault for fault in told if isinstance(fault, Exception)], (SEED, told)
    answers = [answer for many in told if isinstance(many, list) for answer in many]
    return {problem_of(a): a.version or 0 for a in answers}, readers


def test_none_is_missed_none_doubled_and_each_pull_is_of_one_version(
    site: Site, monkeypatch: pytest.MonkeyPatch, record_property: Callable[[str, object], None]
) -> None:
    dawdle_before_the_end(monkeypatch)
    version_of, readers = write_and_read(site)

    assert len(version_of) == N_WRITERS * N_WRITES
    assert sorted(version_of.values()) == sorted(set(version_of.values()))
    for replica in readers:
        whole = Replica(replica.caller)
        whole.pull()
        assert replica.documents == whole.documents, SEED
        assert max(replica.n_came.values()) == 1, SEED
        for version, held in replica.held_at.items():
            assert held == {pk for pk, at in version_of.items() if at <= version}, (SEED, version)
    n_pulls = sum(len(replica.held_at) for replica in readers)
    assert n_pulls > N_READERS  # they did pull while the others wrote
    record_property("count", f"pulls of other versions while {len(version_of)} wrote: {n_pulls}")


# What each guard is for -------------------------------------------------------------------------


def tell_while_it_looks(monkeypatch: pytest.MonkeyPatch, writer: Caller) -> list[Answer]:
    """Let one event be told, whole, between a look's first query and its documents."""
    told: list[Answer] = []
    build = carry.build

    def build_late(look: Look) -> Any:
        if not told:
            [answer] = run_together(lambda: tell(writer, 1))
            assert isinstance(answer, Answer), answer
            told.append(answer)
        return build(look)

    monkeypatch.setattr(carry, "build", build_late)
    return told


def test_look_sees_one_moment(site: Site, lead: Caller, monkeypatch: pytest.MonkeyPatch) -> None:
    told = tell_while_it_looks(monkeypatch, phone_of(site, "ana"))
    replica = Replica(lead)

    version = replica.pull().cursor.version

    assert version < (told[0].version or 0)
    assert replica.held_at[version] == set()  # else the phone's own overlay would count it twice
    assert replica.held_at[replica.pull().cursor.version] == {problem_of(told[0])}


def test_without_one_moment_documents_hold_what_their_version_does_not(
    site: Site, lead: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    @contextmanager
    def many_moments() -> Iterator[None]:
        yield

    monkeypatch.setattr(carry, "one_moment", many_moments)
    told = tell_while_it_looks(monkeypatch, phone_of(site, "ana"))
    replica = Replica(lead)

    version = replica.pull().cursor.version

    assert version < (told[0].version or 0)
    assert replica.held_at[version] == {problem_of(told[0])}


def look_twice_at_once(
    site: Site, lead: Caller, monkeypatch: pytest.MonkeyPatch
) -> list[Pull | Exception]:
    """Two pulls look; whoever is first waits in its look for the other, in vain under the guard."""
    barrier, build = threading.Barrier(2), carry.build

    def build_together(look: Look) -> Iterator[Document]:
        with suppress(threading.BrokenBarrierError):
            barrier.wait(0.5)
        yield from build(look)

    monkeypatch.setattr(carry, "build", build_together)
    return run_together(*2 * (lambda: pull(lead, None, now()),))


def test_looks_take_turns_and_the_second_takes_over_the_firsts(
    site: Site, lead: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    first, second = look_twice_at_once(site, lead, monkeypatch)

    assert isinstance(first, Pull)
    assert first == second
    assert first.cursor.n == 1


def test_without_turns_two_looks_write_the_same_documents_and_one_breaks(
    site: Site, lead: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    @contextmanager
    def no_turn(_site_id: int) -> Iterator[None]:
        yield

    monkeypatch.setattr(carry, "_turn", no_turn)
    found = look_twice_at_once(site, lead, monkeypatch)

    assert len([fault for fault in found if isinstance(fault, Exception)]) == 1


# Waiting ----------------------------------------------------------------------------------------


def wait_and_do(
    caller: Caller, monkeypatch: pytest.MonkeyPatch, do: Callable[[], object]
) -> list[Any]:
    """One pull waits; when it does, somebody does something."""
    known, does_wait = pull(caller, None, now()).cursor, threading.Event()
    wait = bells.bell.wait

    def tell_that_it_waits(site_id: int, count: int, seconds: float) -> bool:
        assert connection.connection is None  # given back
        does_wait.set()
        return wait(site_id, count, seconds)

    def act() -> object:
        assert does_wait.wait(WAIT_S)
        return do()

    monkeypatch.setattr(bells.bell, "wait", tell_that_it_waits)
    return run_together(lambda: waiting.wait_for_news(caller, known, 20), act)


def test_pull_that_waits_gets_the_change_when_it_is_committed(
    site: Site, lead: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    ana = phone_of(site, "ana")

    waited, answer = wait_and_do(lead, monkeypatch, lambda: tell(ana, 1))

    assert isinstance(waited, waiting.Waited), waited
    keys = {(d["scope"], d["kind"], d["key"]) for d in waited.pull.documents}
    assert keys == {("leads", "problem", str(problem_of(answer)))}
    assert waited.pull.cursor.version == answer.version


def test_what_is_not_for_its_scopes_leaves_it_waiting_until_the_time_is_over(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    ana, ben = phone_of(site, "ana"), phone_of(site, "ben")
    known = pull(ben, None, now()).cursor
    tell(ana, 1)

    found = waiting.wait_for_news(ben, known, 0.2).pull

    assert not found.is_news
    assert found.cursor.version == known.version + 1


def test_bell_that_lost_its_connection_is_heard_again(site: Site, lead: Caller) -> None:
    count = bells.bell.count(site.pk)
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity"
            " WHERE datname = current_database() AND query LIKE 'LISTEN%'"
        )
        assert cursor.rowcount == 1

    assert bells.bell.wait(site.pk, count, WAIT_S)  # whatever was said meanwhile: look again
    count = bells.bell.count(site.pk)
    tell(lead, 1)
    assert bells.bell.wait(site.pk, count, WAIT_S)


def test_who_finds_no_room_to_wait_is_answered_at_once_and_told_when_to_come_again(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    _device, token = make_phone(make_worker(site, "ana"), NOON)
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {token}")
    path = "/api/v1/sites/ours/pull/"
    cursor = client.get(path).json()["cursor"]
    monkeypatch.setattr(bells.bell, "places", threading.BoundedSemaphore(0))

    response = client.get(path, {"cursor": cursor, "wait_s": 25})

    assert (response.status_code, response["Retry-After"]) == (200, str(waiting.RETRY_AFTER_S))
    assert "Retry-After" not in client.get(path, {"cursor": cursor}).headers


# Access taken away (R28) ------------------------------------------------------------------------


def test_access_taken_away_ends_a_pull_that_waits(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    ana = phone_of(site, "ana")
    assert ana.device_id is not None
    device_id = ana.device_id

    waited, _none = wait_and_do(
        ana,
        monkeypatch,
        lambda: revoke_device(site_id=site.pk, device_id=device_id, at=NOON),
    )

    assert isinstance(waited, NotPairedError)


def test_access_taken_away_ends_a_batch_in_its_midst(site: Site) -> None:
    """Ten phones send fifty events each; access is taken away meanwhile: nothing after that."""
    for n in range(10):
        ana = phone_of(site, f"ana-{n}")
        assert ana.device_id is not None
        device_id, is_begun = ana.device_id, threading.Event()

        def send(ana: Caller = ana, is_begun: threading.Event = is_begun) -> list[Answer]:
            answers = [tell(ana, 1)]
            is_begun.set()
            events = [Told(uuid.uuid4(), "problem", {"text": "x"}, NOON, s) for s in range(2, 51)]
            return answers + take_events(caller=ana, events=events, received_at=NOON)

        def revoke(begun: threading.Event = is_begun, pk: int = device_id) -> list[Answer]:
            assert begun.wait(WAIT_S)
            revoke_device(site_id=site.pk, device_id=pk, at=NOON)
            return []

        sent, _none = run_together(send, revoke)
        last_seq = Device.objects.get(pk=device_id).last_seq
        if isinstance(sent, NotPairedError):
            assert last_seq < 50
        else:
            assert last_seq == 50  # it was through before
        with pytest.raises(NotPairedError):
            tell(ana, last_seq + 1)
