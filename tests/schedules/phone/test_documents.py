"""What the documents that phones carry say, and to whom."""

import json
import uuid
from datetime import timedelta
from typing import Any

import pytest
from rest_framework.test import APIClient

from crews.devices.models import Device, Pin
from crews.people.models import Crew, Worker
from equipment.basins.models import LevelReading
from equipment.basins.services import record_level
from equipment.flushing.models import Lock
from equipment.flushing.services import put_lock
from equipment.machines.models import CheckItem
from equipment.site.models import Event, Role
from schedules.dayplan.models import Claim
from schedules.phone import carry
from schedules.phone.models import Carried
from schedules.work.decisions import answer_problem
from schedules.work.models import Problem
from schedules.work.progress import report_problem
from tests.factories import (
    make_alley,
    make_site,
    make_standing_order,
    make_user,
    make_worker,
)
from tests.farm import Farm
from tests.schedules.phone.pulling import (
    EVENTS,
    ask,
    documents,
    moved,
    of_kind,
    phone_of,
    scopes,
    shared_phone,
)

pytestmark = pytest.mark.django_db


# What a job says --------------------------------------------------------------------------------


def test_job_is_in_the_scope_of_the_crew_that_has_it(farm: Farm, as_worker: APIClient) -> None:
    jobs = of_kind(ask(as_worker), "job")

    job = jobs[str(farm.assigned.pk)]
    assert (job["status"], job["machine"]["name"]) == ("NEEDS-ACTION", "Loader-1")
    assert job["worker_ids"] == [farm.worker.pk]
    assert job["starts_after"] < job["due_at"]
    assert job["planned_start"] < job["planned_end"]


def test_job_of_two_crews_is_in_both_and_of_nobodys_crew_in_the_persons_own(farm: Farm) -> None:
    other = Crew.objects.get(site=farm.site, key="two")
    mate, loner = make_worker(farm.site, "mo", crew=other), make_worker(farm.site, "li")
    claim = Claim.objects.get(assignment__work_order=farm.assigned, worker__isnull=False)
    for worker in (mate, loner):
        Claim.objects.create(
            site=farm.site, assignment=claim.assignment, worker=worker, span=claim.span
        )

    carry.refresh_carried(farm.site, farm.now)

    rows = Carried.objects.filter(kind="job", key=str(farm.assigned.pk)).order_by("pk")
    assert {row.scope for row in rows} == {
        f"crew-{farm.crew.pk}",
        f"crew-{other.pk}",
        f"worker-{loner.pk}",
    }
    assert rows[0].body["worker_ids"] == sorted([farm.worker.pk, mate.pk, loner.pk])


def test_job_says_what_it_waits_on_in_both_languages(farm: Farm, as_worker: APIClient) -> None:
    farm.assigned.needs.create(site=farm.site, on=farm.orders[8])

    job = of_kind(ask(as_worker), "job")[str(farm.assigned.pk)]

    assert job["waiting_on"] == [{"code": "dependency", "name": {"en": "Groom", "es": "Groom"}}]


def test_job_says_whose_own_locks_keep_its_water_away(farm: Farm, as_worker: APIClient) -> None:
    Lock.objects.all().delete()
    order = farm.assigned
    order.standing_order = make_standing_order(farm.site, "rake", needs_lock=True)
    order.save()
    lock: dict[str, Any] = {"what": "", "at": farm.now, "site_id": farm.site.pk}

    put_lock(by=farm.spare.actor, place_id=order.place_id, **lock)

    job = of_kind(ask(as_worker), "job")[str(order.pk)]
    assert (job["needs_lock"], job["locked_for"]) == (True, [farm.spare.pk])


def test_basin_says_how_deep_it_is_and_how_it_stood_last(farm: Farm, as_worker: APIClient) -> None:
    basin = farm.basins[0]
    LevelReading.objects.filter(basin=basin).delete()
    assert of_kind(ask(as_worker), "basin")[str(basin.pk)]["level_m"] is None

    record_level(
        site_id=farm.site.pk, basin_id=basin.pk, depth_m=1.2, by=farm.worker.actor, at=farm.now
    )

    body = of_kind(ask(as_worker), "basin")[str(basin.pk)]
    assert (body["level_m"], body["depth_m"]) == (1.2, basin.depth_m)
    assert body["must_act_depth_m"] == basin.must_act_depth_m
    assert set(body["name"]) == {"en", "es"}


def test_line_of_the_look_round_says_where_it_is_looked_at(
    farm: Farm, as_worker: APIClient
) -> None:
    line = CheckItem.objects.filter(site=farm.site).earliest("pk")
    spots = {"en": "Left side", "es": "Lado izquierdo"}
    CheckItem.objects.filter(pk=line.pk).update(spot=spots)

    lines = of_kind(ask(as_worker), "check_line")

    assert lines[str(line.pk)]["spot"] == spots
    assert [body["spot"] for body in lines.values()].count({"en": "", "es": ""}) == len(lines) - 1


# Who reads what ---------------------------------------------------------------------------------


def test_worker_reads_the_site_the_crew_and_their_own(farm: Farm, as_worker: APIClient) -> None:
    assert scopes(ask(as_worker)) == {
        "site",
        f"crew-{farm.crew.pk}",
        f"worker-{farm.worker.pk}",
    }


def test_lead_reads_every_crew_and_mechanic_the_shop(farm: Farm) -> None:
    lead, mechanic = (phone_of(farm, role) for role in (Role.LEAD, Role.MECHANIC))

    assert {"site", "leads", "shop", f"crew-{farm.crew.pk}"} <= scopes(ask(lead))
    assert "shop" in scopes(ask(mechanic))
    assert not {"leads", f"crew-{farm.crew.pk}"} & scopes(ask(mechanic))


def test_shared_phone_reads_what_its_crew_reads_and_no_more(farm: Farm) -> None:
    answer = ask(shared_phone(farm, farm.crew))

    own = {f"worker-{worker.pk}" for worker in farm.crew.workers.all()}
    assert scopes(answer) <= {"site", f"crew-{farm.crew.pk}", *own}
    assert f"worker-{farm.worker.pk}" in scopes(answer)  # what Ana reported
    assert answer["worker"] is None


def test_pin_is_known_where_it_is_asked_and_nowhere_else(farm: Farm, as_worker: APIClient) -> None:
    secret = {"salt": "c2FsdHNhbHRzYWx0", "iterations": 100_000, "hash": "ab" * 32}
    Pin.objects.create(site=farm.site, worker=farm.worker, set_at=farm.now, **secret)

    [(key, body)] = of_kind(ask(shared_phone(farm, farm.crew)), "pin").items()

    assert (key, body) == (str(farm.worker.pk), secret)
    assert of_kind(ask(as_worker), "pin")
    other = Crew.objects.get(site=farm.site, key="two")
    for stranger in (phone_of(farm, Role.MECHANIC), shared_phone(farm, other)):
        assert not of_kind(ask(stranger), "pin")


def test_account_at_the_desk_reads_what_its_role_may(farm: Farm) -> None:
    client = APIClient()
    client.force_login(make_user(Role.MANAGER, farm.site))

    answer = ask(client)

    assert {"site", "leads", "shop", f"crew-{farm.crew.pk}"} <= scopes(answer)
    assert answer["worker"] is None


def test_who_changes_crew_gets_the_new_crews_whole_and_forgets_the_old(
    farm: Farm, as_worker: APIClient
) -> None:
    first = ask(as_worker)
    other = Crew.objects.get(site=farm.site, key="two")
    mate = make_worker(farm.site, "mo", crew=other)
    Claim.objects.filter(worker=farm.worker).update(worker=mate)
    moved(farm)
    Worker.objects.filter(pk=farm.worker.pk).update(crew=other)

    second = ask(as_worker, first["cursor"])

    assert second["dropped_scopes"] == [f"crew-{farm.crew.pk}"]
    assert not second["whole"]
    jobs = {key for key in documents(second) if key[1] == "job"}
    assert {scope for scope, _kind, _key in jobs} == {f"crew-{other.pk}"}
    assert ask(as_worker, second["cursor"])["dropped_scopes"] == []


# What leads look at -----------------------------------------------------------------------------


def test_refused_event_is_a_line_with_two_answers_until_somebody_looked(
    farm: Farm, as_worker: APIClient, as_manager: APIClient
) -> None:
    event: dict[str, Any] = {
        "id": str(uuid.uuid4()),
        "kind": "start",
        "payload": {"work_order": 10**9},
        "client_at": farm.now.isoformat(),
        "seq": 1,
    }
    as_worker.post(EVENTS, {"events": [event]})

    look = of_kind(ask(as_manager), "look")[event["id"]]

    assert (look["who"], look["kind"]) == ("Ana", "start")
    assert look["line"]["en"].startswith("Started was not taken: ")
    assert [a["code"] for a in look["answers"]] == ["count", "leave"]
    assert "look" not in {d["kind"] for d in ask(as_worker)["documents"]}
    Event.objects.filter(pk=event["id"]).update(looked_at=farm.now)
    carry.refresh_carried(farm.site, farm.now + timedelta(minutes=2))
    assert event["id"] not in of_kind(ask(as_manager), "look")


def test_report_that_asks_for_a_decision_is_a_line_too(farm: Farm, as_manager: APIClient) -> None:
    looks = of_kind(ask(as_manager), "look")

    look = looks[f"work-{farm.orders[-1].pk}"]
    assert look["kind"] == "outside_window"
    assert "were cows in the pen?" in look["line"]["en"]


def test_open_problem_is_the_leads_and_of_whoever_reported_it(
    farm: Farm, as_worker: APIClient, as_manager: APIClient
) -> None:
    problem = Problem.objects.filter(reported_by=farm.worker.actor).earliest("pk")
    first = ask(as_worker)
    assert str(problem.pk) in of_kind(first, "problem")
    own, leads = (f"worker-{farm.worker.pk}", "leads")
    assert ("leads", "problem", str(problem.pk)) in documents(ask(as_manager))

    answer_problem(
        site_id=farm.site.pk,
        problem_id=problem.pk,
        answer="straightened",
        by=farm.manager.actor,
        at=farm.now,
    )

    assert documents(ask(as_worker, first["cursor"])) == {(own, "problem", str(problem.pk)): None}
    assert (leads, "problem", str(problem.pk)) not in documents(ask(as_manager))


def test_problem_that_could_hurt_someone_says_so(
    farm: Farm, as_worker: APIClient, as_manager: APIClient
) -> None:
    event: dict[str, Any] = {
        "id": str(uuid.uuid4()),
        "kind": "problem",
        "payload": {"text": "rail loose", "place": farm.pens[0].pk, "is_safety": True},
        "client_at": farm.now.isoformat(),
        "seq": 1,
    }
    [answer] = as_worker.post(EVENTS, {"events": [event]}).json()["answers"]

    problem = of_kind(ask(as_manager), "problem")[str(answer["result"]["problem"])]

    assert (problem["text"], problem["is_safety"]) == ("rail loose", True)


def test_nothing_of_another_site_is_in_it(farm: Farm, as_manager: APIClient) -> None:
    theirs = make_site("theirs")
    zed = make_worker(theirs, "zed")
    put_lock(site_id=theirs.pk, place_id=make_alley(theirs).pk, what="", by=zed.actor, at=farm.now)
    report_problem(site_id=theirs.pk, place_id=None, text="theirs", by=zed.actor, at=farm.now)
    carry.refresh_carried(theirs, farm.now)
    assert Carried.objects.filter(site=theirs, kind__in=["lock", "problem"]).count() == 3

    told = json.dumps(ask(as_manager)["documents"])

    assert "zed" not in told.lower()
    assert "theirs" not in told
    rows = Carried.objects.filter(site=farm.site).values_list("scope", "kind", "key")
    assert {(d["scope"], d["kind"], d["key"]) for d in ask(as_manager)["documents"]} <= set(rows)


def test_phone_that_only_asks_is_heard(farm: Farm, as_worker: APIClient) -> None:
    assert Device.objects.get(pk=farm.phone.pk).last_seen_at is None

    cursor = ask(as_worker)["cursor"]
    first = Device.objects.get(pk=farm.phone.pk).last_seen_at
    ask(as_worker, cursor)

    assert first is not None
    assert Device.objects.get(pk=farm.phone.pk).last_seen_at == first  # by the minutes
