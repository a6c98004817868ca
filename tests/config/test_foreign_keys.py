"""Keys of another site's rows, wherever a call may name one: they are as if they were not there."""

import json
import re
from collections.abc import Callable, Iterator
from copy import deepcopy
from typing import Any

import pytest
from django.urls import URLPattern
from rest_framework.test import APIClient

from equipment.machines.models import ServiceItem
from equipment.site.restfields import KeyField
from schedules.phone.registry import HANDLERS
from schedules.sand.models import Stage
from tests.config.calls import BODIES, Operation, api_routes, operations, path_of
from tests.farm import Farm

pytestmark = pytest.mark.django_db

Path = tuple[str | int, ...]
Count = Callable[[str, object], None]
NOBODYS = 999_999_999_999  # no row's key on any site


def send(client: APIClient, operation: Operation, path: str, body: Any, key: str) -> Any:
    """Make a complete call: a key of its own, the version that stands."""
    method, _route = operation
    headers = {"Idempotency-Key": key, "If-Match": '"1-1"'}
    if method in ("PUT", "PATCH", "DELETE"):
        headers["If-Match"] = client.get(path).headers.get("ETag", '"1-1"')
    return client.generic(
        method,
        path,
        "" if body is None else json.dumps(body),
        content_type="application/json",
        headers=headers,
    )


def words_of(response: Any) -> tuple[int, Any]:
    """What an answer tells, but for the keys that the caller named itself."""
    return response.status_code, json.loads(re.sub("[0-9]{2,}", "0", response.content.decode()))


# In the address ---------------------------------------------------------------------------------


def test_rows_of_another_site_are_not_found_below_ones_own(
    farm: Farm, theirs: Farm, as_manager: APIClient, record_property: Count
) -> None:
    """A complete call, its keys in the address another farm's."""
    before = theirs.fingerprint()
    asked = [op for op in operations() if "<key:" in op[1]]
    for operation in asked:
        method, route = operation
        body = BODIES[operation](farm) if method != "GET" else None
        path = path_of(route, theirs, farm.slug)
        response = send(as_manager, operation, path, body, f"{method} {route}")
        assert response.status_code == 404, operation
        assert response.json()["code"] == "not_found"
    assert theirs.fingerprint() == before
    record_property("count", f"foreign keys in addresses: {len(asked)} calls, 404 each")


# In bodies --------------------------------------------------------------------------------------


def keys_in(mine: Any, theirs: Any, path: Path = ()) -> Iterator[tuple[Path, int]]:
    """Each place where the same call of two farms differs by a number: a row's key."""
    match mine, theirs:
        case dict(), dict():
            for name in mine.keys() & theirs.keys():
                yield from keys_in(mine[name], theirs[name], (*path, name))
        case list(), list():
            for index, (one, other) in enumerate(zip(mine, theirs, strict=True)):
                yield from keys_in(one, other, (*path, index))
        case int(), int() if mine != theirs:
            yield path, theirs


def put(body: Any, path: Path, value: Any) -> Any:
    """Give the body with another value at one place."""
    changed = deepcopy(body)
    at = changed
    for step in path[:-1]:
        at = at[step]
    at[path[-1]] = value
    return changed


# What a call may name besides, which its usual body leaves out.
MORE: dict[str, Callable[[Farm], dict[str, Any]]] = {
    "work-orders/<key:pk>/part/": lambda f: {"machine": f.machines[0].pk},
    "work-orders/<key:pk>/could-not/": lambda f: {"machine": f.machines[0].pk},
    "shift-wishes/": lambda f: {"pattern": f.worker.shifts.get().pattern_id},
}


def full_body(operation: Operation, farm: Farm) -> dict[str, Any]:
    more = MORE.get(operation[1])
    return {**BODIES[operation](farm), **(more(farm) if more else {})}


def foreign_bodies(farm: Farm, theirs: Farm) -> Iterator[tuple[Operation, Path, Any, Any]]:
    """Each call whose body names rows, with one of them another farm's, and with nobody's."""
    for operation in BODIES.keys() - {("POST", "events/")}:  # whose events are told one by one
        body = full_body(operation, farm)
        for path, key in keys_in(body, full_body(operation, theirs)):
            yield operation, path, put(body, path, key), put(body, path, NOBODYS)


def test_rows_of_another_site_are_not_found_through_a_body(
    farm: Farm, theirs: Farm, as_manager: APIClient, record_property: Count
) -> None:
    before = farm.fingerprint(), theirs.fingerprint()
    n_keys = 0
    for operation, at, foreign, nobodys in foreign_bodies(farm, theirs):
        path = path_of(operation[1], farm, farm.slug)
        response = send(as_manager, operation, path, foreign, f"{operation} {at}")
        unknown = send(as_manager, operation, path, nobodys, f"{operation} {at} nobody")
        assert response.status_code in (404, 422), (operation, at, response.content)
        assert words_of(response) == words_of(unknown), (operation, at)
        n_keys += 1
    assert (farm.fingerprint(), theirs.fingerprint()) == before
    assert n_keys > 30
    record_property("count", f"foreign keys in bodies: {n_keys} calls, as if nobody's each")


# In queries -------------------------------------------------------------------------------------

QUERIED: dict[str, Callable[[Farm], int]] = {
    "work-orders/ place": lambda f: f.pens[0].bed_groups.get().pk,
    "crew": lambda f: f.crew.pk,
    "machine": lambda f: f.machines[0].pk,
    "milking": lambda f: f.milkings[0].pk,
    "pen": lambda f: f.pens[0].pk,
    "place": lambda f: f.lane.pk,
    "standing_order": lambda f: f.rule.pk,
    "station": lambda f: f.station.pk,
    "worker": lambda f: f.worker.pk,
}


def key_queries() -> list[tuple[str, str]]:
    """Each list's parameters that name a row."""
    return [
        (route, name)
        for route, pattern in api_routes()
        for name, field in _fields(pattern)
        if isinstance(field, KeyField)
    ]


def _fields(pattern: URLPattern) -> Iterator[tuple[str, Any]]:
    query = getattr(getattr(pattern.callback, "cls", None), "query", None)
    is_list = "list" in getattr(pattern.callback, "actions", {}).values()
    if query is not None and is_list:
        yield from query().fields.items()


def test_rows_of_another_site_narrow_a_list_to_nothing(
    farm: Farm, theirs: Farm, as_manager: APIClient, record_property: Count
) -> None:
    asked = key_queries()
    for route, name in asked:
        path = path_of(route, farm, farm.slug)
        key_on = QUERIED.get(f"{route} {name}") or QUERIED[name]
        foreign, unknown = (as_manager.get(path, {name: n}) for n in (key_on(theirs), NOBODYS))
        assert foreign.json()["results"] == [], (route, name)
        assert words_of(foreign) == words_of(unknown), (route, name)
        assert as_manager.get(path, {name: key_on(farm)}).json()["results"], (route, name)
    assert len(asked) > 8
    record_property("count", f"foreign keys in queries: {len(asked)} parameters, empty each")


# In events --------------------------------------------------------------------------------------


def test_event_that_names_another_sites_rows_is_refused_as_not_found(
    farm: Farm, theirs: Farm, as_manager: APIClient
) -> None:
    kinds: dict[str, dict[str, Any]] = {
        "start": {"work_order": theirs.orders[0].pk},
        "done": {"work_order": theirs.orders[0].pk},
        "part": {"work_order": theirs.orders[0].pk, "n_left": 3},
        "could_not": {"work_order": theirs.orders[0].pk, "reason": "ice"},
        "load": {"work_order": farm.orders[3].pk, "machine": theirs.machines[0].pk},
        "undo": {"work_order": theirs.orders[0].pk},
        "reading": {"machine": theirs.machines[0].pk, "meter_h": 1001},
        "check": {"machine": theirs.machines[0].pk, "answers": [{"item": 1, "ok": True}]},
        "lock_on": {"place": theirs.lane.pk},
        "lock_off": {"lock": theirs.lane.place.locks.earliest("pk").pk},
        "problem": {"text": "bent", "place": theirs.lane.pk},
        "moisture_test": {
            "batch": theirs.batches[Stage.DRYING][0].pk,
            "moisture_frac": 0.1,
            "basis": "wb",
        },
        "pen_time": {"visit": theirs.visits[0].pk, "moment": "called"},
        "level": {"basin": theirs.basins[0].pk, "level_m": 1.2},
        "hold": {"machine": theirs.machines[0].pk, "cause": "hose burst"},
        "settle": {"work_order": theirs.orders[0].pk, "answer": "count"},
        "answer_problem": {"defect": theirs.machines[0].defects.earliest("pk").pk},
        "give": {"work_order": theirs.orders[0].pk, "worker": theirs.worker.pk},
        "reset_pin": {"worker": theirs.worker.pk},
        "photo": {"attachment": str(theirs.attachment.pk), "machine": farm.machines[0].pk},
        "service": {
            "machine": theirs.machines[0].pk,
            "item": ServiceItem.objects.get(site=theirs.site).pk,
            "meter_h": 999,
        },
        "hand_over": {"crew": theirs.crew.pk},
        "take_handover": {"handover": theirs.handover.pk},
        "walk": {"line": theirs.walk_line.pk, "ok": True},
    }
    assert kinds.keys() == HANDLERS.keys() - {"language", "set_pin"}  # which name no row
    before = theirs.fingerprint()
    for number, (kind, payload) in enumerate(kinds.items(), start=1):
        event = {
            "id": f"0198c0de-0000-7000-8000-{number:012}",
            "kind": kind,
            "payload": payload,
            "client_at": farm.now.isoformat(),
            "seq": number,
        }
        response = as_manager.post(path_of("events/", farm, farm.slug), {"events": [event]})
        [answer] = response.json()["answers"]
        assert (answer["state"], answer["code"]) == ("refused", "not_found"), kind
    assert theirs.fingerprint() == before
