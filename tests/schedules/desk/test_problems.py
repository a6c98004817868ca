"""Problems: what was reported stands until it is answered, in one tap, by those who may."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.test import Client

from equipment.attachments.models import Attached, Attachment, SubjectKind
from equipment.machines.models import Defect
from equipment.machines.services import report_defect
from equipment.site.models import Language, Role
from schedules.work.models import Problem
from schedules.work.progress import report_problem
from tests.farm import Farm

from .conftest import NOW, ClientOf
from .reading import section, url, words

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)


@pytest.fixture
def bare(farm: Farm) -> Farm:
    """The farm with all that was reported answered."""
    Attached.objects.filter(site=farm.site).delete()
    Problem.objects.filter(site=farm.site).delete()
    Defect.objects.filter(site=farm.site).delete()
    return farm


def report(farm: Farm, text: str, hours: float, **facts: Any) -> Problem:
    who = {"site_id": farm.site.pk, "by": farm.worker.actor, "at": NOW - hours * HOUR}
    return report_problem(place_id=farm.lane.pk, text=text, **{**who, **facts})


def test_oldest_stands_first_whether_of_a_place_or_a_machine(bare: Farm, manager: Client) -> None:
    young = report(bare, "hose split", 1)
    old = report(bare, "barra floja", 30, is_safety=True)
    middle = report_defect(
        site_id=bare.site.pk,
        machine_id=bare.machines[0].pk,
        text="seat torn",
        is_safety=False,
        by=bare.worker.actor,
        at=NOW - 5 * HOUR,
    )

    response = manager.get(url("problems"))

    html = response.content.decode()
    keys = [f'id="problem-{old.pk}"', f'id="defect-{middle.pk}"', f'id="problem-{young.pk}"']
    assert sorted(keys, key=html.index) == keys
    assert "3 reports have no answer. 1 is about safety. The oldest waits since Tue 3 Mar" in words(
        response
    )
    said = section(response, f"problem-{old.pk}")
    assert said.startswith("Sand lane lane-1 Safety barra floja Ana · Tue 3 Mar 3:00 am")


def test_words_are_the_tellers_own_in_their_language(bare: Farm, manager: Client) -> None:
    bare.worker.language = Language.SPANISH
    bare.worker.save()
    report(bare, "barra floja", 2)

    assert '<q lang="es">barra floja</q>' in manager.get(url("problems")).content.decode()


def test_photo_stands_with_its_problem(bare: Farm, manager: Client) -> None:
    problem = report(bare, "hose split", 2)
    photo = Attachment.objects.filter(site=bare.site, kind="photo").first()
    assert photo is not None
    Attached.objects.create(
        site=bare.site,
        attachment_id=photo.pk,
        subject_kind=SubjectKind.PROBLEM,
        subject_id=problem.pk,
        by=bare.worker.actor,
        at=NOW,
    )

    html = manager.get(url("problems")).content.decode()

    assert f'alt="Photo: {problem.text}"' in html
    assert str(photo.pk) in html


def test_one_tap_answers_and_comes_back_to_the_page(bare: Farm, manager: Client) -> None:
    problem = report(bare, "hose split", 2)
    page = manager.get(url("problems")).content.decode()
    assert '<button name="answer" value="We put it right today">' in page

    response = manager.post(
        url("answer-problem", problem.pk), {"answer": "It is in the plan", "back": "problems"}
    )

    assert response["Location"] == url("problems")
    problem.refresh_from_db()
    assert (problem.answer, problem.answered_at) == ("It is in the plan", NOW)
    assert "Nothing reported is without an answer." in words(manager.get(url("problems")))


def test_defect_put_right_comes_back_to_the_page(farm: Farm, client_of: ClientOf) -> None:
    defect = Defect.objects.filter(site=farm.site, closed_at=None).earliest("pk")
    mechanic = client_of(Role.MECHANIC)

    response = mechanic.post(url("close-defect", defect.pk), {"back": "problems"})

    assert response["Location"] == url("problems")
    assert f"defect-{defect.pk}" not in mechanic.get(url("problems")).content.decode()


@pytest.mark.parametrize(
    ("role", "problem", "defect"),
    [
        (Role.MANAGER, True, True),
        (Role.LEAD, True, True),
        (Role.MECHANIC, False, True),
        (Role.WORKER, False, False),
    ],
)
def test_all_read_and_each_is_offered_what_they_may_answer(
    role: Role, problem: bool, defect: bool, farm: Farm, client_of: ClientOf
) -> None:
    html = client_of(role).get(url("problems")).content.decode()

    assert "gate bent" in html
    assert "seat torn" in html
    assert ('name="answer"' in html) is problem
    assert ("/defects/" in html) is defect


def test_worker_answers_nothing_by_force(farm: Farm, worker: Client) -> None:
    problem = Problem.objects.filter(site=farm.site).earliest("pk")

    response = worker.post(
        url("answer-problem", problem.pk), {"answer": "done", "back": "problems"}
    )

    assert response.status_code == 403
    problem.refresh_from_db()
    assert problem.answered_at is None


def test_page_shows_the_oldest_and_says_how_many_there_are(bare: Farm, manager: Client) -> None:
    for n in range(52):
        report(bare, f"hose {n}", 60 - n)

    response = manager.get(url("problems"))

    assert "The first 50 of 52." in words(response)
    assert "hose 49" in words(response)
    assert "hose 50" not in words(response)
