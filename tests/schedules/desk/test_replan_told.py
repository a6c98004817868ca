"""Replan: what was tried is told in earnest; who may, and what is typed wrong."""

from __future__ import annotations

from datetime import timedelta
from typing import Any
from urllib.parse import urlencode

import pytest
import time_machine
from django.conf import settings
from django.test import Client

from crews.people.models import Worker
from crews.roster.models import Presence, Shift
from crews.roster.services import call_in_sick
from equipment.machines.models import Repair
from equipment.site.errors import NotFoundError
from equipment.site.models import Hold, HoldSubject, Role, Site
from schedules.dayplan.disturbances import (
    MachineOut,
)
from schedules.rounds.models import PenVisit
from tests.factories import (
    make_machine,
    make_shift,
    make_site,
)

from .conftest import NOW
from .dawn import HOUR, MINUTE, Dawn, after, client_as, everything, follow, tried
from .reading import section, url, words

pytestmark = pytest.mark.django_db
TOMORROW = NOW.date() + timedelta(days=1)
MOST_QUERIES = 25  # of the page without its trial, as of each


@pytest.fixture
def dawn(db: None) -> Dawn:
    return Dawn()


def _send(page: Any, client: Client, **other: Any) -> Any:
    """Press the button of a trial: send what its form holds."""
    asked = page.context["asked"]
    reason = {"reason": asked.reason} if asked.reason else {}
    return client.post(
        url("make-so", slug="dawn"), {"what": asked.what, **asked.sent, **reason, **other}
    )


@pytest.mark.parametrize("kind", ["machine", "person", "pen"])
def test_make_it_so_tells_it_and_leads_to_the_plan(kind: str, dawn: Dawn) -> None:
    client = client_as(Role.LEAD)
    before, trial = dawn.has(), dawn.try_it(dawn.deed(kind))
    page = tried(dawn, kind, client)

    answer = _send(page, client)

    assert (answer.status_code, answer["Location"]) == (302, url("plan", slug="dawn"))
    assert "The plan changes within seconds." in words(client.get(answer["Location"]))
    follow()
    assert dawn.has() == after(trial, before)


BUTTONS = {
    "visit": "Expect it so late",
    "machine": "Take out of use",
    "person": "Mark as sick",
    "pen": "Close it",
}


@pytest.mark.parametrize(("kind", "button"), BUTTONS.items())
def test_the_button_says_what_it_does(kind: str, button: str, dawn: Dawn) -> None:
    assert f"<button>{button}</button>" in tried(dawn, kind).content.decode()


def test_a_visit_that_should_have_been_called_is_expected_so_long_from_now(dawn: Dawn) -> None:
    client, visit = client_as(), dawn.visit
    PenVisit.objects.filter(pk=visit.pk).update(called_at=NOW - 30 * MINUTE)
    page = tried(dawn, "visit", client, minutes="30")

    assert _send(page, client).status_code == 302

    visit.refresh_from_db()
    assert visit.foretold == {"called": (NOW + 30 * MINUTE).isoformat()}
    assert visit.actual == {}


def test_a_late_visit_told_when_its_time_has_passed_is_no_report(
    dawn: Dawn, clock: time_machine.Traveller
) -> None:
    client = client_as()
    page = tried(dawn, "visit", client, minutes="25")
    clock.move_to(dawn.visit.called_at + 26 * MINUTE)
    client.get(url("plan", slug="dawn"))
    before = everything()

    answer = _send(page, client)

    assert answer.status_code == 422
    assert "This time has passed. Report the moment when it has come." in words(answer)
    assert everything() == before


def test_a_person_is_marked_sick_for_the_shift_that_was_tried(dawn: Dawn) -> None:
    """Another of the same person's runs before it, and is sick already."""
    client, running = client_as(), Shift.objects.get(worker_id=dawn.busy)
    worker = Worker.objects.get(pk=dawn.busy)
    call_in_sick(site_id=dawn.site.pk, worker_id=worker.pk, at=NOW)
    following = make_shift(worker, running.ends_at + HOUR, local_date=TOMORROW)
    page = tried(dawn, "person", client)
    assert f"{worker.name} is sick for the shift" in words(page)

    assert _send(page, client).status_code == 302

    following.refresh_from_db()
    assert following.presence == Presence.SICK


def test_a_shift_that_is_over_when_it_is_told_leaves_the_next_one_be(dawn: Dawn) -> None:
    client, shift = client_as(), Shift.objects.get(worker_id=dawn.busy)
    page = tried(dawn, "person", client)
    Shift.objects.filter(pk=shift.pk).update(ends_at=NOW)
    following = make_shift(shift.worker, NOW + HOUR, local_date=TOMORROW)

    answer = _send(page, client)

    assert answer.status_code == 412
    assert "That shift is over or was changed. Try it again." in words(answer)
    following.refresh_from_db()
    assert following.presence == Presence.EXPECTED


def test_a_visit_that_lies_ahead_is_foretold_and_taken_back(dawn: Dawn) -> None:
    client, visit = client_as(), dawn.visit
    was = visit.called_at
    page = tried(dawn, "visit", client, minutes="25")

    assert _send(page, client).status_code == 302

    visit.refresh_from_db()
    assert visit.foretold == {"called": (was + 25 * MINUTE).isoformat()}
    assert visit.called_at == was + 25 * MINUTE
    shown = client.get(url("replan", slug="dawn"))
    assert section(shown, "foretold-h") == "Expected late"
    assert "“called” is expected at" in words(shown)

    answer = client.post(url("take-back", visit.pk, slug="dawn"))

    assert answer.status_code == 302
    visit.refresh_from_db()
    assert (visit.foretold, visit.called_at) == ({}, was)


def test_a_visit_timed_anew_since_is_not_told_by_an_old_trial(dawn: Dawn) -> None:
    client, visit = client_as(), dawn.visit
    PenVisit.objects.filter(pk=visit.pk).update(called_at=NOW - 30 * MINUTE)
    page = tried(dawn, "visit", client, minutes="30")
    PenVisit.objects.filter(pk=visit.pk).update(called_at=NOW - 20 * MINUTE)

    answer = _send(page, client)

    assert answer.status_code == 412
    assert "This visit was timed anew since it was tried. Try it again." in words(answer)
    visit.refresh_from_db()
    assert visit.actual == {}


def test_a_machine_gone_since_is_refused(dawn: Dawn) -> None:
    client = client_as()
    page = tried(dawn, "machine", client)
    assert _send(page, client).status_code == 302

    assert _send(page, client).status_code == 422
    assert Repair.objects.filter(site=dawn.site).count() == 1


def test_a_closed_pen_is_opened_again_here(dawn: Dawn) -> None:
    client = client_as()
    _send(tried(dawn, "pen", client), client, reason="mud at the gate")
    hold = Hold.objects.get(site=dawn.site, subject_kind=HoldSubject.PEN)
    assert "mud at the gate" in words(client.get(url("replan", slug="dawn")))

    answer = client.post(
        url("clear-hold", hold.pk, slug="dawn"), {"note": "scraped", "back": "replan"}
    )

    assert answer["Location"] == url("replan", slug="dawn")
    assert "mud at the gate" not in words(client.get(answer["Location"]))


# Who, what is typed wrong, how much it takes ----------------------------------------------------


@pytest.mark.parametrize("role", [Role.WORKER, Role.MECHANIC])
def test_only_leads_try_and_tell(role: Role, dawn: Dawn) -> None:
    client = client_as(role)
    client.get(url("plan", slug="dawn"))  # makes the actor of the account
    before = everything()

    assert client.get(url("replan", slug="dawn")).status_code == 403
    assert tried(dawn, "machine", client).status_code == 403
    posted = {"what": "machine", "machine": dawn.loader, "reason": "flat"}
    assert client.post(url("make-so", slug="dawn"), posted).status_code == 403
    assert everything() == before


BAD: list[tuple[dict[str, Any], str]] = [
    ({"what": "flood"}, "There is no such trial. Choose one of the forms on this page."),
    ({"what": "visit", "visit": "x", "minutes": "5"}, "Choose Visit from the list."),
    ({"what": "visit", "visit": "999999", "minutes": "5"}, "That visit is over, or not of today."),
    ({"what": "visit", "visit": "1", "minutes": "0"}, "Minutes late: 0 is below 1."),
    ({"what": "visit", "visit": "1", "minutes": "601"}, "Minutes late: 601 is above 600."),
    ({"what": "visit", "visit": "1", "minutes": "a lot"}, "Minutes late: a lot is no number."),
    ({"what": "machine", "machine": "999999"}, "That one is not in use."),
    ({"what": "person", "person": "999999"}, "Nobody counts on that person today."),
    ({"what": "pen", "pen": "999999"}, "That place is closed already, or not here."),
    ({"what": "pen"}, "Choose Pen from the list."),
]


@pytest.mark.parametrize(("asked", "said"), BAD)
def test_what_cannot_be_tried_says_what_to_do(asked: dict[str, Any], said: str, dawn: Dawn) -> None:
    client = client_as()
    client.get(url("replan", slug="dawn"))
    before = everything()

    page = client.get(url("replan", slug="dawn"), asked)

    assert page.status_code == 400
    assert said in words(page)
    assert "Nothing was changed." in words(page)
    assert "Try it" in words(page)  # the forms stand there still
    assert everything() == before


AT = NOW.isoformat()


@pytest.mark.parametrize(
    ("sent", "status"),
    [
        ({"what": "flood"}, 400),
        ({"what": "machine", "machine": "1", "reason": " "}, 400),
        ({"what": "machine", "machine": "999999", "reason": "flat"}, 404),
        ({"what": "person", "person": "999999", "shift": "1"}, 404),
        ({"what": "person", "person": "1"}, 400),
        ({"what": "pen", "pen": "999999", "reason": "ice"}, 404),
        ({"what": "visit", "visit": "1", "moment": "called", "at": "soon"}, 400),
        ({"what": "visit", "visit": "1", "moment": "called", "expected_at": "2026-03-04"}, 400),
        ({"what": "visit", "visit": "1", "moment": "supper", "expected_at": AT, "at": AT}, 422),
    ],
)
def test_what_cannot_be_told_changes_nothing(sent: dict[str, Any], status: int, dawn: Dawn) -> None:
    client = client_as()
    client.get(url("replan", slug="dawn"))
    before = everything()

    assert client.post(url("make-so", slug="dawn"), sent).status_code == status

    assert everything() == before


def test_rows_of_another_farm_cannot_be_tried(dawn: Dawn) -> None:
    other = make_machine(make_site("dusk"))

    page = tried(dawn, "machine", machine=other.pk)

    assert page.status_code == 400
    with pytest.raises(NotFoundError):
        dawn.try_it(MachineOut(other.pk, "flat"))


def test_a_page_takes_few_queries_besides_its_trial(
    dawn: Dawn, django_assert_max_num_queries: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The trial is made before, and counted apart."""
    client, asked = client_as(), dawn.asked("machine")
    with django_assert_max_num_queries(200) as of_trial:
        trial = dawn.try_it(dawn.deed("machine"))
        n_of_trial = len(of_trial)
    monkeypatch.setattr(
        "schedules.desk.replan_actions.try_disturbance", lambda *_args, **_named: trial
    )
    client.get(url("replan", slug="dawn"))

    with django_assert_max_num_queries(MOST_QUERIES):
        assert client.get(url("replan", slug="dawn"), asked).status_code == 200
    assert n_of_trial > MOST_QUERIES


def test_a_trial_does_not_fetch_itself_anew(dawn: Dawn) -> None:
    """It would be searched for again at each change of the farm."""
    assert "data-news-url" in client_as().get(url("replan", slug="dawn")).content.decode()
    assert "data-news-url" not in tried(dawn, "machine").content.decode()


@pytest.mark.parametrize(("language", "noun"), [("en", "Barn"), ("es", "Galpón")])
def test_what_is_tried_is_in_the_farms_own_words(language: str, noun: str, dawn: Dawn) -> None:
    Site.objects.filter(pk=dawn.site.pk).update(
        words={"en": {"pen": "Barn"}, "es": {"pen": "Galpón"}}
    )
    client = client_as()
    client.cookies[settings.LANGUAGE_COOKIE_NAME] = language

    html = tried(dawn, "pen", client).content.decode()

    assert f'<html lang="{language}"' in html
    assert f"{noun} pen-1" in html
    assert f'<label for="r-pen">{noun}</label>' in html


def test_a_trial_has_an_address_of_its_own(dawn: Dawn) -> None:
    """Another lead sees the same by it."""
    address = f"{url('replan', slug='dawn')}?{urlencode(dawn.asked('machine'))}"

    first, second = (words(client_as(role).get(address)) for role in (Role.MANAGER, Role.LEAD))

    assert "is out of use until further notice." in first
    assert first.partition("Tried")[2] == second.partition("Tried")[2]
