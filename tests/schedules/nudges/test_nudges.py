"""Who is nudged, when, and until when."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.db.backends.postgresql.psycopg_any import DateTimeTZRange
from rest_framework.test import APIClient

from crews.devices.models import Device
from crews.devices.services import revoke_device
from equipment.site.models import Role, RunState, TaskRun
from equipment.site.runs import perform
from schedules.dayplan.models import Assignment, Claim
from schedules.nudges.models import Subscription
from schedules.nudges.services import notice, subscribe
from schedules.work.models import Status, WorkOrder
from tests.factories import make_user, make_work_order
from tests.farm import Farm

from .conftest import Browser, PushService

pytestmark = pytest.mark.django_db

HOUR, MINUTE = timedelta(hours=1), timedelta(minutes=1)
PATH = "/api/v1/sites/ours/nudges/"


def subscribed(farm: Farm, service: PushService, browser: Browser, device: Device) -> Subscription:
    return subscribe(
        site_id=farm.site.pk,
        device_id=device.pk,
        endpoint=service.endpoint,
        at=farm.now,
        **browser.keys(),
    )


@pytest.fixture
def ana(farm: Farm, push_is_on: PushService, browser: Browser) -> Subscription:
    return subscribed(farm, push_is_on, browser, farm.phone)


def look(farm: Farm, minutes: float = 0) -> int:
    return notice(site_id=farm.site.pk, at=farm.now + minutes * MINUTE)


def give(farm: Farm, hours: float) -> Claim:
    """A job for Ana, so many hours from now."""
    order = make_work_order(farm.site, f"nudge/{hours}")
    starts_at = farm.now + hours * HOUR
    given = Assignment.objects.create(
        site=farm.site, work_order=order, starts_at=starts_at, ends_at=starts_at + 5 * MINUTE
    )
    span = (starts_at, starts_at + 5 * MINUTE)
    return Claim.objects.create(site=farm.site, assignment=given, worker=farm.worker, span=span)


def move(claim: Claim, minutes: float) -> None:
    claim.refresh_from_db()
    span = (claim.span.lower + minutes * MINUTE, claim.span.upper + minutes * MINUTE)
    Claim.objects.filter(pk=claim.pk).update(span=DateTimeTZRange(*span))


def ask_decision(farm: Farm) -> None:
    WorkOrder.objects.filter(pk=farm.orders[0].pk).update(needs_decision="late_report")


# When -------------------------------------------------------------------------------------------


def test_what_the_phone_shows_already_is_no_news(farm: Farm, ana: Subscription) -> None:
    assert [look(farm), look(farm, 1)] == [0, 0]


def test_job_that_comes_before_all_others_is_news_once(farm: Farm, ana: Subscription) -> None:
    give(farm, 1)

    assert [look(farm), look(farm, 1)] == [1, 0]


def test_job_behind_the_next_one_is_no_news_nor_when_its_turn_comes(
    farm: Farm, ana: Subscription
) -> None:
    first, _second = give(farm, 1), give(farm, 1.5)
    look(farm)

    WorkOrder.objects.filter(pk=first.assignment.work_order_id).update(
        status=Status.COMPLETED, outcome="done"
    )

    assert look(farm, 1) == 0


def test_next_job_that_moves_by_much_is_news_and_small_steps_add_up(
    farm: Farm, ana: Subscription
) -> None:
    job = give(farm, 1)
    look(farm)
    said = []
    for number, minutes in enumerate((4, 4, 4, 4, 15), start=1):
        move(job, minutes)
        said.append(look(farm, number))

    assert said == [0, 0, 1, 0, 1]


def test_matter_to_look_at_nudges_leads_alone(
    farm: Farm, ana: Subscription, push_is_on: PushService, browser: Browser
) -> None:
    phone = Device.objects.get(worker=farm.manager)
    lead = subscribed(farm, push_is_on, browser, phone)
    ask_decision(farm)

    assert [look(farm), look(farm, 1)] == [1, 0]
    assert TaskRun.objects.get(kind="nudges.send").args == {"to": lead.pk}


def test_phone_that_was_taken_away_is_not_nudged(farm: Farm, ana: Subscription) -> None:
    give(farm, 1)
    revoke_device(site_id=farm.site.pk, device_id=farm.phone.pk, at=farm.now)

    assert look(farm) == 0


def test_nobody_is_nudged_while_nudges_are_off(
    farm: Farm, ana: Subscription, settings: Any
) -> None:
    give(farm, 1)
    settings.PUSH_KEY = None

    assert look(farm) == 0
    assert not TaskRun.objects.filter(kind="nudges.send").exists()


# Sending ----------------------------------------------------------------------------------------


def sent(farm: Farm) -> TaskRun:
    """Do the run that sends, and give how it ended."""
    give(farm, 1)
    look(farm)
    run = TaskRun.objects.get(kind="nudges.send")
    TaskRun.objects.filter(pk=run.pk).update(due_at=run.due_at - HOUR)
    perform(run.pk)
    run.refresh_from_db()
    return run


def test_nudge_arrives_and_says_nothing_of_the_work(
    farm: Farm, ana: Subscription, push_is_on: PushService, browser: Browser
) -> None:
    assert sent(farm).state == RunState.DONE

    [(_path, _headers, body)] = push_is_on.got
    assert browser.read(body) == b'{"see": true}'
    ana.refresh_from_db()
    assert ana.nudged_at is not None


@pytest.mark.parametrize("status", [404, 410])
def test_subscription_that_is_gone_ends(
    farm: Farm, ana: Subscription, push_is_on: PushService, status: int
) -> None:
    """RFC 8030, 7.3."""
    push_is_on.status = status

    assert sent(farm).state == RunState.DONE

    ana.refresh_from_db()
    assert ana.ended_at is not None
    give(farm, 0.5)
    assert look(farm, 2) == 0


def test_another_address_takes_the_place_of_one_that_is_gone(
    farm: Farm,
    ana: Subscription,
    as_worker: APIClient,
    push_is_on: PushService,
    browser: Browser,
) -> None:
    """The push service gave the phone another one by itself (W3C Push API)."""
    push_is_on.status = 410
    sent(farm)
    push_is_on.status = 201
    said = {"endpoint": f"{push_is_on.endpoint}/2", "keys": browser.keys()}

    assert as_worker.put(PATH, said).json()["is_subscribed"] is True

    give(farm, 0.5)
    assert look(farm, 2) == 1
    run = TaskRun.objects.filter(kind="nudges.send").latest("pk")
    TaskRun.objects.filter(pk=run.pk).update(due_at=run.due_at - HOUR)
    perform(run.pk)
    assert push_is_on.got[-1][0].endswith("/2")


@pytest.mark.parametrize("status", [429, 500, 503])
def test_service_that_is_away_is_tried_again(
    farm: Farm, ana: Subscription, push_is_on: PushService, status: int
) -> None:
    push_is_on.status = status

    run = sent(farm)

    assert (run.state, run.attempts) == (RunState.WAITING, 1)
    ana.refresh_from_db()
    assert ana.ended_at is None


def test_endpoint_that_leads_home_ends_the_subscription(
    farm: Farm, ana: Subscription, push_is_on: PushService, settings: Any
) -> None:
    settings.PUSH_HOSTS = []

    assert sent(farm).state == RunState.DONE

    assert push_is_on.got == []
    ana.refresh_from_db()
    assert ana.ended_at is not None


# The door ---------------------------------------------------------------------------------------


def test_phone_subscribes_and_takes_it_back(
    farm: Farm, as_worker: APIClient, push_is_on: PushService, browser: Browser
) -> None:
    before = as_worker.get(PATH).json()
    assert (len(before["public_key"]), before["is_subscribed"]) == (87, False)

    said = {"endpoint": push_is_on.endpoint, "keys": browser.keys()}
    for _twice in range(2):
        assert as_worker.put(PATH, said).json()["is_subscribed"] is True
    assert Subscription.objects.get().device == farm.phone

    assert as_worker.delete(PATH).json()["is_subscribed"] is False
    assert Subscription.objects.count() == 0


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"endpoint": "nonsense"}, "/endpoint"),
        ({"keys": {"p256dh": "AAAA", "auth": "AAAA"}}, "/keys/p256dh"),
        ({"keys": {"p256dh": "A" * 87, "auth": "MDEyMzQ1Njc4OWFiY2RlZg"}}, "/keys/p256dh"),
        ({"keys": {"p256dh": "é", "auth": "!"}}, "/keys/auth"),
    ],
)
def test_subscription_that_cannot_be_is_refused_by_its_field(
    farm: Farm,
    as_worker: APIClient,
    push_is_on: PushService,
    browser: Browser,
    change: dict[str, Any],
    pointer: str,
) -> None:
    said = {"endpoint": push_is_on.endpoint, "keys": browser.keys(), **change}

    refused = as_worker.put(PATH, said)

    assert refused.status_code == 400
    assert pointer in {fault["pointer"] for fault in refused.json()["errors"]}


def test_endpoint_of_this_network_is_refused(
    farm: Farm, as_worker: APIClient, push_is_on: PushService, browser: Browser
) -> None:
    said = {"endpoint": "https://127.0.0.1/x", "keys": browser.keys()}

    refused = as_worker.put(PATH, said)

    assert refused.status_code == 400
    assert "https" in refused.json()["detail"]


def test_only_phones_are_nudged_and_only_where_nudges_are_on(
    farm: Farm, as_worker: APIClient, browser: Browser, settings: Any
) -> None:
    settings.PUSH_KEY = None
    said = {"endpoint": "https://127.0.0.1/x", "keys": browser.keys()}
    assert as_worker.put(PATH, said).status_code == 404
    assert as_worker.get(PATH).json() == {"public_key": "", "is_subscribed": False}

    client = APIClient()
    client.force_login(make_user(Role.MANAGER, farm.site))
    assert client.put(PATH, said).status_code == 403
