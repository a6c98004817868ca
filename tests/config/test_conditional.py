"""What may be left away: an answer that still stands, rows that did not change, a body."""

import re
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.apps import apps
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from crews.devices.services import revoke_device
from equipment.machines.models import Machine
from equipment.site.models import ChangedAtField, Dated, TaskRun
from equipment.site.queries import site_version
from equipment.site.rest import ListViewSet
from equipment.site.runs import KINDS, PERIODIC, SUBSCRIBERS
from schedules.dayplan.services import plan_day
from tests.config.calls import BODIES, api_routes, operations, path_of
from tests.config.test_calls import POSTS, prepare
from tests.config.test_foreign_keys import send
from tests.factories import make_phone
from tests.farm import Farm

pytestmark = pytest.mark.django_db

GETS = [route for method, route in operations() if method == "GET"]
LISTS = {
    route: view
    for route, pattern in api_routes()
    for view in [getattr(pattern.callback, "cls", None)]
    if isinstance(view, type)
    and issubclass(view, ListViewSet)
    and "list" in getattr(pattern.callback, "actions", {}).values()
}
OF_STATE = [route for route, view in LISTS.items() if view.is_of_state]
MOMENT = ("pull/",)  # which say when they were made
UNSAFE = [op for op in operations() if op in BODIES]
PAIRING = ("POST", "pair/")  # by a wrong code
DATED = [model for model in apps.get_models() if issubclass(model, Dated)]


def database_now() -> datetime:
    with connection.cursor() as cursor:
        cursor.execute("SELECT clock_timestamp()")
        return cursor.fetchone()[0]  # type: ignore[no-any-return]


# ETags ------------------------------------------------------------------------------------------


def test_every_answer_has_an_etag_and_is_not_sent_twice(farm: Farm, as_worker: APIClient) -> None:
    """RFC 9110, sections 8.8.3, 13.1.2 and 15.4.5."""
    for route in GETS:
        path = path_of(route, farm, farm.slug)
        first = as_worker.get(path)
        assert re.fullmatch(r'(W/)?"[!#-~]+"', first["ETag"]), route
        assert "private" in first["Cache-Control"], route
        assert {"no-cache", "immutable"} & set(first["Cache-Control"].split(", ")), route
        if route in MOMENT:
            continue
        for said in (first["ETag"], f'"0-0", {first["ETag"]}', "*"):
            again = as_worker.get(path, headers={"If-None-Match": said})
            assert (again.status_code, again.content) == (304, b""), (route, said)
            assert again["ETag"] == first["ETag"], (route, said)
        other = as_worker.get(path, headers={"If-None-Match": '"0-0"'})
        assert other.status_code == 200, route


def test_list_that_still_stands_is_not_read(farm: Farm, as_manager: APIClient) -> None:
    """One query is left: who asks from a phone; the site's version comes with it."""
    for route in OF_STATE:
        path = path_of(route, farm, farm.slug)
        etag = as_manager.get(path)["ETag"]
        with CaptureQueriesContext(connection) as queries:
            answer = as_manager.get(path, headers={"If-None-Match": etag})
        assert (answer.status_code, len(queries)) == (304, 1), route


def test_what_still_stands_for_one_stands_for_no_other(farm: Farm) -> None:
    """A form that is remembered says nothing of who may read, in which words, or how it stands."""
    path = path_of("work-orders/", farm, farm.slug)
    device, other_token = make_phone(farm.worker, farm.now)
    manager, other = f"Bearer {farm.manager_token}", f"Bearer {other_token}"
    client = APIClient()
    etag = client.get(path, headers={"Authorization": manager})["ETag"]

    def asked(by: str, **more: str) -> int:
        known = {"Authorization": by, "If-None-Match": etag}
        return client.get(path, headers={**known, **more}).status_code

    assert asked(manager) == 304
    assert asked(manager, **{"Accept-Language": "es"}) == 200
    assert asked(manager, Accept="text/csv") == 200
    assert asked(other) == 200
    revoke_device(site_id=farm.site.pk, device_id=device.pk, at=farm.now)  # moves the version too
    assert asked(manager) == 200
    assert asked(other) == 401
    assert asked("Bearer nobody") == 401


def test_list_of_state_reads_the_same_at_any_hour(farm: Farm, as_manager: APIClient) -> None:
    """Else a 304 would keep from a caller what the clock alone changed."""
    paths = {route: path_of(route, farm, farm.slug) for route in LISTS}
    now = {route: as_manager.get(path).content for route, path in paths.items()}
    moved: set[str] = set()
    for later in (timedelta(hours=1), timedelta(hours=7), timedelta(days=3), timedelta(days=40)):
        with time_machine.travel(farm.now + later, tick=False):
            for route, path in paths.items():
                if as_manager.get(path).content != now[route]:
                    moved.add(route)
    assert moved & set(OF_STATE) == set()


def changed_tables(since: datetime) -> set[str]:
    """Tables of lists in which a row was written at this time or later."""
    return {
        model.__name__
        for model in DATED
        if model._base_manager.filter(changed_at__gte=since).exists()
    }


@pytest.mark.parametrize("operation", UNSAFE, ids=" ".join)
def test_call_that_changes_rows_of_a_list_moves_the_version(
    farm: Farm, as_manager: APIClient, operation: tuple[str, str]
) -> None:
    prepare(farm, operation)
    since, version = database_now(), site_version(farm.site.pk)
    body = BODIES[operation](farm)

    done = send(as_manager, operation, path_of(operation[1], farm, farm.slug), body, "k-1")

    assert done.status_code < 300 or operation == PAIRING
    assert not changed_tables(since) or site_version(farm.site.pk) > version


@pytest.mark.parametrize("kind", sorted({*PERIODIC, *SUBSCRIBERS} - {"dayplan.solve"}))
def test_background_run_that_changes_rows_of_a_list_moves_the_version(
    farm: Farm, kind: str
) -> None:
    since, version = database_now(), site_version(farm.site.pk)
    run = TaskRun(site_id=farm.site.pk, kind=kind, due_at=farm.now)

    prepare_run = KINDS[kind].prepare
    KINDS[kind].apply(run, prepare_run(run) if prepare_run else None)

    assert not changed_tables(since) or site_version(farm.site.pk) > version


def test_new_plan_moves_the_version(farm: Farm) -> None:
    since, version = database_now(), site_version(farm.site.pk)

    plan_day(site_id=farm.site.pk, at=farm.now, seconds=0.1)

    assert "PlanRun" in changed_tables(since)
    assert site_version(farm.site.pk) > version


def test_etag_is_of_one_caller_address_language_and_form(
    farm: Farm, as_manager: APIClient, as_worker: APIClient
) -> None:
    path = path_of("locks/", farm, farm.slug)
    answers = [
        as_manager.get(path),
        as_worker.get(path),
        as_manager.get(path, {"page_size": 1}),
        as_manager.get(path, headers={"Accept-Language": "es"}),
    ]
    assert len({answer["ETag"] for answer in answers}) == len(answers)


# Since ------------------------------------------------------------------------------------------


def _found(client: Client, path: str, since: datetime) -> list[Any]:
    query = {"updated_since": since.isoformat(), "page_size": "200"}
    body = client.get(path, query).json()
    return list(body["results"])


def test_every_list_gives_what_changed_since(farm: Farm, as_manager: APIClient) -> None:
    long_ago, soon = (datetime.now(UTC) + n * timedelta(hours=1) for n in (-2, 2))
    for route in (*LISTS, "sites/"):
        path = path_of(route, farm, farm.slug)
        everything = as_manager.get(path, {"page_size": 200}).json()["results"]
        assert _found(as_manager, path, long_ago) == everything, route
        assert _found(as_manager, path, soon) == [], route
        naive = as_manager.get(path, {"updated_since": "2026-03-04T05:10:00"})
        assert [f["pointer"] for f in naive.json()["errors"]] == ["/updated_since"], route


# What a call changes, with the lists that must then show its row as changed.
CHANGES = {
    ("POST", "machines/<key:pk>/hold/"): ["machines/", "holds/"],
    ("POST", "machines/<key:machine_id>/readings/"): ["machines/"],
    ("POST", "work-orders/<key:pk>/load/"): ["work-orders/"],
    ("PUT", "work-orders/<key:pk>/assignment/"): ["assignments/"],
    ("POST", "batches/<key:batch_id>/moisture-tests/"): ["batches/"],
    ("POST", "batches/<key:pk>/dispose/"): ["batches/", "sand-accounts/"],
    ("POST", "pen-visits/<key:pk>/moments/"): ["pen-visits/"],
    ("POST", "basins/<key:pk>/level/"): ["basins/"],
}


@pytest.mark.parametrize("operation", CHANGES, ids=" ".join)
def test_call_shows_in_what_changed_since(
    farm: Farm, as_manager: APIClient, operation: tuple[str, str]
) -> None:
    path = path_of(operation[1], farm, farm.slug)
    since = database_now()

    done = send(as_manager, operation, path, BODIES[operation](farm), "k-1")

    assert done.status_code < 300
    for route in CHANGES[operation]:
        n_all = len(as_manager.get(path_of(route, farm, farm.slug)).json()["results"])
        n_found = len(_found(as_manager, path_of(route, farm, farm.slug), since))
        assert 1 <= n_found < n_all, route


def test_row_written_as_it_was_keeps_its_time(farm: Farm) -> None:
    machine = farm.machines[0]
    machine.save()
    machine.refresh_from_db()
    first = machine.changed_at

    Machine.objects.filter(pk=machine.pk).update(name=machine.name)
    machine.refresh_from_db()
    assert machine.changed_at == first

    Machine.objects.filter(pk=machine.pk).update(name="Other")
    machine.refresh_from_db()
    assert machine.changed_at > first


def test_every_dated_table_has_its_trigger() -> None:
    dated = {
        model._meta.db_table
        for model in apps.get_models()
        if any(isinstance(field, ChangedAtField) for field in model._meta.fields)
    }
    assert dated == {model._meta.db_table for model in DATED}
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT tgrelid::regclass::text FROM pg_trigger WHERE tgname = 'stamp_change'"
        )
        assert {name for (name,) in cursor.fetchall()} == dated


# Preferences ------------------------------------------------------------------------------------


@pytest.mark.parametrize("operation", POSTS, ids=" ".join)
def test_body_is_left_away_where_nothing_is_lost_by_it(
    farm: Farm, as_manager: APIClient, operation: tuple[str, str]
) -> None:
    """RFC 7240, sections 3 and 4.2."""
    prepare(farm, operation)
    path = path_of(operation[1], farm, farm.slug)
    body = BODIES[operation](farm)
    headers = {"Idempotency-Key": "k-1", "Prefer": 'foo; bar="", return=minimal'}

    minimal = as_manager.post(path, body, headers=headers)
    full = as_manager.post(path, body, headers={"Idempotency-Key": "k-1"})

    assert full.json()
    assert "Preference-Applied" not in full
    assert "Prefer" in minimal["Vary"]
    if minimal.headers.get("Preference-Applied") == "return=minimal":
        assert minimal.content == b""
        assert minimal.status_code == {200: 204, 201: 201}[full.status_code]
        if minimal.status_code == 201:
            found = as_manager.get(minimal["Location"])
            assert found.json()["id"] == full.json()["id"]
    else:
        assert minimal.status_code in (201, 202)
        assert minimal.json() == full.json()


@pytest.mark.parametrize("route", ["year-ahead/", "plan/search/"])
def test_what_is_done_later_says_so_and_where_to_look(
    farm: Farm, as_manager: APIClient, route: str
) -> None:
    """RFC 7240, section 4.1."""
    path = path_of(route, farm, farm.slug)
    headers = {"Idempotency-Key": "k-1", "Prefer": "respond-async, wait=10"}

    answer = as_manager.post(path, BODIES["POST", route](farm), headers=headers)

    assert (answer.status_code, answer["Preference-Applied"]) == (202, "respond-async")
    assert as_manager.get(answer["Location"]).status_code == 200


def test_refusal_keeps_its_words(farm: Farm, as_manager: APIClient) -> None:
    headers = {"Idempotency-Key": "k-1", "Prefer": "return=minimal"}

    answer = as_manager.post(path_of("problems/", farm, farm.slug), {"text": ""}, headers=headers)

    assert (answer.status_code, answer.json()["code"]) == (400, "invalid")
