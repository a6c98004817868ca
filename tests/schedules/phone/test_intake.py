"""Events from phones: each taken once, in order, each answered; one bad one blocks none."""

import uuid
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db import OperationalError

from crews.devices.auth import Phone
from crews.devices.models import Device
from crews.people.models import Worker
from equipment.flushing.models import Lock
from equipment.flushing.services import put_lock
from equipment.site.callers import Caller
from equipment.site.errors import ForbiddenError
from equipment.site.models import Change, Event, EventState, Role
from schedules.phone.intake import OLDEST, Answer, Told, take_events
from schedules.phone.registry import HANDLERS
from schedules.work.models import Problem, Status, WorkOrder
from tests.factories import make_phone, make_site, make_work_order, make_worker, utc

pytestmark = pytest.mark.django_db

NOON = utc("2026-03-04 12:00")
MINUTE = timedelta(minutes=1)


class Hand:
    """A worker with a paired phone, and a work order to speak of."""

    def __init__(self, slug: str = "ours") -> None:
        self.site = make_site(slug)
        self.ana: Worker = make_worker(self.site, "ana")
        self.phone: Device = self.pair(self.ana)
        self.order: WorkOrder = make_work_order(self.site)

    def pair(self, worker: Worker) -> Device:
        return make_phone(worker, NOON)[0]

    def say(self, *events: Told, phone: Device | None = None, at: datetime = NOON) -> list[Answer]:
        caller = Phone(phone or self.phone).caller_on(self.site.slug)
        assert caller is not None
        return take_events(caller=caller, events=events, received_at=at)

    def last_seq(self) -> int:
        return Device.objects.get(pk=self.phone.pk).last_seq


@pytest.fixture
def hand() -> Hand:
    return Hand()


def told(seq: int | None, kind: str = "problem", at: datetime = NOON, **payload: Any) -> Told:
    return Told(
        id=uuid.uuid4(), kind=kind, payload=payload or {"text": "bent"}, client_at=at, seq=seq
    )


def test_event_has_its_effect_and_is_kept_with_its_answer(hand: Hand) -> None:
    start = told(1, "start", NOON - MINUTE, work_order=hand.order.pk)

    [answer] = hand.say(start)

    assert (answer.state, answer.result) == ("applied", {"status": Status.IN_PROCESS})
    event = Event.objects.get(id=start.id)
    assert (event.happened_at, event.received_at) == (NOON - MINUTE, NOON)
    assert (event.state, event.answer) == (EventState.APPLIED, {"result": answer.result})
    assert hand.order.reports.get().event == event


def test_repeat_gets_the_first_answer_and_changes_nothing(hand: Hand) -> None:
    load = told(1, "load", work_order=hand.order.pk)

    first = hand.say(load)
    again = hand.say(load, at=NOON + MINUTE)

    assert (first, first[0].result) == (again, {"loads": 1})
    assert WorkOrder.objects.get(pk=hand.order.pk).loads == 1
    assert (Event.objects.count(), hand.last_seq()) == (1, 1)


def test_repeat_of_a_refusal_is_refused_by_the_same_words(hand: Hand) -> None:
    wrong = told(1, "could_not", work_order=hand.order.pk, reason=" ")

    assert hand.say(wrong) == hand.say(wrong)


def test_gap_is_answered_with_the_number_expected_and_nothing_is_kept(hand: Hand) -> None:
    answers = hand.say(told(1), told(3), told(4))

    assert [a.state for a in answers] == ["applied", "gap", "gap"]
    assert [a.expected_seq for a in answers] == [None, 2, 2]
    assert (Event.objects.count(), hand.last_seq()) == (1, 1)


def test_after_a_gap_the_same_events_are_taken_in_order(hand: Hand) -> None:
    first, second, third = told(1), told(2), told(3)
    hand.say(first, third)

    answers = hand.say(second, third)

    assert [a.state for a in answers] == ["applied", "applied"]
    assert list(Event.objects.order_by("device_seq").values_list("device_seq", flat=True)) == [
        1,
        2,
        3,
    ]


def test_refused_event_blocks_no_other_and_stays(hand: Hand) -> None:
    events = [told(1), told(2, "start", work_order=10**9), told(3, "unheard_of"), told(4)]

    answers = hand.say(*events)

    assert [a.state for a in answers] == ["applied", "refused", "refused", "applied"]
    assert [a.code for a in answers] == ["", "not_found", "unknown_kind", ""]
    kept = Event.objects.filter(state=EventState.REFUSED).order_by("device_seq")
    assert [event.answer["code"] for event in kept] == ["not_found", "unknown_kind"]
    assert all(event.answer["detail"] for event in kept)
    assert (Problem.objects.count(), hand.last_seq()) == (2, 4)


def test_event_at_which_we_break_is_kept_refused_and_blocks_no_other(
    hand: Hand, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """A fault of ours must not hold up all that a phone says after it (R14)."""

    def broken(caller: Caller, events: list[Event]) -> list[dict[str, Any]]:
        Problem.objects.create(
            site=hand.site, text="half", reported_by=caller.actor, reported_at=NOON
        )
        raise ZeroDivisionError

    monkeypatch.setitem(HANDLERS, "walk", broken)

    answers = hand.say(told(1), told(2, "walk"), told(3))

    assert [a.state for a in answers] == ["applied", "refused", "applied"]
    assert answers[1].code == "failed"
    assert "by hand" in answers[1].detail
    kept = Event.objects.get(state=EventState.REFUSED)
    assert kept.payload == {"text": "bent"}
    assert "ZeroDivisionError" in caplog.text
    assert set(Problem.objects.values_list("text", flat=True)) == {"bent"}
    assert hand.last_seq() == 3


def test_trouble_of_the_database_is_no_refusal(hand: Hand, monkeypatch: pytest.MonkeyPatch) -> None:
    def cut_off(caller: Caller, events: list[Event]) -> list[dict[str, Any]]:
        raise OperationalError("the connection is closed")

    monkeypatch.setitem(HANDLERS, "walk", cut_off)

    with pytest.raises(OperationalError):
        hand.say(told(1), told(2, "walk"))
    assert (Event.objects.count(), hand.last_seq()) == (0, 0)


def test_refusal_undoes_all_that_the_event_began_and_tells_nobody_of_it(
    hand: Hand, monkeypatch: pytest.MonkeyPatch
) -> None:
    def begin_and_refuse(caller: Caller, events: list[Event]) -> list[dict[str, Any]]:
        place_id = hand.order.place_id
        put_lock(site_id=caller.site.pk, place_id=place_id, what="", by=caller.actor, at=NOON)
        raise ForbiddenError("No.")

    monkeypatch.setitem(HANDLERS, "problem", begin_and_refuse)

    [answer] = hand.say(told(1))

    assert (answer.state, answer.code) == ("refused", "forbidden")
    assert not Lock.objects.exists()
    assert not Change.objects.filter(topic="lock.on").exists()


@pytest.mark.parametrize(
    ("kind", "payload", "pointer"),
    [
        ("start", {}, "/payload/work_order"),
        ("start", {"work_order": "x"}, "/payload/work_order"),
        ("part", {"work_order": 1, "n_left": 0}, "/payload/n_left"),
        ("could_not", {"work_order": 1}, "/payload/reason"),
        ("reading", {"machine": 1, "meter_h": "nan"}, "/payload/meter_h"),
        ("check", {"machine": 1, "answers": []}, "/payload/answers"),
        ("check", {"machine": 1, "answers": [{"item": 1}]}, "/payload/answers"),
        ("moisture_test", {"batch": 1, "moisture_frac": 6, "basis": "wb"}, "/payload/moisture"),
        ("moisture_test", {"batch": 1, "moisture_frac": 0.06}, "/payload/basis"),
        ("pen_time", {"visit": 1, "moment": "noon"}, "/payload/moment"),
    ],
)
def test_payload_that_cannot_be_read_is_refused_by_its_place(
    hand: Hand, kind: str, payload: dict[str, Any], pointer: str
) -> None:
    [answer] = hand.say(Told(uuid.uuid4(), kind, payload, NOON, 1))

    assert (answer.state, answer.code) == ("refused", "invalid")
    assert pointer in answer.detail


# Whose id, whose number -------------------------------------------------------------------------


def test_id_of_somebody_elses_event_is_refused_without_a_word_of_it(hand: Hand) -> None:
    ben = hand.pair(make_worker(hand.site, "ben"))
    first = told(1, text="Ana's own")
    hand.say(first)

    [answer] = hand.say(first, phone=ben)

    assert (answer.state, answer.code, answer.result) == ("refused", "event_id_used", None)
    assert Problem.objects.count() == 1


def test_id_of_another_sites_event_is_refused_alike(hand: Hand) -> None:
    theirs, first = Hand("theirs"), told(1)
    theirs.say(first)

    [answer] = hand.say(first)

    assert (answer.state, answer.code) == ("refused", "event_id_used")


def test_refused_id_uses_up_its_number_so_that_the_next_event_is_taken(hand: Hand) -> None:
    theirs, first = Hand("theirs"), told(1)
    theirs.say(first)

    answers = hand.say(first, told(2))

    assert [a.state for a in answers] == ["refused", "applied"]


def test_phone_paired_anew_hears_what_became_of_what_it_said_before(hand: Hand) -> None:
    """Its waiting events keep their ids and are numbered from 1 again; one had arrived."""
    arrived, waiting = told(7), told(2)
    hand.phone.last_seq = 6
    hand.phone.save(update_fields=["last_seq"])
    first = hand.say(arrived)

    renumbered = Told(arrived.id, arrived.kind, arrived.payload, arrived.client_at, 1)
    answers = hand.say(renumbered, waiting, phone=hand.pair(hand.ana))

    assert answers[0] == first[0]
    assert [a.state for a in answers] == ["applied", "applied"]
    assert Problem.objects.count() == 2


def test_number_used_before_is_refused_by_name(hand: Hand) -> None:
    hand.say(told(1), told(2))

    answers = hand.say(told(2), told(None))

    assert [(a.code, a.expected_seq) for a in answers] == [("seq_used", 3), ("seq_missing", 3)]
    assert Event.objects.count() == 2


def test_what_was_said_after_an_event_with_a_wrong_number_waits_for_it(hand: Hand) -> None:
    hand.say(told(1))
    first, after = told(1), told(2)

    answers = hand.say(first, after)
    renumbered = [
        Told(e.id, e.kind, e.payload, e.client_at, seq) for e, seq in ((first, 2), (after, 3))
    ]

    assert [(a.state, a.code, a.expected_seq) for a in answers] == [
        ("refused", "seq_used", 2),
        ("gap", "gap", 2),
    ]
    assert [a.state for a in hand.say(*renumbered)] == ["applied", "applied"]
    assert list(Event.objects.order_by("device_seq").values_list("id", flat=True))[1:] == [
        first.id,
        after.id,
    ]


# Clocks -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("said", "taken"),
    [
        (NOON - 3 * MINUTE, NOON - 3 * MINUTE),
        (NOON + MINUTE, NOON),
        (NOON + timedelta(days=3), NOON),
        (utc("1970-01-01 00:00"), NOON - OLDEST),
        (utc("9999-12-31 23:59"), NOON),
    ],
)
def test_clock_of_a_phone_is_evidence_only_and_bounded(
    hand: Hand, said: datetime, taken: datetime
) -> None:
    hand.say(told(1, at=said))

    event = Event.objects.get()
    assert (event.client_at, event.happened_at) == (said, taken)


def test_what_was_said_later_did_not_happen_before(hand: Hand) -> None:
    hand.say(told(1, at=NOON - 5 * MINUTE), told(2, at=NOON - 60 * MINUTE))

    times = Event.objects.order_by("device_seq").values_list("happened_at", flat=True)
    assert list(times) == [NOON - 5 * MINUTE] * 2


def test_order_is_the_phones_and_not_the_clocks(hand: Hand) -> None:
    """Started by a fast clock, done by a slow one: it is done all the same."""
    start = told(1, "start", NOON + timedelta(days=1), work_order=hand.order.pk)
    done = told(2, "done", NOON - timedelta(days=1), work_order=hand.order.pk)

    hand.say(start, done)

    assert WorkOrder.objects.get(pk=hand.order.pk).status == Status.COMPLETED


# From the desk ----------------------------------------------------------------------------------


def test_account_at_the_desk_tells_events_without_a_sequence(hand: Hand) -> None:
    caller = Caller(hand.site, Role.LEAD, hand.ana.actor, "en")
    event = told(None)

    first = take_events(caller=caller, events=[event, told(None)], received_at=NOON)
    again = take_events(caller=caller, events=[event], received_at=NOON + MINUTE)

    assert [a.state for a in first] == ["applied", "applied"]
    assert again == first[:1]
    assert Problem.objects.count() == 2
