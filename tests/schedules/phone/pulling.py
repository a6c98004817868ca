"""How tests pull, and read what came."""

from typing import Any

from rest_framework.test import APIClient

from crews.devices.services import make_pairing_code, pair
from crews.people.models import Crew
from equipment.site.models import Role
from equipment.site.writes import site_write
from tests.factories import (
    make_phone,
    make_worker,
)
from tests.farm import Farm

PULL = "/api/v1/sites/ours/pull/"
EVENTS = "/api/v1/sites/ours/events/"
Key = tuple[str, str, str]
Documents = dict[Key, Any]


def bearer(token: str) -> APIClient:
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {token}")
    return client


def phone_of(farm: Farm, role: Role, crew: Crew | None = None) -> APIClient:
    worker = make_worker(farm.site, f"{role}-{crew}", role=role, crew=crew)
    return bearer(make_phone(worker, farm.now)[1])


def shared_phone(farm: Farm, crew: Crew) -> APIClient:
    who: dict[str, Any] = {"site_id": farm.site.pk, "by": farm.manager.actor, "at": farm.now}
    code = make_pairing_code(crew_id=crew.pk, **who)
    return bearer(pair(code=code, address="127.0.0.1", at=farm.now)[1])


def ask(client: APIClient, cursor: str = "", **query: Any) -> dict[str, Any]:
    response = client.get(PULL, {"cursor": cursor, **query})
    assert response.status_code == 200, response.content
    body: dict[str, Any] = response.json()
    return body


def moved(farm: Farm) -> None:
    """Say that something was changed, so that the next pull looks."""
    with site_write(farm.site.pk, farm.now) as write:
        write.touch()


def documents(answer: dict[str, Any]) -> Documents:
    found = {(d["scope"], d["kind"], d["key"]): d["body"] for d in answer["documents"]}
    assert len(found) == len(answer["documents"])
    return found


def scopes(answer: dict[str, Any]) -> set[str]:
    return {d["scope"] for d in answer["documents"]}


def of_kind(answer: dict[str, Any], kind: str) -> dict[str, Any]:
    return {d["key"]: d["body"] for d in answer["documents"] if d["kind"] == kind}
