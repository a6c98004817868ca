"""Every route, every method, by everybody: who is let in, and that strangers learn nothing."""

import json
from typing import Any

import pytest
from django.test import Client
from rest_framework.test import APIClient

from crews.devices.services import revoke_device
from crews.people.models import Worker
from equipment.site.models import Role
from schedules.phone.handlers import HANDLERS
from schedules.sand.models import Stage
from tests.config.calls import BODIES, Operation, operations, path_of
from tests.factories import make_phone, make_user, make_worker
from tests.farm import Farm

pytestmark = pytest.mark.django_db

# Method, route below the site, who may: a line for each operation, no more and no less.
TABLE = """
GET    alleys/                                  everyone
GET    alleys/<key:pk>/                         everyone
GET    assignments/                             everyone
GET    basins/                                  everyone
GET    basins/<key:pk>/                         everyone
POST   basins/<key:pk>/clean-out/               leads
POST   basins/<key:pk>/gate/                    leads
POST   basins/<key:pk>/level/                   everyone
GET    batches/                                 everyone
GET    batches/<key:batch_id>/moisture-tests/   everyone
POST   batches/<key:batch_id>/moisture-tests/   everyone
GET    batches/<key:pk>/                        everyone
POST   batches/<key:pk>/bed/                    leads
POST   batches/<key:pk>/close/                  leads
POST   batches/<key:pk>/count/                  leads
POST   batches/<key:pk>/cured/                  leads
POST   batches/<key:pk>/dispose/                leads
POST   batches/<key:pk>/hold/                   leads
POST   batches/<key:pk>/measure/                leads
POST   batches/<key:pk>/pile/                   leads
POST   batches/<key:pk>/release/                leads
POST   batches/<key:pk>/spread/                 leads
POST   batches/<key:pk>/turn/                   leads
GET    crew-pens/                               everyone
POST   crew-pens/                               leads
GET    crop-fields/                             everyone
GET    crews/                                   everyone
GET    crews/<key:pk>/                          everyone
GET    defects/                                 everyone
GET    defects/<key:pk>/                        everyone
POST   defects/<key:pk>/close/                  shop
GET    docs/                                    anybody
POST   events/                                  everyone
GET    field-applications/                      everyone
POST   field-applications/                      leads
GET    flush-checks/                            everyone
GET    flush-runs/                              everyone
GET    holds/                                   everyone
GET    holds/<key:pk>/                          everyone
POST   holds/<key:pk>/clear/                    shop
GET    locks/                                   everyone
POST   locks/                                   everyone
GET    locks/<key:pk>/                          everyone
POST   locks/<key:pk>/off/                      everyone
GET    machines/                                everyone
GET    machines/<key:machine_id>/check-items/   everyone
GET    machines/<key:machine_id>/checks/        everyone
POST   machines/<key:machine_id>/checks/        everyone
GET    machines/<key:machine_id>/defects/       everyone
POST   machines/<key:machine_id>/defects/       everyone
GET    machines/<key:machine_id>/readings/      everyone
POST   machines/<key:machine_id>/readings/      everyone
GET    machines/<key:machine_id>/repairs/       everyone
POST   machines/<key:machine_id>/repairs/       shop
GET    machines/<key:machine_id>/services/      everyone
POST   machines/<key:machine_id>/services/      shop
GET    machines/<key:pk>/                       everyone
POST   machines/<key:pk>/hold/                  shop
GET    manure-analyses/                         everyone
POST   manure-analyses/                         leads
POST   milking-order/                           leads
GET    milkings/                                everyone
GET    milkings/<key:pk>/                       everyone
POST   milkings/<key:pk>/end/                   leads
POST   milkings/<key:pk>/start/                 leads
GET    my-work/                                 everyone
POST   pair/                                    anybody
GET    parlor-day/                              everyone
GET    pen-visits/                              everyone
GET    pen-visits/<key:pk>/                     everyone
POST   pen-visits/<key:pk>/moments/             everyone
GET    pens/                                    everyone
GET    pens/<key:pen_id>/beddings/              everyone
GET    pens/<key:pk>/                           everyone
POST   pens/<key:pk>/hold/                      leads
GET    places/                                  everyone
GET    places/<key:pk>/                         everyone
GET    plan/                                    everyone
GET    plan/changes/                            everyone
GET    plan/search/                             everyone
POST   plan/search/                             leads
POST   plan/search/stop/                        leads
GET    plans/                                   everyone
GET    plans/<key:pk>/                          everyone
GET    plans/<key:pk>/problem/                  everyone
GET    plans/<key:pk>/solution/                 everyone
GET    problems/                                everyone
POST   problems/                                everyone
GET    problems/<key:pk>/                       everyone
POST   problems/<key:pk>/answer/                leads
GET    repairs/                                 everyone
GET    repairs/<key:pk>/                        everyone
POST   repairs/<key:pk>/end/                    shop
GET    rosters/                                 everyone
POST   rosters/                                 leads
GET    rosters/<key:pk>/                        everyone
POST   rosters/<key:pk>/give-up/                leads
POST   rosters/<key:pk>/publish/                leads
GET    sand-accounts/                           everyone
POST   sand-deliveries/                         leads
GET    sand-recovery/                           everyone
GET    sand-stock/                              everyone
GET    sand-supply/                             everyone
GET    schema/                                  anybody
GET    shift-patterns/                          everyone
GET    shift-patterns/<key:pk>/                 everyone
GET    shift-wishes/                            everyone
POST   shift-wishes/                            everyone
GET    shifts/                                  everyone
POST   shifts/                                  leads
GET    shifts/<key:pk>/                         everyone
GET    sites/                                   signed-in
GET    sites/<slug>/                            everyone
GET    standing-orders/                         everyone
GET    standing-orders/<key:pk>/                everyone
PATCH  standing-orders/<key:pk>/                leads
POST   standing-orders/<key:pk>/take-over/      leads
GET    swaps/                                   everyone
POST   swaps/                                   everyone
GET    swaps/<key:pk>/                          everyone
POST   swaps/<key:pk>/settle/                   leads
GET    unassigned/                              everyone
GET    water-balance/                           everyone
GET    weather-days/                            everyone
GET    weather-days/<key:pk>/                   everyone
GET    weather-days/heat/                       everyone
GET    weather-forecasts/                       everyone
POST   weather-forecasts/                       leads
GET    weather-forecasts/<key:pk>/              everyone
GET    week-forecasts/                          everyone
GET    work-content/                            everyone
GET    work-orders/                             everyone
GET    work-orders/<key:order_id>/needs/        everyone
GET    work-orders/<key:order_id>/reports/      everyone
GET    work-orders/<key:pk>/                    everyone
DELETE work-orders/<key:pk>/assignment/         leads
GET    work-orders/<key:pk>/assignment/         everyone
PUT    work-orders/<key:pk>/assignment/         leads
POST   work-orders/<key:pk>/cancel/             leads
POST   work-orders/<key:pk>/could-not/          everyone
POST   work-orders/<key:pk>/decision/           leads
POST   work-orders/<key:pk>/done/               everyone
GET    work-orders/<key:pk>/help/               everyone
POST   work-orders/<key:pk>/load/               everyone
POST   work-orders/<key:pk>/part/               everyone
POST   work-orders/<key:pk>/start/              everyone
POST   work-orders/<key:pk>/undo/               everyone
GET    work-orders/<key:pk>/waiting-on/         everyone
GET    workers/                                 everyone
GET    workers/<key:pk>/                        everyone
POST   workers/<key:pk>/here/                   leads
POST   workers/<key:pk>/sick/                   leads
GET    year-ahead/                              everyone
POST   year-ahead/                              leads
GET    year-ahead/<key:pk>/                     everyone
POST   year-ahead/<key:pk>/resume/              leads
POST   year-ahead/<key:pk>/stop/                leads
"""
ENTRIES: dict[Operation, str] = {
    (method, route): who for method, route, who in map(str.split, TABLE.strip().splitlines())
}
LEADS = {Role.MANAGER, Role.LEAD}
MAY: dict[str, set[Role]] = {
    "everyone": set(Role),
    "leads": LEADS,
    "shop": LEADS | {Role.MECHANIC},
}
SITE_OPERATIONS = [op for op, who in ENTRIES.items() if who in MAY]


@pytest.fixture(scope="module")
def module_strangers(module_farm: Farm) -> Farm:
    """A farm beside the module's own, undone with it."""
    return Farm("theirs")


@pytest.fixture
def theirs(module_strangers: Farm, farm: Farm) -> Farm:
    return module_strangers


def bearer(token: str) -> APIClient:
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {token}")
    return client


def ask(client: Client, operation: Operation, farm: Farm, **more: Any) -> int:
    """Call without Idempotency-Key and If-Match: who is let in is told 400 or 428 at most."""
    method, route = operation
    path = path_of(route, farm, more.pop("slug", farm.slug))
    return client.generic(method, path, "{}", content_type="application/json").status_code


def test_every_operation_has_its_entry_and_every_entry_its_operation() -> None:
    assert sorted(ENTRIES) == operations()


def test_each_role_may_what_the_table_says_and_no_more(farm: Farm) -> None:
    tokens = {Role.MANAGER: farm.manager_token, Role.WORKER: farm.worker_token}
    for role in (Role.LEAD, Role.MECHANIC):
        worker = make_worker(farm.site, role, role=role)
        tokens[role] = make_phone(worker, farm.now)[1]
    for role, token in tokens.items():
        client = bearer(token)
        for operation in SITE_OPERATIONS:
            status = ask(client, operation, farm)
            if role in MAY[ENTRIES[operation]]:
                assert status not in (401, 403, 404, 500), (role, operation, status)
            else:
                assert status == 403, (role, operation, status)


def test_accounts_at_the_desk_have_the_same_rights_as_phones(farm: Farm) -> None:
    for role in (Role.MANAGER, Role.WORKER):
        client = APIClient()
        client.force_login(make_user(role, farm.site))
        for operation in SITE_OPERATIONS:
            if operation == ("GET", "my-work/"):  # a person's own work: of workers only
                continue
            is_let_in = ask(client, operation, farm) not in (401, 403, 404)
            assert is_let_in == (role in MAY[ENTRIES[operation]]), (role, operation)


def test_people_of_another_site_find_nothing(farm: Farm, theirs: Farm) -> None:
    account = APIClient()
    account.force_login(make_user(Role.MANAGER, theirs.site))
    stranger = bearer(theirs.manager_token)
    for operation in SITE_OPERATIONS:
        for client in (account, stranger):
            assert ask(client, operation, farm) == 404, operation


def test_rows_of_another_site_are_not_found_below_ones_own(
    farm: Farm, theirs: Farm, as_manager: APIClient
) -> None:
    """A complete call, its keys in the address another farm's."""
    before = theirs.fingerprint()
    for method, route in SITE_OPERATIONS:
        if "<key:" not in route:
            continue
        body = BODIES[method, route](farm) if method != "GET" else None
        response = as_manager.generic(
            method,
            path_of(route, theirs, farm.slug),
            "" if body is None else json.dumps(body),
            content_type="application/json",
            headers={"Idempotency-Key": f"{method} {route}", "If-Match": '"1-1"'},
        )
        assert response.status_code == 404, (method, route)
        assert response.json()["code"] == "not_found"
    assert theirs.fingerprint() == before


def test_revoked_phone_and_nobody_at_all_are_asked_to_sign_in(farm: Farm) -> None:
    revoked = bearer(farm.worker_token)
    revoke_device(site_id=farm.site.pk, device_id=farm.phone.pk, at=farm.now)
    for operation, who in ENTRIES.items():
        if who != "anybody":
            for client in (revoked, APIClient()):
                assert ask(client, operation, farm) == 401, operation


def test_phone_of_a_worker_who_left_has_no_access(farm: Farm, as_worker: APIClient) -> None:
    Worker.objects.filter(pk=farm.worker.pk).update(retired_at=farm.now)

    assert as_worker.get("/api/v1/sites/").status_code == 401


def test_sites_are_listed_to_those_who_belong_to_them(theirs: Farm, as_manager: APIClient) -> None:
    body = as_manager.get("/api/v1/sites/").json()

    assert [site["slug"] for site in body["results"]] == ["ours"]


# Keys in bodies ---------------------------------------------------------------------------------


def _foreign(theirs: Farm) -> list[tuple[Operation, dict[str, Any]]]:
    """Each call whose body names rows, with one of them another farm's."""
    place = theirs.lane.pk
    machine = theirs.machines[0].pk
    found: list[tuple[Operation, dict[str, Any]]] = [
        (("POST", "locks/"), {"place": place}),
        (("POST", "problems/"), {"place": place}),
        (("POST", "machines/<key:machine_id>/repairs/"), {"substitute": machine}),
        (("POST", "batches/<key:pk>/spread/"), {"bay": theirs.bays[-1].pk}),
        (("POST", "batches/<key:pk>/pile/"), {"pile_place": theirs.pile_places[0].pk}),
        (("POST", "batches/<key:pk>/bed/"), {"pen": theirs.pens[0].pk}),
        (("POST", "sand-deliveries/"), {"pile_place": theirs.pile_places[0].pk}),
        (("POST", "crew-pens/"), {"crew": theirs.crew.pk}),
        (("POST", "crew-pens/"), {"pattern": theirs.worker.shifts.get().pattern_id}),
        (("POST", "crew-pens/"), {"pens": [theirs.pens[0].pk]}),
    ]
    theirs_item = BODIES["POST", "machines/<key:machine_id>/services/"](theirs)["item"]
    found.append((("POST", "machines/<key:machine_id>/services/"), {"item": theirs_item}))
    verbs = ("start", "done", "part", "could-not", "load")
    return found + [(("POST", f"work-orders/<key:pk>/{v}/"), {"machine": machine}) for v in verbs]


def test_rows_of_another_site_are_not_found_through_a_body(
    farm: Farm, theirs: Farm, as_manager: APIClient
) -> None:
    before = farm.fingerprint(), theirs.fingerprint()
    for number, (operation, keys) in enumerate(_foreign(theirs)):
        response = as_manager.post(
            path_of(operation[1], farm, farm.slug),
            {**BODIES[operation](farm), **keys},
            headers={"Idempotency-Key": str(number)},
        )
        assert response.status_code == 404, operation
        assert response.json()["code"] == "not_found"
    assert (farm.fingerprint(), theirs.fingerprint()) == before


@pytest.mark.parametrize("thing", ["workers", "machine"])
def test_nobody_of_another_site_is_given_work(
    farm: Farm, theirs: Farm, as_manager: APIClient, thing: str
) -> None:
    operation = ("PUT", "work-orders/<key:pk>/assignment/")
    path = path_of(operation[1], farm, farm.slug)
    body = {**BODIES[operation](farm), thing: BODIES[operation](theirs)[thing]}

    response = as_manager.put(path, body, headers={"If-Match": as_manager.get(path)["ETag"]})

    assert response.status_code == 404


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
    }
    assert kinds.keys() == HANDLERS.keys() - {"language"}  # which names no row
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
