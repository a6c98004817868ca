"""What the desk's forms do: who may, what a bad one says, and that it then changes nothing."""

from __future__ import annotations

import re
import uuid
from collections.abc import Callable, Mapping
from datetime import timedelta
from typing import Any

import pytest
import segno
from django.test import Client

from crews.devices.models import Device
from crews.devices.services import pair
from crews.roster.models import (
    CrewPens,
    Presence,
    RosterRun,
    Shift,
    ShiftPattern,
    SwapRequest,
)
from equipment.flushing.models import Lock
from equipment.machines.models import Defect, Repair, ServiceItem, ServiceRecord
from equipment.site.models import Actor, Event, EventState, Hold, HoldSubject, Role
from schedules.dayplan.models import Assignment
from schedules.desk.pages import urlpatterns
from schedules.late.pages import urlpatterns as late_urlpatterns
from schedules.outlook.models import OutlookRun, OutlookState
from schedules.rounds.models import MilkingState, PenVisit
from schedules.sand.models import MoistureTest, Stage
from schedules.work.models import Outcome, Problem, Status, WorkOrder
from tests.farm import Farm

from .conftest import NOW, ClientOf
from .reading import PAGES, section, url, words

pytestmark = pytest.mark.django_db

Data = Mapping[str, object]
LEADS = (Role.MANAGER, Role.LEAD)
SHOP = (*LEADS, Role.MECHANIC)
ALL = tuple(Role)


ANALYSIS: Data = {
    "sampled_on": "2026-03-01",
    "n_kg_t": "10",
    "nh4_n_kg_t": "4",
    "no3_n_kg_t": "0",
    "p2o5_kg_t": "6",
    "k2o_kg_t": "8",
}


def _hold(farm: Farm) -> int:
    return Hold.objects.filter(site=farm.site, subject_kind=HoldSubject.PEN).get().pk


def _reassign(farm: Farm) -> Data:
    return {
        "worker": [farm.worker.pk],
        "starts_day": "2026-03-04",
        "starts": "10:00",
        "version": farm.orders[8].version,
    }


def _give_pens(farm: Farm) -> Data:
    pattern = ShiftPattern.objects.get(site=farm.site, key="day")
    return {"crew": farm.crew.pk, "pattern": pattern.pk, "pen": [farm.pens[1].pk], "when": "today"}


def _service(farm: Farm) -> Data:
    item = ServiceItem.objects.get(site=farm.site)
    return {"item": item.pk, "meter_h": "999", "minutes": "45", "parts": "filter", "cost": "18.5"}


def _edit(farm: Farm) -> Data:
    return {"version": farm.rule.version, "priority": "1", "n_people": "2", "base_min": "7"}


Form = tuple[Callable[[Farm], tuple[object, ...]], Callable[[Farm], Data], tuple[Role, ...]]


# What each form's address needs, what a good one sends, and who may send it.
def _year(farm: Farm, state: OutlookState) -> int:
    return OutlookRun.objects.get(site=farm.site, state=state).pk


def _first(farm: Farm, model: Any) -> int:
    pk: int = model.objects.filter(site=farm.site).earliest("pk").pk
    return pk


REFUSED = uuid.UUID(int=1)


def _refused(farm: Farm) -> str:
    """An event of a phone that was not taken."""
    facts = {"state": EventState.REFUSED, "happened_at": NOW, "received_at": NOW, "kind": "start"}
    usual = {"site": farm.site, "actor": farm.worker.actor, "payload": {}, **facts}
    Event.objects.get_or_create(pk=REFUSED, defaults=usual)
    return str(REFUSED)


def _foretold_visit(farm: Farm) -> tuple[object, ...]:
    visit = farm.visits[0]
    at = (visit.called_at + timedelta(minutes=20)).isoformat()
    PenVisit.objects.filter(pk=visit.pk, foretold={}).update(foretold={"called": at})
    return (visit.pk,)


FORMS: dict[str, Form] = {
    "settle-event": (lambda f: (_refused(f),), lambda f: {"answer": "leave"}, LEADS),
    "settle-order": (lambda f: (f.orders[-1].pk,), lambda f: {"counts": "no"}, LEADS),
    "reassign-order": (lambda f: (f.orders[8].pk,), _reassign, LEADS),
    "decide-alert": (lambda f: (f.alert.pk,), lambda f: {"answer": "0", "n_answered": "1"}, LEADS),
    "free-order": (lambda f: (f.assigned.pk,), lambda f: {}, LEADS),
    "cancel-order": (lambda f: (f.orders[9].pk,), lambda f: {"reason": "ice"}, LEADS),
    "tell-order": (lambda f: (f.orders[9].pk, "done"), lambda f: {}, ALL),
    "call-in-sick": (lambda f: (f.worker.pk,), lambda f: {}, LEADS),
    "mark-here": (lambda f: (f.worker.pk,), lambda f: {}, LEADS),
    "milking-order": (
        lambda f: (),
        lambda f: {"pen": [pen.pk for pen in f.pens if pen.kind != "dry"][::-1]},
        LEADS,
    ),
    "end-milking": (
        lambda f: (f.parlor.milkings.get(state=MilkingState.STARTED).pk,),
        lambda f: {},
        LEADS,
    ),
    "make-roster": (lambda f: (), lambda f: {"from_on": "2026-03-09"}, LEADS),
    "publish-roster": (lambda f: (_first(f, RosterRun),), lambda f: {}, LEADS),
    "give-up-roster": (lambda f: (_first(f, RosterRun),), lambda f: {}, LEADS),
    "put-shift": (
        lambda f: (),
        lambda f: {
            "worker": f.worker.pk,
            "on": "2026-03-09",
            "pattern": f.worker.shifts.get().pattern_id,
        },
        LEADS,
    ),
    "say-wish": (
        lambda f: (),
        lambda f: {"worker": f.worker.pk, "on": "2026-03-09", "pattern": ""},
        LEADS,
    ),
    "ask-swap": (
        lambda f: (),
        lambda f: {"worker": f.spare.pk, "to": f.worker.pk, "on": "2026-03-06"},
        LEADS,
    ),
    "settle-swap": (
        lambda f: (_first(f, SwapRequest),),
        lambda f: {"answer": "yes", "asked_at": f.now.isoformat()},
        LEADS,
    ),
    "ask-year": (lambda f: (), lambda f: {"n_members": "2"}, LEADS),
    "stop-year": (lambda f: (_year(f, OutlookState.RUNNING),), lambda f: {}, LEADS),
    "resume-year": (lambda f: (_year(f, OutlookState.STOPPED),), lambda f: {}, LEADS),
    "ask-search": (lambda f: (), lambda f: {"seconds": "20"}, LEADS),
    "stop-search": (lambda f: (), lambda f: {}, LEADS),
    "foretell-day": (
        lambda f: (),
        lambda f: {
            "on": "2026-03-05",
            "tmin": "30",
            "tmax": "50",
            "chance": "20",
            "rain": "0.1",
            "source": "radio",
        },
        LEADS,
    ),
    "basin-level": (lambda f: (f.basins[0].pk,), lambda f: {"depth_m": "4.2"}, ALL),
    "basin-gate": (lambda f: (f.basins[0].pk,), lambda f: {}, LEADS),
    "basin-clean-out": (lambda f: (f.basins[0].pk,), lambda f: {"depth_m": "1 ft"}, LEADS),
    "basin-analysis": (lambda f: (f.basins[0].pk,), lambda f: ANALYSIS, LEADS),
    "field-application": (
        lambda f: (f.field.pk,),
        lambda f: {"basin": f.basins[0].pk, "applied_on": "2026-03-04", "mass": "24"},
        LEADS,
    ),
    "pairing-code": (lambda f: (f.worker.pk,), lambda f: {}, LEADS),
    "pairing-code-shared": (lambda f: (f.crew.pk,), lambda f: {}, LEADS),
    "calendar-link": (lambda f: (), lambda f: {"subject": f"worker-{f.spare.pk}"}, LEADS),
    "end-calendar": (lambda f: (f.calendar.pk,), lambda f: {}, LEADS),
    "give-pens": (lambda f: (), _give_pens, LEADS),
    "revoke-phone": (lambda f: (f.phone.pk,), lambda f: {}, LEADS),
    "moisture-test": (
        lambda f: (f.batches[Stage.DRYING][0].pk,),
        lambda f: {"moisture_pct": "5.5", "basis": "wb", "n_spots": "3"},
        ALL,
    ),
    "hold-batch": (
        lambda f: (f.batches[Stage.RELEASED][0].pk,),
        lambda f: {"reason": "smells"},
        LEADS,
    ),
    "batch-step": (lambda f: (f.batches[Stage.CURED][0].pk, "release"), lambda f: {}, LEADS),
    "sand-delivery": (
        lambda f: (),
        lambda f: {"place": f.pile_places[0].pk, "amount": "22", "moisture_pct": "4"},
        LEADS,
    ),
    "clear-hold": (lambda f: (_hold(f),), lambda f: {"note": "mended"}, SHOP),
    "add-reading": (lambda f: (f.machines[0].pk,), lambda f: {"meter_h": "999"}, ALL),
    "record-service": (lambda f: (f.machines[0].pk,), _service, SHOP),
    "start-repair": (lambda f: (f.machines[0].pk,), lambda f: {"cause": "tire flat"}, SHOP),
    "make-so": (
        lambda f: (),
        lambda f: {"what": "machine", "machine": f.machines[0].pk, "reason": "tire flat"},
        LEADS,
    ),
    "take-back": (_foretold_visit, lambda f: {}, LEADS),
    "end-repair": (
        lambda f: (Repair.objects.filter(machine=f.machines[1], down_until=None).get().pk,),
        lambda f: {"parts": "hose", "cost": "12"},
        SHOP,
    ),
    "close-defect": (
        lambda f: (Defect.objects.filter(machine=f.machines[0]).earliest("pk").pk,),
        lambda f: {},
        SHOP,
    ),
    "answer-problem": (
        lambda f: (Problem.objects.filter(site=f.site).earliest("pk").pk,),
        lambda f: {"answer": "straightened"},
        LEADS,
    ),
    "put-lock": (lambda f: (), lambda f: {"place": f.pens[0].pk, "what": "valve 3"}, ALL),
    "edit-standing-order": (lambda f: (f.rule.pk,), _edit, LEADS),
    "retire-standing-order": (
        lambda f: (f.rule.pk,),
        lambda f: {"version": f.rule.version},
        LEADS,
    ),
    "take-over-content": (
        lambda f: (f.scrape.pk,),
        lambda f: {"version": f.scrape.version},
        LEADS,
    ),
}
OF_THE_SITE = (
    "ask-year",
    "make-roster",
    "ask-search",
    "stop-search",
    "foretell-day",
)  # they name no row
NOT_FOR = [(name, role) for name, form in FORMS.items() for role in Role if role not in form[2]]


def send(client: Client, farm: Farm, name: str, slug: str = "ours", **other: Any) -> Any:
    """Send a form as a person does: good as it is, or with some fields other."""
    args, data, _roles = FORMS[name]
    return client.post(
        url(name, *args(farm), slug=slug),
        {**data(farm), **other},
        HTTP_REFERER=f"http://testserver{url('today')}",
    )


@pytest.mark.parametrize("name", FORMS)
def test_form_does_its_work_and_says_so(name: str, farm: Farm, client_of: ClientOf) -> None:
    client = client_of(FORMS[name][2][-1])
    client.get(url("today"))
    before = farm.fingerprint()

    response = send(client, farm, name)

    assert farm.fingerprint() != before
    shown = response
    if not name.startswith(("pairing-code", "calendar-link")):  # shown once, not by a reload
        assert response.status_code == 302
        shown = client.get(response["Location"].partition("#")[0])
        assert 'class="panel said" role="status">' in shown.content.decode()
    assert shown.status_code == 200


@pytest.mark.parametrize(("name", "role"), NOT_FOR)
def test_form_of_others_is_refused_and_changes_nothing(
    name: str, role: Role, farm: Farm, client_of: ClientOf
) -> None:
    client = client_of(role)
    client.get(url("today"))
    before = farm.fingerprint()

    response = send(client, farm, name)

    assert response.status_code == 403
    assert "Your role on this site does not allow this." in words(response)
    assert farm.fingerprint() == before


@pytest.mark.parametrize("name", FORMS)
def test_strangers_form_finds_nothing(name: str, farm: Farm, stranger: Client) -> None:
    before = farm.fingerprint()

    assert send(stranger, farm, name).status_code == 404
    assert farm.fingerprint() == before


@pytest.mark.parametrize("name", [name for name in FORMS if name not in OF_THE_SITE])
def test_rows_of_another_farm_are_not_found_from_ours(
    name: str, farm: Farm, stranger: Client
) -> None:
    """The stranger's own farm, our rows: refused as not found, whatever the form."""
    before = farm.fingerprint()

    response = send(stranger, farm, name, slug="theirs")

    assert response.status_code in (404, 422)
    assert farm.fingerprint() == before


@pytest.mark.parametrize("name", FORMS)
def test_form_is_never_read_by_looking_at_it(name: str, farm: Farm, manager: Client) -> None:
    args = FORMS[name][0](farm)

    assert manager.get(url(name, *args)).status_code == 405


LONG = "x" * 301
BAD: list[tuple[str, dict[str, object], int, str]] = [
    ("reassign-order", {"worker": []}, 400, "Choose at least one: People."),
    ("reassign-order", {"worker": ["1; drop"]}, 400, "Choose at least one: People."),
    ("reassign-order", {"machine": "x"}, 400, "Choose Machine from the list."),
    ("reassign-order", {"starts": "25:00"}, 400, "Start must be a day from the list"),
    ("reassign-order", {"version": "99"}, 412, "changed"),
    ("cancel-order", {"reason": "  "}, 400, "Reason is needed."),
    ("cancel-order", {"reason": LONG}, 400, "Reason is too long: at most 300 signs."),
    ("give-pens", {"pen": []}, 400, "Choose at least one: Pens."),
    ("give-pens", {"crew": ""}, 400, "Choose Crew from the list."),
    ("give-pens", {"crew": "9" * 19}, 400, "Choose Crew from the list."),
    ("give-pens", {"pen": ["999999"]}, 404, ""),
    ("sand-delivery", {"amount": "two"}, 400, "Dry mass: two is no load of sand."),
    ("sand-delivery", {"amount": "-3"}, 400, "Dry mass: -3 is no load of sand."),
    ("sand-delivery", {"amount": "3 h"}, 400, "Dry mass: 3 h is no load of sand."),
    ("sand-delivery", {"amount": "1.250"}, 400, "could be meant in two ways"),
    ("sand-delivery", {"place": "x"}, 400, "Choose Pile from the list."),
    ("moisture-test", {"moisture_pct": "wet"}, 400, "Moisture, %: wet is no number."),
    ("moisture-test", {"moisture_pct": "1.250"}, 400, "could be meant in two ways"),
    ("moisture-test", {"moisture_pct": "12,5"}, 400, "could be meant in two ways"),
    ("moisture-test", {"moisture_pct": "250"}, 400, "Moisture, %: 250 is above 90."),
    ("moisture-test", {"n_spots": "2.5"}, 400, "Spots must be a whole number."),
    ("hold-batch", {"reason": ""}, 400, "Reason is needed."),
    ("add-reading", {"meter_h": ""}, 400, "Hours is needed."),
    ("add-reading", {"meter_h": "-5"}, 400, "Hours: -5 is below 0."),
    ("add-reading", {"meter_h": "900000"}, 400, "Hours: 900000 is above 200,000."),
    ("add-reading", {"meter_h": "12"}, 422, "12"),
    ("add-reading", {"meter_h": "1e3"}, 400, "Hours: 1e3 is no number."),
    ("record-service", {"item": "x"}, 400, "Choose Service from the list."),
    ("record-service", {"cost": "-5"}, 400, "Cost must be an amount, as in 180.50."),
    ("record-service", {"cost": "12,5"}, 400, "Cost must be an amount, as in 180.50."),
    ("record-service", {"minutes": "half"}, 400, "Minutes: half is no number."),
    ("record-service", {"minutes": "100000"}, 400, "Minutes: 100000 is above 10,000."),
    ("make-roster", {"from_on": "soon"}, 400, "First day must be a day, as in 2026-03-09."),
    ("make-roster", {"from_on": "2026-02-02"}, 422, "Give a first day from today on"),
    ("make-roster", {"from_on": "9999-12-31"}, 422, "Give a date from today until 60 days ahead."),
    ("settle-swap", {"asked_at": ""}, 400, "Open the roster page again and answer there."),
    ("settle-swap", {"asked_at": "2026-03-04T16:00"}, 400, "Open the roster page again"),
    ("settle-swap", {"asked_at": "2026-03-04T15:00Z"}, 422, "asked for anew in the meantime"),
    ("put-shift", {"worker": "x"}, 400, "Choose Person from the list."),
    ("put-shift", {"pattern": "9" * 12}, 404, "There is no such shift here."),
    ("put-shift", {"on": ""}, 400, "Day must be a day, as in 2026-03-09."),
    ("put-shift", {"on": "2027-03-09"}, 422, "Give a date from today until 60 days ahead."),
    ("say-wish", {"worker": "x"}, 400, "Choose Person from the list."),
    ("say-wish", {"pattern": "9" * 12}, 404, "There is no such shift here."),
    ("say-wish", {"on": "2026-02-02"}, 422, "Give a date from today until 60 days ahead."),
    ("ask-swap", {"to": ""}, 400, "Choose Who takes it from the list."),
    ("ask-swap", {"on": "2026-03-08"}, 422, "is not there any more, or has begun"),
    ("ask-swap", {"for": "2026-13-40"}, 400, "For the shift of must be a day"),
    ("ask-year", {"n_members": "2.5"}, 400, "Possible years must be a whole number."),
    ("ask-year", {"n_members": "1"}, 400, "Possible years: 1 is below 2."),
    ("ask-year", {"turns_per_d": "1.4"}, 400, "Turns a day must be a whole number."),
    ("ask-year", {"without_pad": "no\x00where"}, 404, "no pad nowhere here"),
    ("ask-search", {"seconds": "soon"}, 400, "Seconds: soon is no number."),
    ("ask-search", {"seconds": "0"}, 400, "Seconds: 0 is below 1."),
    ("ask-search", {"seconds": "601"}, 400, "Seconds: 601 is above 600."),
    ("start-repair", {"cause": "\x00 "}, 400, "Why is needed."),
    ("start-repair", {"substitute": "x"}, 400, "Choose Stand-in from the list."),
    ("answer-problem", {"answer": ""}, 400, "What was done about it is needed."),
    ("put-lock", {"place": "nowhere"}, 400, "Choose Place from the list."),
    ("put-lock", {"what": "x" * 201}, 400, "What is locked is too long: at most 200 signs."),
    ("edit-standing-order", {"priority": "12"}, 400, "Priority: 12 is above 9."),
    ("edit-standing-order", {"n_people": "0"}, 400, "People: 0 is below 1."),
    ("edit-standing-order", {"base_min": "-3"}, 400, "Minutes, each time: -3 is below 0."),
    ("edit-standing-order", {"base_min": "long"}, 400, "Minutes, each time: long is no number."),
    ("edit-standing-order", {"version": "77"}, 412, "Read it again"),
    ("retire-standing-order", {"version": ""}, 400, "Version is needed."),
    ("take-over-content", {"version": "77"}, 412, "Read it again"),
]


@pytest.mark.parametrize(("name", "other", "status", "message"), BAD)
def test_bad_input_is_told_and_changes_nothing(
    name: str, other: dict[str, Any], status: int, message: str, farm: Farm, manager: Client
) -> None:
    manager.get(url("today"))
    before = farm.fingerprint()

    response = send(manager, farm, name, **other)

    assert response.status_code == status
    said = words(response)
    assert "Not done" in said
    assert "Nothing was changed." in said
    assert message in said
    assert farm.fingerprint() == before


def test_refusal_leads_back_to_where_the_person_was(farm: Farm, manager: Client) -> None:
    response = send(manager, farm, "cancel-order", reason="")

    assert f'href="http://testserver{url("today")}"' in response.content.decode()


def test_unknown_step_of_a_batch_is_not_found(farm: Farm, manager: Client) -> None:
    batch = farm.batches[Stage.DRYING][0]

    assert manager.post(url("batch-step", batch.pk, "sing")).status_code == 404


# What the forms did ------------------------------------------------------------------------------


def test_reassigned_work_stands_in_the_plan_at_the_farms_time(farm: Farm, manager: Client) -> None:
    send(manager, farm, "reassign-order")

    given = Assignment.objects.get(work_order=farm.orders[8])
    assert given.is_by_hand
    assert given.starts_at.isoformat() == "2026-03-04T17:00:00+00:00"  # 10:00 in Denver, UTC-7


def test_freed_work_has_nobody(farm: Farm, manager: Client) -> None:
    send(manager, farm, "free-order")

    assert not Assignment.objects.filter(work_order=farm.assigned).exists()


@pytest.mark.parametrize(
    ("said", "data", "outcome"),
    [
        ("done", {}, Outcome.DONE),
        ("part", {"n_left": "12"}, Outcome.PART),
        ("could_not", {"reason": "ice"}, Outcome.COULD_NOT),
    ],
)
def test_lead_tells_for_a_crew_without_a_phone(
    said: str, data: dict[str, str], outcome: Outcome, farm: Farm, manager: Client
) -> None:
    order = farm.orders[9]

    manager.post(url("tell-order", order.pk, said), data)

    assert WorkOrder.objects.get(pk=order.pk).outcome == outcome
    page = manager.get(url("work-order", order.pk))
    words_of = {
        "done": "Done",
        "part": "Part done · 12 stalls left",
        "could_not": "Could not · ice",
    }
    assert f"ago · Manager-Ours · {words_of[said]}" in section(page, "say-h") or words_of[
        said
    ] in words(page)


def test_started_work_is_under_way(farm: Farm, worker: Client) -> None:
    worker.post(url("tell-order", farm.orders[9].pk, "start"))

    assert WorkOrder.objects.get(pk=farm.orders[9].pk).status == Status.IN_PROCESS


def test_sick_person_is_away_and_here_one_is_here(farm: Farm, manager: Client) -> None:
    send(manager, farm, "mark-here")
    assert Shift.objects.get(worker=farm.worker).presence == Presence.HERE

    send(manager, farm, "call-in-sick")

    assert Shift.objects.get(worker=farm.worker).presence == Presence.SICK
    assert "1 called in sick." in words(manager.get(url("crew")))


def test_crew_has_the_pens_it_was_put_on(farm: Farm, manager: Client) -> None:
    send(manager, farm, "give-pens")

    given = CrewPens.objects.get(site=farm.site, pen=farm.pens[1])
    assert (given.crew, given.local_date) == (farm.crew, NOW.date())


def test_pairing_code_is_shown_once_with_where_to_type_it(farm: Farm, manager: Client) -> None:
    response = send(manager, farm, "pairing-code")

    said = words(response)
    where = "open http://testserver/phone/ on the phone and type this code."
    assert f"{where} It works once, until 9:10 am." in said
    assert re.fullmatch(r"[0-9A-Z]{4}-[0-9A-Z]{4}", section(response, "pairing-code"))


@pytest.mark.parametrize("name", ["pairing-code", "pairing-code-shared"])
def test_picture_of_the_code_leads_the_phones_camera_to_it(
    farm: Farm, manager: Client, name: str
) -> None:
    response = send(manager, farm, name)

    code = section(response, "pairing-code").replace("-", "")
    picture = segno.make(f"http://testserver/phone/#code={code}", error="m")
    drawn = re.findall(r' d="([^"]+)"', response.content.decode())
    [expected] = re.findall(r' d="([^"]+)"', picture.svg_inline())
    assert expected in drawn


def test_code_of_a_crew_pairs_a_phone_that_it_shares(farm: Farm, manager: Client) -> None:
    code = section(send(manager, farm, "pairing-code-shared"), "pairing-code")

    device, _token = pair(code=code, address="192.0.2.1", at=NOW)  # RFC 5737: documentation

    assert (device.crew, device.worker) == (farm.crew, None)
    assert "One (shared)" in words(manager.get(url("crew")))


def test_revoked_phone_has_no_access(farm: Farm, manager: Client) -> None:
    send(manager, farm, "revoke-phone")

    assert Device.objects.get(pk=farm.phone.pk).revoked_at is not None


def test_moisture_in_per_cent_is_kept_as_a_share(farm: Farm, manager: Client) -> None:
    send(manager, farm, "moisture-test")

    test = MoistureTest.objects.filter(batch=farm.batches[Stage.DRYING][0]).latest("pk")
    assert test.moisture_wb_frac == pytest.approx(0.055)


def test_service_says_what_comes_next(farm: Farm, manager: Client) -> None:
    response = send(manager, farm, "record-service")

    assert ServiceRecord.objects.filter(meter_h=999).get().minutes == 45
    page = manager.get(response["Location"].partition("#")[0])
    assert "The service is saved. Next: 250 h" in words(page)


def test_released_batch_is_released_by_the_person(farm: Farm, manager: Client) -> None:
    send(manager, farm, "batch-step")

    batch = farm.batches[Stage.CURED][0]
    batch.refresh_from_db()
    assert batch.stage == Stage.RELEASED
    assert batch.released_by == Actor.objects.get(site=farm.site, user__username="manager-ours")


def test_answered_problem_leaves_the_list(farm: Farm, manager: Client) -> None:
    send(manager, farm, "answer-problem")

    assert manager.get(url("today")).content.decode().count('name="answer"') == 1


def test_own_lock_comes_off_and_anothers_only_with_the_procedure(
    farm: Farm, worker: Client, client_of: ClientOf
) -> None:
    worker.post(url("put-lock"), {"place": farm.pens[0].pk, "what": "valve 3"})
    mine = Lock.objects.get(site=farm.site, what="valve 3")
    theirs = Lock.objects.filter(site=farm.site, owner=farm.manager.actor).get()

    assert worker.post(url("take-off-lock", mine.pk)).status_code == 302
    refused = worker.post(url("take-off-lock", theirs.pk))
    assert (refused.status_code, "This lock is Max's." in words(refused)) == (403, True)
    lead = client_of(Role.LEAD)
    assert lead.post(url("take-off-lock", theirs.pk), {"note": " "}).status_code == 422
    assert Lock.objects.get(pk=theirs.pk).off_at is None
    lead.post(url("take-off-lock", theirs.pk), {"note": "Max is at home, told, all clear"})
    assert Lock.objects.get(pk=theirs.pk).off_by == Actor.objects.get(
        site=farm.site, user__username="lead-ours"
    )


def test_every_address_of_the_desk_is_tested_as_a_page_or_as_a_form() -> None:
    others = {"begin", "sign-in", "sign-out", "set-language", "site-news", "day-sheet"}
    others |= {"week-sheet", "pad-sheet", "service-sheet"}  # test_paper.py
    others |= {"record-pdf", "record-csv"}  # records/test_asked.py
    others |= {f"set-up-{name}" for name in ("file", "load", "section", "new", "paste", "entry")}
    others |= {"undo-edit"}  # test_set_up.py, test_set_up_many.py
    others |= {"look-back-pens", "look-back-weeks"}  # tables: test_look_back.py
    named = {pattern.name for pattern in (*urlpatterns, *late_urlpatterns)}

    assert named == FORMS.keys() | set(PAGES) | others | {"work-order", "take-off-lock"}
