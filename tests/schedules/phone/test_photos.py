"""Photos and voice notes: told of from a phone, carried with what they are about."""

import uuid
from typing import Any

import pytest

from crews.devices.auth import Phone
from equipment.attachments.models import Attached, Attachment, SubjectKind
from equipment.attachments.services import attach
from schedules.phone.documents import Look
from schedules.phone.documents_work import work_documents
from schedules.phone.intake import Told, take_events
from schedules.work.models import WorkOrder
from tests.factories import make_standing_order, make_work_order
from tests.farm import Farm

pytestmark = pytest.mark.django_db


def tell_problem(farm: Farm, **payload: Any) -> dict[str, Any]:
    caller = Phone(farm.phone).caller_on(farm.slug)
    assert caller is not None
    told = {"text": "Bent", **payload}
    event = Told(uuid.uuid4(), "problem", told, farm.now, farm.phone.last_seq + 1)
    [answer] = take_events(caller=caller, events=[event], received_at=farm.now)
    assert answer.state == "applied", answer
    return answer.result or {}


def shown(farm: Farm, key: str) -> list[str]:
    documents = work_documents(Look(farm.site, farm.now))
    [ids] = {tuple(d.body["attachments"]) for d in documents if (d.kind, d.key) == ("problem", key)}
    return list(ids)


@pytest.mark.parametrize("is_of_machine", [False, True])
def test_problem_carries_its_photos_once_they_are_here(farm: Farm, is_of_machine: bool) -> None:
    here, coming = farm.attachment.pk, uuid.uuid4()
    machine = farm.machines[0].pk if is_of_machine else None

    said = tell_problem(farm, machine=machine, attachments=[f"{coming}", f"{here}"])

    [(kind, number)] = said.items()
    told = Attached.objects.filter(subject_kind=kind, subject_id=number)
    assert set(told.values_list("attachment_id", flat=True)) == {here, coming}
    key = f"defect-{number}" if is_of_machine else f"{number}"
    assert shown(farm, key) == [f"{here}"]

    Attachment.objects.filter(pk=here).update(id=coming)

    assert shown(farm, key) == [f"{coming}"]


def picture(farm: Farm) -> str:
    documents = work_documents(Look(farm.site, farm.now))
    key = f"{farm.assigned.pk}"
    [found] = {d.body["picture"] for d in documents if (d.kind, d.key) == ("job", key)}
    return str(found)


def photo_of(farm: Farm, kind: SubjectKind, number: int, media: str = "photo") -> str:
    """Put a photo, or a voice note, on something."""
    is_photo = media == "photo"
    made = Attachment.objects.create(
        site=farm.site,
        id=uuid.uuid4(),
        actor=farm.worker.actor,
        kind=media,
        sent_sha256="0" * 64,
        sha256="0" * 64,
        n_bytes=1,
        width=4 if is_photo else None,
        height=3 if is_photo else None,
        seconds=None if is_photo else 1,
        received_at=farm.now,
    )
    attach(attachment_ids=[made.pk], subject_kind=kind, subject_id=number, **farm.who())
    return str(made.pk)


def test_job_carries_the_newest_photo_of_its_place_or_of_the_same_work_there(farm: Farm) -> None:
    job = farm.assigned
    job.standing_order = make_standing_order(farm.site, "rake")
    job.save()

    def work(key: str, **facts: Any) -> WorkOrder:
        return make_work_order(farm.site, key, **{"place": job.place, **facts})

    same = work("same", standing_order=job.standing_order)
    others = [
        work("other work", standing_order=make_standing_order(farm.site, "other")),
        work("other place", standing_order=job.standing_order, place=farm.pens[1].place),
        work("of no rule", standing_order=None),
    ]
    assert picture(farm) == ""

    for order in others:
        photo_of(farm, SubjectKind.WORK_ORDER, order.pk)
    assert picture(farm) == ""
    for kind, number in (
        (SubjectKind.WORK_ORDER, same.pk),
        (SubjectKind.PLACE, job.place_id),
        (SubjectKind.WORK_ORDER, job.pk),
    ):
        newest = photo_of(farm, kind, number)
        photo_of(farm, kind, number, "voice")
        assert picture(farm) == newest
