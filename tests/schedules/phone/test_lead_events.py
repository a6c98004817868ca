"""What leads, the shop and whoever has a PIN tell from a phone."""

import uuid
from datetime import timedelta
from typing import Any

import pytest

from crews.devices.auth import Phone
from crews.devices.models import Pin
from crews.people.models import Worker
from equipment.basins.models import LevelReading
from equipment.machines.models import Defect
from equipment.site.models import Event, EventState, Hold, HoldSubject, Role
from schedules.dayplan.models import Claim
from schedules.phone.intake import Answer, Told, take_events
from schedules.work.models import Problem, Status, WorkOrder
from tests.factories import make_phone, make_worker
from tests.farm import Farm

pytestmark = pytest.mark.django_db

PIN = {"salt": "c2FsdHNhbHRzYWx0c2FsdA==", "iterations": 100_000, "hash": "ab" * 32}


def tell(farm: Farm, worker: Worker, kind: str, /, **payload: Any) -> Answer:
    """Tell one event from a phone paired just now."""
    phone, _token = make_phone(worker, farm.now)
    caller = Phone(phone).caller_on(farm.slug)
    assert caller is not None
    event = Told(uuid.uuid4(), kind, payload, farm.now, 1)
    [answer] = take_events(caller=caller, events=[event], received_at=farm.now)
    return answer


def mechanic(farm: Farm) -> Worker:
    return make_worker(farm.site, "mia", role=Role.MECHANIC)


def test_level_is_read_at_the_marker(farm: Farm) -> None:
    answer = tell(farm, farm.worker, "level", basin=farm.basins[0].pk, level_m=1.3)

    assert answer.state == "applied"
    reading = LevelReading.objects.get(pk=(answer.result or {})["level"])
    assert (reading.depth_m, reading.by) == (1.3, farm.worker.actor)


def test_machine_is_parked_by_the_shop_and_by_nobody_else(farm: Farm) -> None:
    machine = farm.machines[0].pk
    refused = tell(farm, farm.worker, "hold", machine=machine, cause="pins worn")
    assert (refused.state, refused.code) == ("refused", "forbidden")

    assert tell(farm, mechanic(farm), "hold", machine=machine, cause="pins worn").state == "applied"

    hold = Hold.objects.get(subject_kind=HoldSubject.MACHINE, reason="pins worn")
    assert (hold.subject_id, hold.put_by.name) == (machine, "Mia")


# What a lead makes of reports -------------------------------------------------------------------


def refused_start(farm: Farm) -> WorkOrder:
    """A start that was refused since the work waited on other work, which is done by now."""
    order = farm.orders[0]
    assert tell(farm, farm.worker, "start", work_order=order.pk).code == "waiting_on"
    order.needs.all().delete()
    return order


@pytest.mark.parametrize(
    ("answer", "status", "state"),
    [("count", Status.IN_PROCESS, "applied"), ("leave", Status.NEEDS_ACTION, "refused")],
)
def test_refused_event_counts_or_is_left(
    farm: Farm, answer: str, status: Status, state: str
) -> None:
    order = refused_start(farm)
    event = Event.objects.get(state=EventState.REFUSED)

    settled = tell(farm, farm.manager, "settle", event=str(event.pk), answer=answer)

    assert settled.result == {"state": state}
    event.refresh_from_db()
    assert (event.state, event.looked_at) == (state, farm.now)
    order.refresh_from_db()
    assert order.status == status
    if answer == "count":
        assert event.version == settled.version
        assert order.started_by == farm.worker.actor


def test_what_cannot_count_now_either_is_refused_again_and_still_waits(farm: Farm) -> None:
    tell(farm, farm.worker, "start", work_order=10**9)
    event = Event.objects.get(state=EventState.REFUSED)

    settled = tell(farm, farm.manager, "settle", event=str(event.pk), answer="count")

    assert (settled.state, settled.code) == ("refused", "not_found")
    event.refresh_from_db()
    assert (event.state, event.looked_at) == (EventState.REFUSED, None)


def test_first_answer_to_an_event_stands(farm: Farm) -> None:
    order = refused_start(farm)
    event = str(Event.objects.get(state=EventState.REFUSED).pk)
    tell(farm, farm.manager, "settle", event=event, answer="leave")

    again = tell(farm, farm.manager, "settle", event=event, answer="count")

    assert (again.state, again.result) == ("applied", {})
    order.refresh_from_db()
    assert order.status == Status.NEEDS_ACTION


def test_work_order_that_waits_for_a_decision_is_settled(farm: Farm) -> None:
    order = farm.orders[-1]
    assert order.needs_decision

    settled = tell(farm, farm.manager, "settle", work_order=order.pk, answer="leave")

    assert settled.state == "applied"
    order.refresh_from_db()
    assert order.needs_decision == ""


@pytest.mark.parametrize(
    "payload", [{"answer": "count"}, {"answer": "count", "event": uuid.uuid4(), "work_order": 1}]
)
def test_settling_names_one_thing(farm: Farm, payload: dict[str, Any]) -> None:
    payload = {key: str(value) for key, value in payload.items()}

    assert tell(farm, farm.manager, "settle", **payload).code == "invalid"


@pytest.mark.parametrize("kind", ["settle", "answer_problem", "give", "reset_pin"])
def test_worker_decides_nothing_for_others(farm: Farm, kind: str) -> None:
    payloads: dict[str, dict[str, Any]] = {
        "settle": {"work_order": farm.orders[-1].pk, "answer": "count"},
        "answer_problem": {"problem": 1, "text": "done"},
        "give": {"work_order": farm.orders[0].pk, "worker": farm.worker.pk},
        "reset_pin": {"worker": farm.worker.pk},
    }

    assert tell(farm, farm.worker, kind, **payloads[kind]).code == "forbidden"


def test_problem_is_answered_and_defect_put_right(farm: Farm) -> None:
    problem = Problem.objects.filter(answered_at=None).earliest("pk")
    defect = Defect.objects.filter(closed_at=None).earliest("pk")

    tell(farm, farm.manager, "answer_problem", problem=problem.pk, text="bar straightened")
    tell(farm, mechanic(farm), "answer_problem", defect=defect.pk)

    problem.refresh_from_db()
    defect.refresh_from_db()
    assert (problem.answer, problem.answered_by) == ("bar straightened", farm.manager.actor)
    assert defect.closed_by is not None


# Giving work ------------------------------------------------------------------------------------


def test_work_is_given_to_another_with_its_machine_and_hour(farm: Farm) -> None:
    order = farm.assigned
    before = Claim.objects.get(assignment__work_order=order, worker__isnull=False)
    assert before.worker == farm.worker

    answer = tell(
        farm, farm.manager, "give", work_order=order.pk, worker=farm.spare.pk, version=order.version
    )

    assert answer.state == "applied", answer
    claims = Claim.objects.filter(assignment__work_order=order)
    assert claims.get(worker__isnull=False).worker == farm.spare
    assert claims.get(worker__isnull=False).span.lower == before.span.lower
    assert claims.filter(machine__isnull=False).exists()


def test_work_that_moved_on_since_the_lead_looked_is_not_given(farm: Farm) -> None:
    order = farm.assigned

    answer = tell(
        farm,
        farm.manager,
        "give",
        work_order=order.pk,
        worker=farm.spare.pk,
        version=order.version + 1,
    )

    assert (answer.state, answer.code) == ("refused", "stale")


# PINs -------------------------------------------------------------------------------------------


def test_pin_is_ones_own_and_a_lead_takes_it_away(farm: Farm) -> None:
    assert tell(farm, farm.worker, "set_pin", **PIN).state == "applied"
    pin = Pin.objects.get()
    assert (pin.worker, pin.hash, pin.iterations) == (farm.worker, PIN["hash"], PIN["iterations"])

    later = {**PIN, "hash": "cd" * 32}
    tell(farm, farm.worker, "set_pin", **later)
    assert Pin.objects.get().hash == later["hash"]

    assert tell(farm, farm.manager, "reset_pin", worker=farm.worker.pk).state == "applied"
    assert not Pin.objects.exists()


@pytest.mark.parametrize(
    "wrong", [{"salt": "1234"}, {"hash": "<script>" * 4}, {"iterations": 1000}]
)
def test_pin_comes_as_a_salted_hash_of_many_rounds(farm: Farm, wrong: dict[str, Any]) -> None:
    assert tell(farm, farm.worker, "set_pin", **{**PIN, **wrong}).code == "invalid"


def test_level_far_from_now_is_bounded_like_any_event(farm: Farm) -> None:
    phone, _token = make_phone(farm.worker, farm.now)
    caller = Phone(phone).caller_on(farm.slug)
    assert caller is not None
    ahead = farm.now + timedelta(days=3)
    payload = {"basin": farm.basins[0].pk, "level_m": 1.1}

    take_events(
        caller=caller,
        events=[Told(uuid.uuid4(), "level", payload, ahead, 1)],
        received_at=farm.now,
    )

    assert LevelReading.objects.latest("pk").read_at == farm.now
