"""Photos, services, handovers and walk-rounds, told from a phone and carried by phones."""

import uuid
from typing import Any

import pytest

from crews.devices.auth import Phone
from crews.people.models import Worker
from equipment.attachments.models import Attached, SubjectKind
from equipment.machines.models import Defect, ServiceItem, ServiceRecord
from equipment.site.models import Role
from schedules.handover.models import Handover
from schedules.phone.documents import Look
from schedules.phone.documents_more import more_documents
from schedules.phone.intake import Answer, Told, take_events
from schedules.work.models import Problem
from tests.factories import make_phone, make_worker
from tests.farm import Farm

pytestmark = pytest.mark.django_db


def tell(farm: Farm, worker: Worker, kind: str, /, **payload: Any) -> Answer:
    """Tell one event from a phone paired just now."""
    phone, _token = make_phone(worker, farm.now)
    caller = Phone(phone).caller_on(farm.slug)
    assert caller is not None
    event = Told(uuid.uuid4(), kind, payload, farm.now, 1)
    [answer] = take_events(caller=caller, events=[event], received_at=farm.now)
    return answer


def result(answer: Answer) -> dict[str, Any]:
    assert answer.state == "applied", answer
    return answer.result or {}


# Photos -----------------------------------------------------------------------------------------


def test_photo_is_about_one_thing_of_the_site(farm: Farm) -> None:
    theirs = Farm("theirs")
    subjects: dict[str, Any] = {
        "work_order": (farm.orders[0], theirs.orders[0]),
        "machine": (farm.machines[0], theirs.machines[0]),
        "place": (farm.lane.place, theirs.lane.place),
        "problem": tuple(Problem.objects.filter(site=f.site)[0] for f in (farm, theirs)),
        "defect": tuple(Defect.objects.filter(site=f.site)[0] for f in (farm, theirs)),
    }
    for name, (ours, foreign) in subjects.items():
        id_ = f"{uuid.uuid4()}"
        result(tell(farm, farm.worker, "photo", attachment=id_, **{name: ours.pk}))
        told = Attached.objects.get(attachment_id=id_)
        assert (told.subject_kind, told.subject_id) == (SubjectKind(name), ours.pk)

        refused = tell(farm, farm.worker, "photo", attachment=id_, **{name: foreign.pk})
        assert (refused.state, refused.code) == ("refused", "not_found"), name


@pytest.mark.parametrize("more", [{}, {"machine": 1, "place": 1}, {"cow": 1}])
def test_photo_of_nothing_or_of_two_things_is_refused(farm: Farm, more: dict[str, int]) -> None:
    refused = tell(farm, farm.worker, "photo", attachment=f"{uuid.uuid4()}", **more)

    assert (refused.state, refused.code) == ("refused", "invalid")


def test_problem_has_its_photos(farm: Farm) -> None:
    id_ = f"{uuid.uuid4()}"

    said = result(tell(farm, farm.worker, "problem", text="Bent", attachments=[id_]))
    on_machine = {"text": "Bent", "machine": farm.machines[0].pk, "attachments": [id_]}
    broken = result(tell(farm, farm.worker, "problem", **on_machine))

    told = Attached.objects.filter(attachment_id=id_).values_list("subject_kind", "subject_id")
    assert set(told) == {("problem", said["problem"]), ("defect", broken["defect"])}


# Services ---------------------------------------------------------------------------------------


def service(farm: Farm, **more: Any) -> dict[str, Any]:
    item = ServiceItem.objects.get(site=farm.site)
    usual = {"machine": farm.machines[0].pk, "item": item.pk, "meter_h": 998.5, "minutes": 50}
    return {**usual, "parts": "filter", **more}


def test_service_is_recorded_with_its_reading_by_the_shop_alone(farm: Farm) -> None:
    refused = tell(farm, farm.worker, "service", **service(farm))
    assert (refused.state, refused.code) == ("refused", "forbidden")

    mia = make_worker(farm.site, "mia", role=Role.MECHANIC)
    said = result(tell(farm, mia, "service", **service(farm)))

    record = ServiceRecord.objects.get(pk=said["service"])
    assert (record.meter_h, record.minutes, record.parts) == (998.5, 50, "filter")
    assert (record.by, record.done_at) == (mia.actor, farm.now)
    assert said["left_h"] == 250


def test_service_with_an_odd_reading_wants_a_reason(farm: Farm) -> None:
    odd = tell(farm, farm.manager, "service", **service(farm, meter_h=3))
    assert (odd.state, odd.code) == ("refused", "reading_questioned")

    assert tell(farm, farm.manager, "service", **service(farm, meter_h=3, reason="new")).state == (
        "applied"
    )


# Handover and walk-round ------------------------------------------------------------------------


def carried(farm: Farm, kind: str) -> list[Any]:
    found = more_documents(Look(farm.site, farm.now))
    return [document for document in found if document.kind == kind]


def test_lead_hands_over_and_the_next_takes_it(farm: Farm) -> None:
    boxes = {"left": ["Pen 3"], "first": ["Lanes"], "safety": ["Ice"]}
    made = result(tell(farm, farm.manager, "hand_over", crew=farm.crew.pk, **boxes))

    [document] = carried(farm, "handover")
    assert (document.scope, document.key) == (f"crew-{farm.crew.pk}", f"{farm.crew.pk}")
    assert document.body["id"] == made["handover"]
    assert [item["text"] for item in document.body["safety"]] == ["Loose rail", "Ice"]

    lead = make_worker(farm.site, "lea", role=Role.LEAD)
    taken = result(tell(farm, lead, "take_handover", handover=made["handover"]))

    assert taken == {"taken_by": "Lea"}
    assert Handover.objects.get(pk=made["handover"]).event is not None


@pytest.mark.parametrize(
    ("kind", "payload"),
    [("hand_over", {"crew": 1}), ("take_handover", {"handover": 1})],
)
def test_worker_neither_hands_over_nor_takes(
    farm: Farm, kind: str, payload: dict[str, Any]
) -> None:
    refused = tell(farm, farm.worker, kind, **payload)

    assert (refused.state, refused.code) == ("refused", "forbidden")


def test_walk_tells_of_what_is_not_well_with_its_photo(farm: Farm) -> None:
    line = farm.walk_line
    [document] = carried(farm, "walk_line")
    assert (document.scope, document.key) == ("site", f"{line.pk}")
    id_ = f"{uuid.uuid4()}"

    well = result(tell(farm, farm.manager, "walk", line=line.pk, ok=True))
    bad = {"line": line.pk, "ok": False, "text": "Bent", "attachments": [id_]}
    found = result(tell(farm, farm.manager, "walk", **bad))

    assert well == {"problem": None}
    problem = Problem.objects.get(pk=found["problem"])
    assert problem.text.endswith("El agua corre. Bent")  # as the teller speaks
    assert Attached.objects.get(attachment_id=id_).subject_id == problem.pk
