"""Whose word an event is on a phone that a crew shares, and which version holds it."""

import uuid
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from rest_framework.test import APIClient

from crews.devices.auth import Phone
from crews.devices.models import Device
from crews.devices.services import make_pairing_code, pair
from crews.people.models import Crew, Worker
from equipment.site import callers
from equipment.site.models import Event, Language, Role
from equipment.site.queries import site_version
from schedules.phone.intake import Answer, Told, take_events
from schedules.work.models import Problem
from tests.factories import make_phone, make_worker
from tests.farm import Farm

pytestmark = pytest.mark.django_db

EVENTS = "/api/v1/sites/ours/events/"


@pytest.fixture
def shared(farm: Farm) -> Device:
    who: dict[str, Any] = {"site_id": farm.site.pk, "by": farm.manager.actor, "at": farm.now}
    code = make_pairing_code(crew_id=farm.crew.pk, **who)
    return pair(code=code, address="127.0.0.1", at=farm.now)[0]


def told(
    farm: Farm, seq: int, worker: int | None = None, kind: str = "problem", **payload: Any
) -> Told:
    said = payload or {"text": "bent"}
    return Told(uuid.uuid4(), kind, said, farm.now, seq, worker=worker)


def send(farm: Farm, phone: Device, *events: Told) -> list[Answer]:
    caller = Phone(phone).caller_on("ours")
    assert caller is not None
    return take_events(caller=caller, events=events, received_at=farm.now)


def test_event_of_a_shared_phone_is_the_word_of_whoever_picked_their_name(
    farm: Farm, shared: Device
) -> None:
    events = told(farm, 1, farm.worker.pk, text="a"), told(farm, 2, farm.spare.pk, text="b")

    answers = send(farm, shared, *events)

    assert [answer.state for answer in answers] == ["applied", "applied"]
    reporters = [Problem.objects.get(text=text).reported_by for text in ("a", "b")]
    assert reporters == [farm.worker.actor, farm.spare.actor]
    stored = Event.objects.get(pk=events[1].id)
    assert (stored.actor, stored.device_key, stored.device_seq) == (
        farm.spare.actor,
        shared.pk,
        2,
    )


def test_nobodys_word_is_refused_and_fills_its_number(farm: Farm, shared: Device) -> None:
    answers = send(farm, shared, told(farm, 1), told(farm, 2, farm.worker.pk))

    assert [(a.state, a.code) for a in answers] == [("refused", "worker_missing"), ("applied", "")]
    assert Event.objects.get(pk=answers[0].id).actor == shared.actor


def test_who_is_not_of_the_crew_tells_nothing_with_its_phone(farm: Farm, shared: Device) -> None:
    other = Crew.objects.get(site=farm.site, key="two")
    stranger, gone = (make_worker(farm.site, key, crew=other) for key in ("zoe", "gus"))
    Worker.objects.filter(pk=gone.pk).update(crew=farm.crew, retired_at=farm.now)

    answers = send(
        farm,
        shared,
        *[told(farm, n, pk) for n, pk in enumerate((stranger.pk, gone.pk, 10**9), start=1)],
    )

    assert [a.code for a in answers] == ["worker_not_here"] * 3


def test_leads_name_on_a_shared_phone_decides_nothing(farm: Farm, shared: Device) -> None:
    """A name guards against mix-ups and not against thieves."""
    assert Worker.objects.get(pk=farm.manager.pk).crew == farm.crew
    machine = farm.machines[0].pk
    reset = replace(told(farm, 1, farm.manager.pk, "reset_pin"), payload={"worker": farm.spare.pk})

    answers = send(
        farm,
        shared,
        reset,
        told(farm, 2, farm.manager.pk, "hold", machine=machine, cause="worn"),
        told(farm, 3, farm.manager.pk),
    )

    assert [a.code for a in answers] == ["forbidden", "forbidden", ""]


def test_mechanic_is_one_on_a_shared_phone_too(farm: Farm, shared: Device) -> None:
    mia = make_worker(farm.site, "mia", role=Role.MECHANIC, crew=farm.crew)
    machine = farm.machines[0].pk

    [answer] = send(farm, shared, told(farm, 1, mia.pk, "hold", machine=machine, cause="worn"))

    assert answer.state == "applied"


def test_refusal_speaks_the_language_of_whoever_told_it(farm: Farm, shared: Device) -> None:
    Worker.objects.filter(pk=farm.spare.pk).update(language=Language.ENGLISH)
    workers = farm.worker.pk, farm.spare.pk

    answers = send(
        farm,
        shared,
        *[told(farm, n, pk, "start", work_order=10**9) for n, pk in enumerate(workers, start=1)],
    )

    assert answers[0].detail != answers[1].detail
    assert answers[1].detail == "There is no work order 1000000000 here."


def test_repeat_on_a_shared_phone_gets_the_first_answer(farm: Farm, shared: Device) -> None:
    event = told(farm, 1, farm.worker.pk)

    assert send(farm, shared, event) == send(farm, shared, event)
    assert Event.objects.filter(pk=event.id).count() == 1


def test_repeat_gets_the_first_answer_though_its_teller_works_elsewhere_by_now(
    farm: Farm, shared: Device
) -> None:
    event = told(farm, 1, farm.worker.pk)
    first = send(farm, shared, event)
    other = Crew.objects.get(site=farm.site, key="two")
    Worker.objects.filter(pk=farm.worker.pk).update(crew=other)

    assert send(farm, shared, event) == first
    assert first[0].state == "applied"
    who: dict[str, Any] = {"site_id": farm.site.pk, "by": farm.manager.actor, "at": farm.now}
    code = make_pairing_code(crew_id=farm.crew.pk, **who)
    anew = pair(code=code, address="127.0.0.1", at=farm.now)[0]
    assert send(farm, anew, event) == first
    code = make_pairing_code(crew_id=other.pk, **who)
    elsewhere = pair(code=code, address="127.0.0.1", at=farm.now)[0]
    Worker.objects.filter(pk=farm.worker.pk).update(crew=farm.crew)
    assert send(farm, elsewhere, event)[0].code == "event_id_used"


def test_shared_phone_hears_nothing_of_events_of_another_crew(farm: Farm, shared: Device) -> None:
    other = Crew.objects.get(site=farm.site, key="two")
    zoe = make_worker(farm.site, "zoe", crew=other)
    event = told(farm, 1)
    send(farm, make_phone(zoe, farm.now)[0], event)

    [answer] = send(farm, shared, event)

    assert (answer.state, answer.code, answer.result) == ("refused", "event_id_used", None)


def test_persons_own_phone_tells_in_nobody_elses_name(farm: Farm) -> None:
    answers = send(
        farm, farm.phone, told(farm, 1, farm.worker.pk), told(farm, 2, farm.spare.pk), told(farm, 3)
    )

    assert [a.code for a in answers] == ["", "worker_not_here", ""]


def test_pin_is_set_by_whoever_picked_their_name(farm: Farm, shared: Device) -> None:
    pin = {"salt": "c2FsdHNhbHRzYWx0", "iterations": 100_000, "hash": "ab" * 32}

    send(farm, shared, told(farm, 1, farm.spare.pk, "set_pin", **pin))

    assert Worker.objects.get(pin__isnull=False) == farm.spare


# Versions ---------------------------------------------------------------------------------------


def test_answer_says_which_version_holds_the_event_whether_taken_or_refused(farm: Farm) -> None:
    before = site_version(farm.site.pk)

    [applied] = send(farm, farm.phone, told(farm, 1))
    [refused] = send(farm, farm.phone, told(farm, 2, None, "unheard_of"))

    answers = applied, refused
    assert [a.state for a in answers] == ["applied", "refused"]
    assert [a.version for a in answers] == [before + 1, before + 2]
    assert site_version(farm.site.pk) == before + 2


def test_repeat_gets_the_version_of_the_first_answer(farm: Farm) -> None:
    event = told(farm, 1)
    [first] = send(farm, farm.phone, event)
    send(farm, farm.phone, told(farm, 2))

    [again] = send(farm, farm.phone, event)

    assert again == first
    assert (again.version or 0) < site_version(farm.site.pk)


def test_event_to_be_sent_again_has_no_version(farm: Farm) -> None:
    [gap] = send(farm, farm.phone, told(farm, 7))

    assert (gap.state, gap.version) == ("gap", None)


def test_event_from_before_versions_were_kept_is_in_every_version_from_now_on(farm: Farm) -> None:
    event = told(farm, 1)
    send(farm, farm.phone, event)
    Event.objects.filter(pk=event.id).update(version=None)

    [again] = send(farm, farm.phone, event)

    assert again.version == site_version(farm.site.pk)


# At the door ------------------------------------------------------------------------------------


def test_crews_code_is_traded_and_a_name_goes_with_each_event(farm: Farm) -> None:
    who: dict[str, Any] = {"site_id": farm.site.pk, "by": farm.manager.actor, "at": farm.now}
    code = make_pairing_code(crew_id=farm.crew.pk, **who)
    client = APIClient()

    body = client.post("/api/v1/pair/", {"code": code}).json()

    assert (body["worker"], body["worker_id"]) == ("", None)
    assert (body["crew"], body["crew_id"]) == ("One", farm.crew.pk)
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {body['token']}")
    event = {
        "id": str(uuid.uuid4()),
        "kind": "problem",
        "payload": {"text": "bent"},
        "seq": 1,
        "client_at": "2026-03-04T05:10:00-07:00",
        "worker": farm.worker.pk,
    }
    [answer] = client.post(EVENTS, {"events": [event]}).json()["answers"]
    assert (answer["state"], answer["version"]) == ("applied", site_version(farm.site.pk))


def test_phone_gets_a_new_token_and_the_old_one_ends_when_it_is_used(
    farm: Farm, as_worker: APIClient
) -> None:
    path, pull = "/api/v1/sites/ours/phone/token/", "/api/v1/sites/ours/pull/"

    response = as_worker.post(path)

    assert response.status_code == 201
    assert response["Cache-Control"] == "no-store"
    assert as_worker.get(pull).status_code == 200
    new = APIClient()
    new.credentials(HTTP_AUTHORIZATION=f"Bearer {response.json()['token']}")
    assert new.get(pull).status_code == 200
    refused = as_worker.get(pull)
    assert (refused.status_code, refused["WWW-Authenticate"]) == (401, "Bearer")


def test_phone_that_lost_its_access_is_asked_to_pair_again(
    farm: Farm, as_worker: APIClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Also where it was taken away after the request came in (RFC 6750)."""
    look = callers.caller_on

    def look_and_lose(user: Any, slug: str) -> Any:
        found = look(user, slug)
        Device.objects.filter(pk=farm.phone.pk).update(revoked_at=farm.now)
        return found

    monkeypatch.setattr("schedules.phone.api.caller_on", look_and_lose)
    event: dict[str, Any] = {
        "id": str(uuid.uuid4()),
        "kind": "problem",
        "payload": {"text": "bent"},
        "seq": 1,
        "client_at": "2026-03-04T05:10:00-07:00",
    }

    asks: list[Callable[[], Any]] = [
        lambda: as_worker.get("/api/v1/sites/ours/pull/"),
        lambda: as_worker.post(EVENTS, {"events": [event]}),
    ]
    for ask in asks:
        Device.objects.filter(pk=farm.phone.pk).update(revoked_at=None)
        assert ask().status_code == 401
    assert not Event.objects.filter(pk=event["id"]).exists()
