"""One phone's events from several senders at one moment; and what the lock on its row is for."""

import uuid
from contextlib import suppress
from threading import Barrier, BrokenBarrierError, Event

import pytest
from django.db import IntegrityError

from crews.devices.auth import Phone
from crews.devices.models import Device
from equipment.site.callers import Caller
from equipment.site.models import Event as Reported
from schedules.phone import intake
from schedules.phone.intake import Answer, Told, take_events
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


def without_lock(monkeypatch: pytest.MonkeyPatch) -> None:
    def plain(caller: Caller) -> Device:
        return Device.objects.get(id=caller.device_id or 0)

    monkeypatch.setattr(intake, "_locked_device", plain)


def meet_after_looking(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let senders that have looked at the sequence wait for one another before they write."""
    barrier, look = Barrier(2), intake._order_fault

    def look_and_wait(device: Device | None, told: Told) -> Answer | None:
        found = look(device, told)
        with suppress(BrokenBarrierError):  # the lock keeps the other one away
            barrier.wait(MEET_S)
        return found

    monkeypatch.setattr(intake, "_order_fault", look_and_wait)


def send_while_another_dawdles(
    phone: Device, monkeypatch: pytest.MonkeyPatch
) -> list[list[Answer] | Exception]:
    """One sender has looked at the sequence and dawdles; another sends the same and more."""
    batch, look = loads(1, 2, 3), intake._order_fault
    has_looked, is_sent = Event(), Event()

    def look_and_dawdle(device: Device | None, told: Told) -> Answer | None:
        found = look(device, told)
        if not has_looked.is_set():
            has_looked.set()
            is_sent.wait(MEET_S)  # in vain where the lock keeps the other one away
        return found

    def send_all() -> list[Answer]:
        has_looked.wait(WAIT_S)
        answers = send(phone, batch)
        is_sent.set()
        return answers

    monkeypatch.setattr(intake, "_order_fault", look_and_dawdle)
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


def test_without_the_lock_both_would_pass_the_check_and_one_would_break(
    phone: Device, monkeypatch: pytest.MonkeyPatch
) -> None:
    without_lock(monkeypatch)
    meet_after_looking(monkeypatch)
    mine, others = loads(1), loads(1)

    answers = run_together(lambda: send(phone, mine), lambda: send(phone, others))

    assert [type(answer) for answer in answers].count(IntegrityError) == 1
