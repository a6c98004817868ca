"""Every route, every method, by everybody: who is let in, and that strangers learn nothing."""

from collections.abc import Callable
from pathlib import Path

import pytest
from django.test import Client
from rest_framework.test import APIClient

from crews.devices.services import revoke_device
from crews.people.models import Worker
from equipment.site.models import Role, User
from tests.config.calls import ANYWHERE, Operation, operations, path_of
from tests.factories import make_phone, make_user, make_worker
from tests.farm import Farm

pytestmark = pytest.mark.django_db

FILE = Path(__file__).with_name("permissions.md")


def read_table() -> tuple[list[str], dict[Operation, list[str]]]:
    """Give the callers and, for each operation, what each of them is to be answered."""
    lines = [line for line in FILE.read_text().splitlines() if line.startswith("|")]
    head, _rule, *rows = ([cell.strip(" `") for cell in line.split("|")[1:-1]] for line in lines)
    return head[2:], {(row[0], row[1]): row[2:] for row in rows}


CALLERS, ENTRIES = read_table()
SITE_OPERATIONS = [op for op in ENTRIES if op[1] not in ANYWHERE]
# A phone's alone: an account at the desk has no token, and hears of nothing itself.
OF_PHONES = (
    ("POST", "phone/token/"),
    ("PUT", "nudges/"),
    ("DELETE", "nudges/"),
)


def bearer(token: str) -> APIClient:
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {token}")
    return client


def signed_in(user: User) -> APIClient:
    client = APIClient()
    client.force_login(user)
    return client


def phones_of(farm: Farm) -> dict[str, APIClient]:
    """A phone of a worker of each role."""
    tokens = {Role.MANAGER: farm.manager_token, Role.WORKER: farm.worker_token}
    for role in (Role.LEAD, Role.MECHANIC):
        tokens[role] = make_phone(make_worker(farm.site, role, role=role), farm.now)[1]
    return {role: bearer(tokens[role]) for role in tokens}


def callers(farm: Farm, theirs: Farm) -> dict[str, APIClient]:
    """Everybody that the table names."""
    revoked, revoked_token = make_phone(farm.worker, farm.now)
    revoke_device(site_id=farm.site.pk, device_id=revoked.pk, at=farm.now)
    return {
        **{role: signed_in(make_user(role, farm.site)) for role in Role},
        "phone": bearer(farm.worker_token),
        "revoked phone": bearer(revoked_token),
        "other site's manager": signed_in(
            make_user(Role.MANAGER, theirs.site, username="their-manager")
        ),
        "other site's phone": bearer(theirs.manager_token),
        "nobody": APIClient(),
    }


def answer(client: Client, operation: Operation, farm: Farm) -> str:
    """Call without Idempotency-Key and If-Match: who is let in is told 400 or 428 at most."""
    method, route = operation
    path = path_of(route, farm, farm.slug)
    status = client.generic(method, path, "{}", content_type="application/json").status_code
    assert status < 500, (operation, status)
    return f"{status}" if status in (401, 403, 404) else "yes"


def test_every_operation_has_its_line_and_every_line_its_operation() -> None:
    assert sorted(ENTRIES) == operations()
    assert {len(cells) for cells in ENTRIES.values()} == {len(CALLERS)}


def test_everybody_is_answered_as_the_table_says(
    farm: Farm, theirs: Farm, record_property: Callable[[str, object], None]
) -> None:
    who = callers(farm, theirs)
    assert list(who) == CALLERS
    before = farm.fingerprint(), theirs.fingerprint()

    given = {op: [answer(client, op, farm) for client in who.values()] for op in ENTRIES}

    wrong = [
        f"{operation}: {caller} is answered {got}, not {said}"
        for operation, cells in ENTRIES.items()
        for caller, got, said in zip(CALLERS, given[operation], cells, strict=True)
        if got != said
    ]
    assert wrong == []
    assert (farm.fingerprint(), theirs.fingerprint()) == before
    n_let_in = sum(cells.count("yes") for cells in given.values())
    n_calls = len(given) * len(CALLERS)
    words = f"permissions: {len(given)} operations by {len(CALLERS)} callers, {n_calls} answers"
    record_property("count", f"{words}, {n_let_in} let in, {n_calls - n_let_in} kept out")


def test_phones_may_what_their_people_may_at_the_desk(farm: Farm) -> None:
    for role, client in phones_of(farm).items():
        column = CALLERS.index(role)
        for operation in SITE_OPERATIONS:
            said = "yes" if operation in OF_PHONES else ENTRIES[operation][column]
            assert answer(client, operation, farm) == said, (role, operation)


def test_phone_of_a_worker_who_left_has_no_access(farm: Farm, as_worker: APIClient) -> None:
    Worker.objects.filter(pk=farm.worker.pk).update(retired_at=farm.now)

    assert as_worker.get("/api/v1/sites/").status_code == 401


def test_sites_are_listed_to_those_who_belong_to_them(theirs: Farm, as_manager: APIClient) -> None:
    body = as_manager.get("/api/v1/sites/").json()

    assert [site["slug"] for site in body["results"]] == ["ours"]
