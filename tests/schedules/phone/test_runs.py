"""Events that are done in runs come to what they come to one by one, in few statements."""

import random
import uuid
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from crews.devices.auth import Phone
from crews.devices.models import Device
from crews.devices.services import make_pairing_code, pair
from crews.people.models import Crew, Worker
from equipment.site.models import Change, Event, Language, PlaceKind
from equipment.site.services import service_actor
from schedules.phone.intake import Answer, Told, take_events
from schedules.work.models import Outcome, Report, Status, WorkOrder
from tests.factories import (
    make_machine,
    make_phone,
    make_place,
    make_site,
    make_work_order,
    make_worker,
    utc,
)

pytestmark = pytest.mark.django_db

NOON = utc("2026-03-04 12:00")
N_EVENTS = 50
NOWHERE = 10**9
Said = tuple[str, int, int, Any, int]  # kind, order, minute, what more, who


def history(seed: int) -> list[Said]:
    """What two people say on one phone; most of it loads, some of it nothing that can be taken."""
    turn, said = random.Random(seed), []
    kinds = ["load"] * 12 + ["language"] * 4 + ["start", "done", "undo", "unheard_of"]
    kind = "load"
    for _event in range(N_EVENTS):
        if turn.random() < 0.4:
            kind = turn.choice(kinds)
        more: Any = turn.choice(["en", "es"] * 6 + ["xx"]) if kind == "language" else None
        if kind == "load":
            more = turn.choice([None, None, None, "machine"] + ["nowhere"] * (turn.random() < 0.2))
        who = int(turn.random() < 0.2)
        said.append((kind, turn.choice([0, 0, 0, 1, 2, 3]), turn.randrange(-60, 5), more, who))
    return said


@dataclass
class Play:
    """A site on which a history is told, so many events a call."""

    slug: str
    is_shared: bool
    answers: list[Answer] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.site = make_site(self.slug)
        self.crew = Crew.objects.create(site=self.site, key="one", name="One")
        self.people = [make_worker(self.site, key, crew=self.crew) for key in ("ana", "ben")]
        self.machine = make_machine(self.site)
        self.orders = [make_work_order(self.site, f"by-hand/{n}") for n in range(3)]
        lane = make_place(self.site, "lane-1", PlaceKind.LANE)  # whose buckets nobody can book
        self.orders.append(make_work_order(self.site, "by-hand/3", place=lane))
        expired = WorkOrder.objects.filter(pk=self.orders[2].pk)
        closer = service_actor(self.site.pk)
        closed = {"outcome": Outcome.MISSED, "ended_at": NOON, "ended_by": closer}
        expired.update(status=Status.CANCELLED, **closed)
        self.phone = self._pair()

    def _pair(self) -> Device:
        if not self.is_shared:
            return make_phone(self.people[0], NOON)[0]
        by = self.people[0].actor
        code = make_pairing_code(site_id=self.site.pk, crew_id=self.crew.pk, by=by, at=NOON)
        return pair(code=code, address="127.0.0.1", at=NOON)[0]

    def tell(self, said: list[Said], size: int) -> None:
        caller = Phone(self.phone).caller_on(self.slug)
        assert caller is not None
        told = [self._told(n, one) for n, one in enumerate(said, start=1)]
        for first in range(0, len(told), size):
            events = told[first : first + size]
            self.answers += take_events(caller=caller, events=events, received_at=NOON)

    def _told(self, seq: int, said: Said) -> Told:
        kind, order, minute, more, who = said
        payload: dict[str, Any] = {"work_order": self.orders[order].pk}
        if kind == "language":
            payload = {"language": more}
        elif more == "machine":
            payload["machine"] = self.machine.pk
        elif more == "nowhere":
            payload["work_order"] = NOWHERE
        at = NOON + timedelta(minutes=minute)
        worker = self.people[who].pk if self.is_shared else None
        return Told(uuid.uuid4(), kind, payload, at, seq, worker=worker)

    def came_of_it(self) -> dict[str, Any]:
        """All that is stored, with rows called by their place in order."""
        names = {order.pk: f"order {n}" for n, order in enumerate(self.orders)}
        stored = Event.objects.filter(site=self.site).values_list("pk", "device_seq")
        seqs: dict[uuid.UUID | None, int | None] = dict(stored)
        reports = Report.objects.filter(site=self.site).order_by("pk")
        changes = Change.objects.filter(site=self.site, topic="work.reported").order_by("pk")
        orders = WorkOrder.objects.filter(site=self.site).order_by("pk")
        events = Event.objects.filter(site=self.site).order_by("device_seq")
        people = Worker.objects.filter(site=self.site).order_by("key")
        return {
            "answers": [(a.state, a.code, a.detail, a.result) for a in self.answers],
            "events": [(e.device_seq, e.actor.name, e.happened_at, e.answer) for e in events],
            "reports": [
                (r.kind, names[r.work_order_id], r.at, r.by.name, seqs[r.event_id], bool(r.machine))
                for r in reports
            ],
            "orders": [
                (
                    o.status,
                    o.outcome,
                    o.loads,
                    o.version,
                    o.needs_decision,
                    o.started_at,
                    o.ended_at,
                )
                for o in orders
            ],
            "times": [(str(o.started_by), o.started_at, o.ended_at) for o in orders],
            "changes": [(names[int(c.subject_id)], c.detail) for c in changes],
            "languages": list(people.values_list("key", "language")),
            "last_seq": Device.objects.get(pk=self.phone.pk).last_seq,
        }


@pytest.mark.parametrize("is_shared", [False, True], ids=["own phone", "shared phone"])
@pytest.mark.parametrize("seed", range(12))
def test_a_batch_comes_to_what_its_events_come_to_one_by_one(seed: int, is_shared: bool) -> None:
    together, alone = Play("together", is_shared), Play("alone", is_shared)

    together.tell(history(seed), N_EVENTS)
    alone.tell(history(seed), 1)

    assert together.came_of_it() == alone.came_of_it()


def test_the_histories_hold_what_they_are_for() -> None:
    """Runs, loads that count, loads of work that is closed, and each refusal."""
    codes, results = set(), []
    for seed in range(12):
        play = Play(f"site-{seed}", is_shared=True)
        play.tell(history(seed), N_EVENTS)
        codes |= {answer.code for answer in play.answers}
        results += [a.result["loads"] for a in play.answers if a.result and "loads" in a.result]
    assert codes >= {"", "invalid", "not_found", "unknown_kind", "nothing_to_undo"}
    assert max(results) > 10
    assert 0 in results


# Statements -------------------------------------------------------------------------------------


def statements(kind: str, n: int, **payload: Any) -> int:
    """Count what so many alike cost, beyond asking who calls."""
    site = make_site(f"{kind}-{n}")
    if kind == "load":
        payload["work_order"] = make_work_order(site).pk
    caller = Phone(make_phone(make_worker(site), NOON)[0]).caller_on(site.slug)
    assert caller is not None
    told = [Told(uuid.uuid4(), kind, payload, NOON, seq) for seq in range(1, n + 1)]
    with CaptureQueriesContext(connection) as asked:
        answers = take_events(caller=caller, events=told, received_at=NOON)
    assert {answer.state for answer in answers} == {"applied"}
    return len(asked)


@pytest.mark.parametrize(
    ("kind", "most", "payload"), [("language", 8, {"language": Language.SPANISH}), ("load", 14, {})]
)
def test_fifty_alike_cost_as_many_statements_as_one(
    kind: str, most: int, payload: dict[str, Any]
) -> None:
    one = statements(kind, 1, **payload)

    assert statements(kind, 50, **payload) == one <= most
