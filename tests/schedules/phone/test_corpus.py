"""Every shape of event that a released phone may have kept is taken still (reliability R20).

`corpus_v1.json` has the shapes of schema version 1, as clients sent them: lines are added, and none
is changed while phones of the last 180 days may hold it. "$name" stands for a row of the farm.
"""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from rest_framework.test import APIClient

from crews.people.models import Worker
from equipment.flushing.models import Lock
from equipment.machines.models import CheckItem, Defect, ServiceItem
from equipment.site.models import Role
from schedules.phone.documents_work import TOLD
from schedules.phone.registry import HANDLERS
from schedules.sand.models import Stage
from schedules.work.models import Problem
from tests.factories import make_phone, make_worker
from tests.farm import Farm

pytestmark = pytest.mark.django_db

CORPUS: list[dict[str, Any]] = json.loads(Path(__file__).with_name("corpus_v1.json").read_text())
ROWS: dict[str, Callable[[Farm], int]] = {
    "order": lambda f: f.orders[5].pk,
    "asked": lambda f: f.orders[-1].pk,
    "assigned": lambda f: f.assigned.pk,
    "assigned_version": lambda f: f.assigned.version,
    "machine": lambda f: f.machines[0].pk,
    "line_1": lambda f: CheckItem.objects.get(site=f.site, key="line-1").pk,
    "line_2": lambda f: CheckItem.objects.get(site=f.site, key="line-2").pk,
    "pen": lambda f: f.pens[0].pk,
    "lock": lambda f: Lock.objects.get(owner=f.worker.actor).pk,
    "batch": lambda f: f.batches[Stage.DRYING][0].pk,
    "visit": lambda f: f.visits[0].pk,
    "basin": lambda f: f.basins[0].pk,
    "walk_line": lambda f: f.walk_line.pk,
    "service_item": lambda f: ServiceItem.objects.get(site=f.site).pk,
    "defect": lambda f: Defect.objects.filter(site=f.site, closed_at=None).earliest("pk").pk,
    "problem": lambda f: Problem.objects.filter(site=f.site).earliest("pk").pk,
    "worker": lambda f: f.worker.pk,
    "spare": lambda f: f.spare.pk,
    "crew": lambda f: f.crew.pk,
    "handover": lambda f: f.handover.pk,
}


def filled(value: Any, farm: Farm) -> Any:
    if isinstance(value, dict):
        return {name: filled(inner, farm) for name, inner in value.items()}
    if isinstance(value, list):
        return [filled(inner, farm) for inner in value]
    return ROWS[value[1:]](farm) if isinstance(value, str) and value.startswith("$") else value


def teller(farm: Farm, name: str) -> Worker:
    known = {"worker": farm.worker, "manager": farm.manager}
    return known.get(name) or make_worker(farm.site, name, role=Role(name))


@pytest.mark.parametrize("line", CORPUS, ids=lambda line: f"{line['kind']} by a {line['by']}")
def test_shape_that_a_phone_may_have_kept_is_taken(farm: Farm, line: dict[str, Any]) -> None:
    _device, token = make_phone(teller(farm, line["by"]), farm.now)
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {token}")
    said = [*line.get("after", []), {"kind": line["kind"], "payload": line["payload"]}]
    events = [
        {
            "seq": seq,
            "id": f"0198c0de-0000-7000-8000-{seq:012}",
            "kind": one["kind"],
            "payload": filled(one["payload"], farm),
            "client_at": farm.now.isoformat().replace("+00:00", ".123Z"),
            "schema_version": 1,
        }
        for seq, one in enumerate(said, start=1)
    ]

    response = client.post("/api/v1/sites/ours/events/", {"events": events})

    assert response.status_code == 200, response.content
    answers = response.json()["answers"]
    assert [(a["state"], a["detail"]) for a in answers] == [("applied", "")] * len(events)


def test_every_kind_of_event_has_its_line_and_its_word() -> None:
    assert {line["kind"] for line in CORPUS} == HANDLERS.keys()
    assert TOLD.keys() == HANDLERS.keys()
