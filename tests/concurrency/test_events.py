"""One phone's events from several senders at one moment; and what the lock on its row is for."""

import itertools
import uuid
from contextlib import suppress
from threading import Barrier, BrokenBarrierError, Event
from typing import Any

import pytest
from django.db import IntegrityError

from crews.devices.auth import Phone
from crews.devices.models import Device
from equipment.site.callers import Caller
from equipment.site.models import Event as Reported
from schedules.phone import intake
from schedules.phone.intake import Answer, Told, take_events
from schedules.phone.registry import perform
from schedules.work.models import WorkOrder
from tests.concurrency.threads import WAIT_S, run_together
from tests.factories import make_phone, make_site, make_work_order, make_worker, utc

pytestmark = pytest.mark.django_db(transaction=True)

NOON = utc("2026-03-04 12:00")
MEET_S = 1.0  # how long one waits for another that the lock keeps away


@pytest.fixture
def phone() -> Device:
    device, _token = make_phone(make_worker(make_site("ours"), "ana"), NOON)
    make_work_order(device.site)
    return device


def loads(*seqs: int) -> list[Told]:
    payload = {"work_order": WorkOrder.objects.get().pk}
    return [Told(uuid.uuid4(), "load", payload, NOON, seq) for seq in seqs]


def send(phone: Device, events: list[Told]) -> list[Answer]:
    caller: Caller | None = Phone(phone).caller_on("ours")
    assert caller is not None
    return take_events(caller=caller, events=events, received_at=NOON)


def apart(phone: Device, *orders: int) -> list[Told]:
    """Loads that are no run, since every other one says by name whose word it is."""
    names = itertools.cycle((None, phone.worker_id))
    return [
        Told(uuid.uuid4(), "load", {"work_order": pk}, NOON, n, worker=next(names))
        for n, pk in enumerate(orders, start=1)
    ]


def without_lock(monkeypatch: pytest.MonkeyPatch) -> None:
    def plain(caller: Caller) -> Device:
        return Device.objects.get(id=caller.device_id or 0)

    monkeypatch.setattr(intake, "_locked_device", plain)


def meet_after_looking(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let senders that have looked at the sequence wait for one another before they write."""
    barrier, look = Barrier(2), intake._order_fault

    def look_and_wait(device: Device | None, told: Told, *, is_overtaken: bool) -> Answer | None:
        found = look(device, told, is_overtaken=is_overtaken)
        with suppress(BrokenBarrierError):  # the lock keeps the other one away
            barrier.wait(MEET_S)
        return found

    monkeypatch.setattr(intake, "_order_fault", look_and_wait)


def watch_who_is_sent_back(monkeypatch: pytest.MonkeyPatch) -> list[Exception]:
    """Note each error after which a call is taken event by event."""
    noted: list[Exception] = []
    judge = intake._is_in_the_way

    def note(error: Exception) -> bool:
        noted.append(error)
        return judge(error)

    monkeypatch.setattr(intake, "_is_in_the_way", note)
    return noted


def send_while_another_dawdles(
    phone: Device, monkeypatch: pytest.MonkeyPatch
) -> list[list[Answer] | Exception]:
    """One sender has read the phone's row and dawdles; another sends the same and more."""
    batch, look = loads(1, 2, 3), intake._locked_device
    has_looked, is_sent = Event(), Event()

    def look_and_dawdle(caller: Caller) -> Device | None:
        found = look(caller)
        if not has_looked.is_set():
            has_looked.set()
            is_sent.wait(MEET_S)  # in vain where the lock keeps the other one away
        return found

    def send_all() -> list[Answer]:
        has_looked.wait(WAIT_S)
        answers = send(phone, batch)
        is_sent.set()
        return answers

    monkeypatch.setattr(intake, "_locked_device", look_and_dawdle)
    return run_together(lambda: send(phone, batch[:1]), send_all)


def test_same_batch_from_two_senders_is_taken_once(phone: Device) -> None:
    batch = loads(*range(1, 21))

    first, second = run_together(*2 * (lambda: send(phone, batch),))

    assert first == second
    assert [answer.state for answer in first] == ["applied"] * 20  # type: ignore[union-attr]
    assert WorkOrder.objects.get().loads == 20
    assert Reported.objects.count() == 20


def test_sender_that_dawdles_takes_nothing_back(
    phone: Device, monkeypatch: pytest.MonkeyPatch
) -> None:
    slow, quick = send_while_another_dawdles(phone, monkeypatch)

    assert slow == quick[:1]  # type: ignore[index]
    assert WorkOrder.objects.get().loads == 3
    assert Device.objects.get(pk=phone.pk).last_seq == 3


def test_without_the_lock_it_would_put_the_sequence_back_and_the_next_event_would_wait_for_ever(
    phone: Device, monkeypatch: pytest.MonkeyPatch
) -> None:
    without_lock(monkeypatch)
    send_while_another_dawdles(phone, monkeypatch)

    assert Device.objects.get(pk=phone.pk).last_seq == 1
    assert [answer.code for answer in send(phone, loads(4))] == ["gap"]


def test_one_number_is_given_to_one_event_and_the_other_is_refused_by_name(
    phone: Device, monkeypatch: pytest.MonkeyPatch
) -> None:
    meet_after_looking(monkeypatch)
    mine, others = loads(1), loads(1)

    answers = run_together(lambda: send(phone, mine), lambda: send(phone, others))

    codes = sorted(answer[0].code for answer in answers if not isinstance(answer, Exception))
    assert codes == ["", "seq_used"]
    assert WorkOrder.objects.get().loads == 1
    assert Device.objects.get(pk=phone.pk).last_seq == 1


def test_without_the_lock_both_would_pass_the_check_and_the_tables_own_rule_sends_one_back(
    phone: Device, monkeypatch: pytest.MonkeyPatch
) -> None:
    without_lock(monkeypatch)
    meet_after_looking(monkeypatch)
    sent_back = watch_who_is_sent_back(monkeypatch)
    mine, others = loads(1), loads(1)

    run_together(lambda: send(phone, mine), lambda: send(phone, others))

    assert [type(error) for error in sent_back] == [IntegrityError]
    assert WorkOrder.objects.get().loads == 1


def test_batches_that_lock_each_others_work_are_both_taken(
    phone: Device, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each holds what the other waits for: the database ends one, whose events go one by one."""
    other, _token = make_phone(make_worker(phone.site, "bo"), NOON)
    one, two = WorkOrder.objects.get(), make_work_order(phone.site, "two")
    barrier, sent_back = Barrier(2), watch_who_is_sent_back(monkeypatch)

    def perform_and_wait(teller: Caller, events: list[Reported]) -> list[dict[str, Any]]:
        results = perform(teller, events)
        with suppress(BrokenBarrierError):
            barrier.wait(MEET_S)
        return results

    monkeypatch.setattr(intake, "perform", perform_and_wait)
    told = [apart(phone, one.pk, two.pk), apart(other, two.pk, one.pk)]

    answers = run_together(lambda: send(phone, told[0]), lambda: send(other, told[1]))

    assert [[a.state for a in each] for each in answers] == [["applied"] * 2] * 2  # type: ignore[union-attr]
    assert len(sent_back) == 1
    assert sorted(WorkOrder.objects.values_list("loads", flat=True)) == [2, 2]


def test_refusal_in_a_batch_undoes_that_event_alone(phone: Device) -> None:
    first, *rest = loads(1, 2, 3)
    bad = Told(uuid.uuid4(), "could_not", {**rest[0].payload, "reason": " "}, NOON, 2)

    answers = send(phone, [first, bad, rest[1]])

    assert [answer.state for answer in answers] == ["applied", "refused", "applied"]
    assert WorkOrder.objects.get().loads == 2
    assert len({answer.version for answer in answers}) == 1
