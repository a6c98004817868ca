"""What a pull gives: everything, what changed, what is gone; its cursors and its cost."""

import gzip
import json
import uuid
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.core import signing
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from crews.devices.services import make_pairing_code, pair
from crews.people.models import Crew, Worker
from crews.people.services import set_language
from equipment.flushing.models import Lock
from equipment.flushing.services import put_lock, take_off_lock
from equipment.site.bell import Bell, bell
from equipment.site.models import Language, Membership, Role, SiteVersion
from schedules.phone import carry
from schedules.phone.models import Carried, CarriedState
from schedules.phone.pull import SALT
from schedules.work.models import Problem
from tests.factories import make_user
from tests.farm import Farm
from tests.schedules.phone.pulling import (
    EVENTS,
    PULL,
    ask,
    documents,
    moved,
    of_kind,
    scopes,
)

pytestmark = pytest.mark.django_db


# What was told before ----------------------------------------------------------------------------


def test_phone_hears_which_of_its_events_the_documents_hold(
    farm: Farm, as_worker: APIClient
) -> None:
    told, untold = uuid.uuid4(), uuid.uuid4()
    event = {
        "id": str(told),
        "kind": "language",
        "seq": 1,
        "payload": {"language": "es"},
        "client_at": farm.now.isoformat(),
        "schema_version": 1,
    }
    said = as_worker.post(EVENTS, {"events": [event]}, format="json")
    assert said.json()["answers"][0]["state"] == "applied"

    assert ask(as_worker, unsure=f"{told},{untold}")["held"] == [str(told)]
    assert ask(as_worker)["held"] == []


@pytest.mark.parametrize("ids", ["x", ",".join(str(uuid.uuid4()) for _ in range(101))])
def test_pull_that_asks_about_no_ids_or_too_many_says_so(as_worker: APIClient, ids: str) -> None:
    response = as_worker.get(PULL, {"unsure": ids})

    assert response.status_code == 400
    assert response.json()["errors"][0]["pointer"] == "/unsure"


# What changed -----------------------------------------------------------------------------------


def test_first_pull_is_whole_and_the_next_has_nothing(farm: Farm, as_worker: APIClient) -> None:
    first = ask(as_worker)
    second = ask(as_worker, first["cursor"])

    assert (first["whole"], second["whole"]) == (True, False)
    assert {d["kind"] for d in first["documents"]} >= {
        *("farm", "worker", "crew", "place", "machine", "check_line", "lock", "visit", "job")
    }
    assert (second["documents"], second["dropped_scopes"]) == ([], [])
    assert second["version"] == first["version"]


def test_change_comes_and_nothing_else(farm: Farm, as_worker: APIClient) -> None:
    first = ask(as_worker)
    lock = put_lock(place_id=farm.pens[0].pk, what="", **farm.who())

    second = ask(as_worker, first["cursor"])

    assert second["version"] == first["version"] + 1
    [(key, body)] = documents(second).items()
    assert key == ("site", "lock", str(lock.pk))
    assert (body["owner_worker"], body["place"]["en"]) == (farm.worker.pk, "Pen pen-1")


def test_what_is_gone_comes_without_a_body_until_it_is_forgotten(
    farm: Farm, as_worker: APIClient
) -> None:
    lock = Lock.objects.get(owner=farm.worker.actor)
    first = ask(as_worker)
    take_off_lock(lock_id=lock.pk, **{**farm.who(), "at": farm.now})

    assert documents(ask(as_worker, first["cursor"])) == {("site", "lock", str(lock.pk)): None}
    assert str(lock.pk) not in of_kind(ask(as_worker), "lock")

    late = farm.now + carry.GONE_FOR + timedelta(minutes=1)
    SiteVersion.objects.filter(site=farm.site).update(version=10**6)
    carry.refresh_carried(farm.site, late)
    assert not Carried.objects.filter(kind="lock", key=str(lock.pk)).exists()
    assert ask(as_worker, first["cursor"])["whole"]  # it could not hear of it any more


def test_document_that_comes_again_after_it_was_forgotten_is_carried(farm: Farm) -> None:
    lock = Lock.objects.get(owner=farm.worker.actor)
    carry.refresh_carried(farm.site, farm.now)
    Lock.objects.filter(pk=lock.pk).update(off_at=farm.now, off_by=farm.worker.actor)
    carry.refresh_carried(farm.site, farm.now + timedelta(minutes=2))
    Lock.objects.filter(pk=lock.pk).update(off_at=None, off_by=None)

    carry.refresh_carried(farm.site, farm.now + carry.GONE_FOR + timedelta(minutes=3))

    assert Carried.objects.get(kind="lock", key=str(lock.pk)).body["owner"] == "Ana"


def test_times_move_on_though_nobody_tells_anything(farm: Farm, as_worker: APIClient) -> None:
    assert of_kind(ask(as_worker), "visit")

    carry.refresh_carried(farm.site, farm.now + timedelta(days=2))

    bodies = Carried.objects.filter(kind="visit").values_list("body", flat=True)
    assert set(map(str, bodies)) == {"None"}


def test_both_languages_are_in_every_text(farm: Farm, as_worker: APIClient) -> None:
    answer = ask(as_worker)

    def texts(value: Any) -> list[dict[str, str]]:
        if isinstance(value, dict):
            own = [value] if set(value) & {"en", "es"} else []
            return own + [text for inner in value.values() for text in texts(inner)]
        return [text for inner in value for text in texts(inner)] if isinstance(value, list) else []

    found = [text for d in answer["documents"] for text in texts(d["body"])]
    assert len(found) > 30
    assert all(set(text) == {"en", "es"} for text in found)
    pens = [body["name"] for body in of_kind(answer, "place").values() if body["kind"] == "pen"]
    assert {"en": "Pen pen-1", "es": "Corral pen-1"} in pens


def test_language_of_the_caller_changes_no_document(farm: Farm, as_worker: APIClient) -> None:
    first = ask(as_worker)
    set_language(site_id=farm.site.pk, by=farm.worker.actor, language=Language.ENGLISH, at=farm.now)
    carry.refresh_carried(farm.site, farm.now + timedelta(minutes=2))

    changed = documents(ask(as_worker, first["cursor"]))

    assert {(kind, key) for _scope, kind, key in changed} == {("worker", str(farm.worker.pk))}


# Cursors ----------------------------------------------------------------------------------------


def forged(**changes: Any) -> Any:
    """A cursor with other facts, signed by whoever knows the key: an old one, or another site's."""

    def make(cursor: str) -> str:
        names = ("epoch", "site", "scopes", "n", "version")
        facts = dict(zip(names, signing.loads(cursor, salt=SALT), strict=True))
        return signing.dumps(list({**facts, **changes}.values()), salt=SALT, compress=True)

    return make


@pytest.mark.parametrize(
    "spoil",
    [
        lambda cursor: "",
        lambda cursor: "made up",
        lambda cursor: cursor[:-1] + ("A" if cursor[-1] != "A" else "B"),
        lambda cursor: signing.dumps([1, 2], salt=SALT),
        lambda cursor: signing.dumps("x", salt=SALT),
        forged(epoch="0" * 16),
        forged(site=10**6),
        forged(n=10**6),
    ],
    ids=["none", "made up", "changed", "short", "a word", "epoch", "site", "from ahead"],
)
def test_cursor_that_is_not_of_this_site_and_life_gets_everything(
    farm: Farm, as_worker: APIClient, spoil: Any
) -> None:
    first = ask(as_worker)

    again = ask(as_worker, spoil(first["cursor"]))

    assert again["whole"]
    assert documents(again) == documents(first)


def test_anothers_cursor_opens_nothing_that_is_not_ones_own(
    farm: Farm, as_worker: APIClient, as_manager: APIClient
) -> None:
    managers = ask(as_manager)

    answer = ask(as_worker, managers["cursor"])

    assert answer["documents"] == [] or scopes(answer) == {f"worker-{farm.worker.pk}"}
    assert set(answer["dropped_scopes"]) >= {"leads", "shop"}


@pytest.mark.parametrize("query", [{"wait_s": 26}, {"wait_s": -1}, {"cursor": "x" * 4001}])
def test_question_that_cannot_be_meant_is_refused(as_worker: APIClient, query: Any) -> None:
    response = as_worker.get(PULL, query)

    assert response.status_code == 400
    assert response.json()["errors"][0]["pointer"] == f"/{next(iter(query))}"


def test_epoch_is_another_after_a_restore_and_what_is_backed_up_is_told(
    farm: Farm, as_worker: APIClient
) -> None:
    first = ask(as_worker)
    assert first["kept_through"] == 0

    SiteVersion.objects.filter(site=farm.site).update(epoch=uuid.uuid4(), kept_through=7)

    second = ask(as_worker, first["cursor"])
    assert second["whole"]
    assert second["epoch"] != first["epoch"]
    assert second["kept_through"] == 7


# Cost -------------------------------------------------------------------------------------------


def n_queries(work: Any) -> int:
    with CaptureQueriesContext(connection) as queries:
        work()
    return len([q for q in queries if "SAVEPOINT" not in q["sql"]])


def test_look_takes_as_many_queries_for_many_rows_as_for_few(farm: Farm) -> None:
    def look() -> int:
        moved(farm)
        return n_queries(lambda: carry.refresh_carried(farm.site, farm.now))

    look()
    few = look()
    for hours, order in enumerate(farm.orders[10:20], start=5):
        farm._give(order, farm.now + hours * (order.due_at - farm.now) / 4)
        Problem.objects.create(
            site=farm.site, text="bent", reported_by=farm.spare.actor, reported_at=farm.now
        )
    look()  # which writes them
    assert look() == few
    assert few < 75


def test_pull_with_nothing_new_takes_few_queries(farm: Farm, as_worker: APIClient) -> None:
    cursor = ask(as_worker)["cursor"]

    assert n_queries(lambda: ask(as_worker, cursor)) <= 9


def test_nothing_is_looked_at_twice_within_a_minute(
    farm: Farm, as_worker: APIClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    ask(as_worker)
    state = CarriedState.objects.get(site=farm.site)
    ask(as_worker)
    carry.refresh_carried(farm.site, (state.made_at or farm.now) + timedelta(seconds=59))
    assert CarriedState.objects.get(site=farm.site).n == state.n

    carry.refresh_carried(farm.site, (state.made_at or farm.now) + timedelta(seconds=61))

    assert CarriedState.objects.get(site=farm.site).n == state.n + 1


def test_answer_is_squeezed_for_whoever_can_read_it(farm: Farm, as_worker: APIClient) -> None:
    plain = as_worker.get(PULL)
    squeezed = as_worker.get(PULL, headers={"Accept-Encoding": "gzip"})

    assert squeezed["Content-Encoding"] == "gzip"
    assert len(squeezed.content) < len(plain.content) / 4
    told = json.loads(gzip.decompress(squeezed.content))
    assert documents(told) == documents(plain.json())


# Who reads is judged when it is answered ----------------------------------------------------------


def while_it_waits(monkeypatch: pytest.MonkeyPatch, do: Callable[[], object]) -> None:
    """Let something happen once, as soon as a pull waits; it is woken then."""

    def wait(*_given: object) -> bool:
        do()
        return True

    monkeypatch.setattr(bell, "count", lambda _site: 0)  # which opens it, where one closed it
    monkeypatch.setattr(Bell, "is_open", True)
    monkeypatch.setattr(bell, "wait", wait)
    monkeypatch.setattr(bell, "gather", lambda _seconds: None)


def end_lead(farm: Farm) -> None:
    """A lead becomes a worker, and something is told that leads alone may read."""
    Worker.objects.filter(pk=farm.manager.pk).update(role=Role.WORKER)
    Membership.objects.filter(site=farm.site).update(role=Role.WORKER)
    Problem.objects.create(
        site=farm.site, text="bent", reported_by=farm.spare.actor, reported_at=farm.now
    )
    moved(farm)


@pytest.mark.parametrize("is_phone", [True, False])
def test_role_that_ends_while_a_pull_waits_gets_nothing_more_of_it(
    farm: Farm, as_manager: APIClient, monkeypatch: pytest.MonkeyPatch, is_phone: bool
) -> None:
    client = as_manager if is_phone else APIClient()
    if not is_phone:
        client.force_login(make_user(Role.LEAD, farm.site))
    first = ask(client)
    assert {"leads", "shop"} <= scopes(first)
    while_it_waits(monkeypatch, lambda: end_lead(farm))

    second = ask(client, first["cursor"], wait_s=20)

    assert {"leads", "shop"} <= set(second["dropped_scopes"])
    assert not {"leads", "shop"} & scopes(second)


def test_account_that_loses_the_site_while_it_waits_is_a_stranger(
    farm: Farm, monkeypatch: pytest.MonkeyPatch
) -> None:
    client = APIClient()
    client.force_login(make_user(Role.LEAD, farm.site))
    cursor = ask(client)["cursor"]
    while_it_waits(monkeypatch, lambda: Membership.objects.filter(site=farm.site).delete())

    response = client.get(PULL, {"cursor": cursor, "wait_s": 20})

    assert response.status_code == 404


def test_crew_that_is_retired_while_its_phone_waits_gets_nothing_more(
    farm: Farm, monkeypatch: pytest.MonkeyPatch
) -> None:
    crew = farm.crew
    code = make_pairing_code(
        site_id=farm.site.pk, crew_id=crew.pk, by=farm.manager.actor, at=farm.now
    )
    _device, token = pair(code=code, address="127.0.0.1", at=farm.now)
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {token}")
    cursor = ask(client)["cursor"]
    while_it_waits(monkeypatch, lambda: Crew.objects.filter(pk=crew.pk).update(retired_at=farm.now))

    response = client.get(PULL, {"cursor": cursor, "wait_s": 20})

    assert response.status_code == 401
