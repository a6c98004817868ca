"""Came in late: only what a lead must choose, with two buttons that do what a phone's do."""

from __future__ import annotations

import re
import uuid
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client

from crews.devices.auth import Phone
from equipment.site.models import Actor, ActorKind, Event, EventState, Role
from schedules.phone.intake import Told, take_events
from schedules.work.models import Status, WorkOrder
from tests.farm import Farm

from .conftest import NOW, ClientOf
from .reading import section, url, words

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)


@pytest.fixture
def clear(farm: Farm) -> Farm:
    """The farm with nothing to decide."""
    WorkOrder.objects.filter(site=farm.site).update(needs_decision="")
    return farm


def tell(farm: Farm, kind: str, **payload: Any) -> Event:
    """Tell an event from the worker's phone two hours ago; it came in just now."""
    caller = Phone(farm.phone).caller_on("ours")
    assert caller is not None
    seq = Event.objects.filter(device_key=farm.phone.pk).count() + 1
    told = Told(uuid.uuid4(), kind, payload, NOW - 2 * HOUR, seq)
    take_events(caller=caller, events=[told], received_at=NOW)
    return Event.objects.get(pk=told.id)


def refused_start(farm: Farm) -> tuple[Event, WorkOrder]:
    """A start that was refused since the work waited on other work, which is done by now."""
    order = farm.orders[0]
    event = tell(farm, "start", work_order=order.pk)
    assert event.state == EventState.REFUSED
    order.needs.all().delete()
    return event, order


def test_nothing_is_shown_that_holds_no_choice(clear: Farm, manager: Client) -> None:
    tell(clear, "start", work_order=clear.assigned.pk)  # applied

    assert "Nothing waits for a decision." in words(manager.get(url("came-late")))


def test_refused_event_says_who_what_when_and_why(clear: Farm, manager: Client) -> None:
    clear.worker.language = "en"
    clear.worker.save()
    event, order = refused_start(clear)

    response = manager.get(url("came-late"))

    said = section(response, f"event-{event.pk}")
    assert said.startswith("Groom Beds pen-1-beds-a now: To do")
    assert "Ana said “Started” 7:00 am; it came in 9:00 am. It was not taken:" in said
    assert said.endswith("What was reported counts Leave it as it is")
    assert url("work-order", order.pk) in response.content.decode()
    assert "1 case waits for a decision. The oldest came in 9:00 am." in words(response)


@pytest.mark.parametrize(
    ("button", "status", "state"),
    [
        ("What was reported counts", Status.IN_PROCESS, EventState.APPLIED),
        ("Leave it as it is", Status.NEEDS_ACTION, EventState.REFUSED),
    ],
)
def test_each_button_of_a_refused_event_does_what_it_says(
    button: str, status: Status, state: EventState, clear: Farm, manager: Client
) -> None:
    event, order = refused_start(clear)
    html = manager.get(url("came-late")).content.decode()
    form = html[html.index(url("settle-event", event.pk)) :]
    pressed = re.search(rf'name="(\w+)" value="(\w+)">{button}', form)
    assert pressed

    response = manager.post(url("settle-event", event.pk), {pressed[1]: pressed[2]})

    assert response["Location"] == url("came-late")
    event.refresh_from_db()
    order.refresh_from_db()
    assert (event.state, event.looked_at, order.status) == (state, NOW, status)
    decision = Event.objects.get(kind="settle")
    assert decision.actor.user is not None
    assert decision.actor.user.username == "manager-ours"
    assert decision.version is not None
    if state == EventState.APPLIED:
        assert order.started_by == clear.worker.actor
    assert "Nothing waits for a decision." in words(manager.get(url("came-late")))


def test_what_cannot_count_now_either_says_why_and_still_waits(
    clear: Farm, manager: Client
) -> None:
    event = tell(clear, "start", work_order=10**9)

    response = manager.post(url("settle-event", event.pk), {"answer": "count"})

    assert response.status_code == 404
    event.refresh_from_db()
    assert event.looked_at is None
    assert not Event.objects.filter(kind="settle").exists()
    assert f'id="event-{event.pk}"' in manager.get(url("came-late")).content.decode()


def test_first_answer_stands(clear: Farm, manager: Client) -> None:
    event, order = refused_start(clear)
    manager.post(url("settle-event", event.pk), {"answer": "leave"})

    again = manager.post(url("settle-event", event.pk), {"answer": "count"})

    assert again.status_code == 302
    order.refresh_from_db()
    assert order.status == Status.NEEDS_ACTION
    assert Event.objects.filter(kind="settle").count() == 1


def test_own_words_stand_in_the_language_of_who_wrote_them(clear: Farm, manager: Client) -> None:
    clear.worker.language = "es"
    clear.worker.save()
    tell(clear, "could_not", work_order=10**9, reason="hielo en la puerta")

    html = manager.get(url("came-late")).content.decode()

    assert '<q lang="es">hielo en la puerta</q>' in html
    assert re.search(r'It was not taken: <span lang="es">', html)


@pytest.mark.parametrize("payload", [7, [], {"work_order": True}, {"work_order": "x"}, "text"])
def test_event_of_any_shape_is_shown(payload: Any, clear: Farm, manager: Client) -> None:
    event = tell(clear, "start", work_order=10**9)
    Event.objects.filter(pk=event.pk).update(payload=payload)

    assert section(manager.get(url("came-late")), f"event-{event.pk}").startswith("Started")


@pytest.mark.parametrize("button", ["yes", "no"])
def test_work_order_that_asks_is_decided_and_comes_back(
    button: str, farm: Farm, manager: Client
) -> None:
    order = farm.orders[-1]
    said = section(manager.get(url("came-late")), f"work-{order.pk}")
    assert "It was reported outside its window: were cows in the pen?" in said

    response = manager.post(url("settle-order", order.pk), {"counts": button, "back": "came-late"})

    assert response["Location"] == url("came-late")
    order.refresh_from_db()
    assert order.needs_decision == ""
    assert f"work-{order.pk}" not in manager.get(url("came-late")).content.decode()


def test_late_report_is_told_with_who_said_it(clear: Farm, manager: Client) -> None:
    """The service gave the work up, then a phone brings what was done within its window."""
    order = clear.orders[5]
    facts = {"kind": ActorKind.SERVICE, "key": "clock", "name": "Penround"}
    service = Actor.objects.create(site=clear.site, **facts)
    WorkOrder.objects.filter(pk=order.pk).update(
        status=Status.CANCELLED, outcome="missed", ended_at=NOW - HOUR, ended_by=service
    )
    tell(clear, "part", work_order=order.pk, n_left=12)

    said = section(manager.get(url("came-late")), f"work-{order.pk}")

    assert "now: Missed" in said
    assert "Ana said “Part done, 12 stalls left” 7:00 am; it came in 9:00 am." in said
    assert "A phone reported it after it was closed: look what is true." in said


def test_reports_that_differ_stand_beside_one_another(clear: Farm, manager: Client) -> None:
    order = clear.orders[5]
    tell(clear, "done", work_order=order.pk)
    tell(clear, "could_not", work_order=order.pk, reason="ice")

    said = section(manager.get(url("came-late")), f"work-{order.pk}")

    assert said.index("Ana said “Done” 7:00 am") < said.index("Ana said “Could not” 7:00 am")
    assert "Two reports of it differ: look what is true." in said


@pytest.mark.parametrize("role", list(Role))
def test_all_read_and_leads_alone_decide(role: Role, clear: Farm, client_of: ClientOf) -> None:
    event, _order = refused_start(clear)
    client = client_of(role)
    is_lead = role in (Role.MANAGER, Role.LEAD)

    html = client.get(url("came-late")).content.decode()
    response = client.post(url("settle-event", event.pk), {"answer": "leave"})

    assert f'id="event-{event.pk}"' in html
    assert (url("settle-event", event.pk) in html) is is_lead
    assert response.status_code == (302 if is_lead else 403)
    event.refresh_from_db()
    assert (event.looked_at is not None) is is_lead


def test_another_farms_event_is_not_there(clear: Farm, stranger: Client, manager: Client) -> None:
    event, _order = refused_start(clear)

    assert stranger.post(url("settle-event", event.pk), {"answer": "leave"}).status_code == 404
    theirs = stranger.post(url("settle-event", event.pk, slug="theirs"), {"answer": "leave"})
    assert theirs.status_code == 404
    unknown = manager.post(url("settle-event", uuid.uuid4()), {"answer": "leave"})
    assert unknown.status_code == 404
    assert manager.post(url("settle-event", event.pk), {"answer": "maybe"}).status_code == 400
    event.refresh_from_db()
    assert event.looked_at is None


def test_many_cases_take_as_many_queries_as_one(
    clear: Farm, manager: Client, django_assert_max_num_queries: Any
) -> None:
    def n_queries() -> int:
        with django_assert_max_num_queries(25) as counted:
            manager.get(url("came-late"))
        return len(counted)

    refused_start(clear)
    manager.get(url("came-late"))
    few = n_queries()
    for n in range(52):
        tell(clear, "start", work_order=10**9 + n)
    WorkOrder.objects.filter(site=clear.site).update(needs_decision="outside_window")

    assert n_queries() <= few + 1  # what was said of work orders, in one
    assert "The first 50 of " in words(manager.get(url("came-late")))
