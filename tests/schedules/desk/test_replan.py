"""Replan: what a disturbance would change, tried without a trace, and then told in earnest.

A trial takes about 160 statements besides the page's own: twice the day's facts (33 each), what the
verb writes, and what the work room makes anew of it. They end in a rollback.
"""

from __future__ import annotations

from datetime import timedelta
from typing import Any
from urllib.parse import urlencode

import pytest
from django.apps import apps
from django.conf import settings
from django.contrib.sessions.models import Session
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from crews.roster.models import Presence, Shift
from crews.roster.services import call_in_sick
from equipment.barns.models import ReturnMode
from equipment.machines.models import MachineKind, Repair
from equipment.site import runs
from equipment.site.errors import NotFoundError
from equipment.site.models import Change, Hold, HoldSubject, PlaceKind, Role, Site, TaskRun, User
from equipment.site.queries import site_version
from schedules.dayplan.disturbances import (
    Disturbance,
    MachineOut,
    PenClosed,
    PersonAway,
    VisitLate,
    try_disturbance,
)
from schedules.dayplan.models import Assignment, PlanRun
from schedules.dayplan.services import plan_day
from schedules.dayplan.trial import Trial
from schedules.rounds.models import PenVisit
from schedules.rounds.services import plan_milkings
from schedules.work.consume import consume_changes
from schedules.work.models import Status, WorkOrder
from schedules.work.produce import materialise
from schedules.work.progress import start_work
from tests.factories import (
    make_bed_group,
    make_machine,
    make_parlor,
    make_pen,
    make_place,
    make_shift,
    make_site,
    make_standing_order,
    make_user,
    make_worker,
)

from .conftest import NOW, sign_in
from .reading import rows, url, words

pytestmark = pytest.mark.django_db
HOUR, MINUTE = timedelta(hours=1), timedelta(minutes=1)
MOST_QUERIES = 25  # of the page without its trial, as of each
Has = dict[int, tuple[set[int], set[int]]]  # of a work order: people, machines


class Dawn:
    """Two pens milked from ten on, two people and two loaders, and the plan of their beds."""

    def __init__(self, starts_local: str = "10:00") -> None:
        self.site: Site = make_site("dawn")
        for role in (Role.MANAGER, Role.LEAD, Role.WORKER, Role.MECHANIC):
            make_user(role, self.site)
        make_place(self.site, "yard", PlaceKind.YARD)
        make_parlor(self.site, starts_local=(starts_local,))
        held: dict[str, Any] = {"return_mode": ReturnMode.GATE_HELD, "return_hold_min": 30}
        self.pens = [make_pen(self.site, key, **held) for key in ("1", "2")]
        for pen in self.pens:
            make_bed_group(pen)
        self.ana, self.ben = (make_worker(self.site, key) for key in ("ana", "ben"))
        self.by = self.ana.actor
        for worker in (self.ana, self.ben):
            make_shift(worker, NOW - 2 * HOUR)
        self.loaders = [make_machine(self.site, f"loader-{n}") for n in (1, 2)]
        make_standing_order(self.site, machine_kinds=[MachineKind.LOADER])
        on = NOW.date()
        plan_milkings(
            site_id=self.site.pk, from_on=on, until_on=on + timedelta(days=1), at=NOW - HOUR
        )
        materialise(site_id=self.site.pk, now=NOW, days=1)
        consume_changes(site_id=self.site.pk, now=NOW)
        plan_day(site_id=self.site.pk, at=NOW, seconds=0.1)
        TaskRun.objects.all().delete()  # what has rung for the plan that was just made

    @property
    def visit(self) -> PenVisit:
        """The first visit to come."""
        return PenVisit.objects.filter(site=self.site).earliest("called_at")

    @property
    def orders(self) -> list[WorkOrder]:
        """The beds of both pens, in the order of their visits."""
        return list(WorkOrder.objects.filter(site=self.site).order_by("starts_after"))

    @property
    def busy(self) -> int:
        """Who has the first pen's beds."""
        claim = Assignment.objects.get(work_order=self.orders[0]).claims.get(worker__isnull=False)
        assert claim.worker_id is not None
        return claim.worker_id

    @property
    def loader(self) -> int:
        """What the first pen's beds are groomed with."""
        claim = Assignment.objects.get(work_order=self.orders[0]).claims.get(machine__isnull=False)
        assert claim.machine_id is not None
        return claim.machine_id

    def late(self, minutes: int = 30) -> VisitLate:
        was = self.visit.called_at
        return VisitLate(self.visit.pk, "called", was, was + minutes * MINUTE)

    def try_it(self, what: Disturbance) -> Trial:
        return try_disturbance(what, site_id=self.site.pk, by=self.by, at=NOW)

    def deed(self, kind: str) -> Disturbance:
        deeds: dict[str, Disturbance] = {
            "visit": self.late(),
            "machine": MachineOut(self.loader, "hose burst"),
            "person": PersonAway(self.busy),
            "pen": PenClosed(self.pens[0].pk, "ice"),
        }
        return deeds[kind]

    def asked(self, kind: str) -> dict[str, Any]:
        """What the form of a kind sends."""
        fields: dict[str, dict[str, Any]] = {
            "visit": {"visit": self.visit.pk, "minutes": "30"},
            "machine": {"machine": self.loader},
            "person": {"person": self.busy},
            "pen": {"pen": self.pens[0].pk},
        }
        return {"what": kind, **fields[kind]}

    def has(self) -> Has:
        found: Has = {}
        for given in Assignment.objects.filter(site=self.site).prefetch_related("claims"):
            claims = given.claims.all()
            people = {claim.worker_id for claim in claims if claim.worker_id}
            found[given.work_order_id] = people, {c.machine_id for c in claims if c.machine_id}
        return found


KINDS = ("visit", "machine", "person", "pen")


@pytest.fixture
def dawn(db: None) -> Dawn:
    return Dawn()


def _client(role: Role = Role.MANAGER) -> Client:
    return sign_in(f"{role}-dawn")


def _tried(dawn: Dawn, kind: str, client: Client | None = None, **other: Any) -> Any:
    asked = {**dawn.asked(kind), **other}
    return (client or _client()).get(url("replan", slug="dawn"), asked)


def _everything() -> dict[str, list[Any]]:
    """Every row of every table, but who is signed in."""
    return {
        model.__name__: sorted(map(repr, model._base_manager.values_list()))
        for model in apps.get_models()
        if model not in (Session, User)
    }


def _follow() -> None:
    """Do what the news rang for: work and plan take it up, and the plan is mended."""
    while runs.poll(now=NOW):
        pass
    newest = TaskRun.objects.filter(kind="dayplan.solve").latest("pk")
    assert runs.perform(newest.pk, now=NOW)


def _after(trial: Trial, before: Has) -> Has:
    """Who would have what after a trial's changes."""
    found = dict(before)
    for change in trial.changes:
        now = change["after"]
        found.pop(change["work_order"], None)
        if now:
            machines = {now["machine"]} if now["machine"] else set()
            found[change["work_order"]] = set(now["workers"]), machines
    return found


def test_the_scene_has_a_plan(dawn: Dawn) -> None:
    assert len(dawn.has()) == len(dawn.orders) == 2


@pytest.mark.parametrize("kind", KINDS)
def test_a_trial_leaves_every_row_as_it_was(kind: str, dawn: Dawn) -> None:
    before, version = _everything(), site_version(dawn.site.pk)

    trial = dawn.try_it(dawn.deed(kind))

    assert trial.changes
    assert _everything() == before
    assert site_version(dawn.site.pk) == version


@pytest.mark.parametrize("kind", KINDS)
def test_a_trial_holds_nobody_up_at_the_sites_version(kind: str, dawn: Dawn) -> None:
    deed = dawn.deed(kind)

    with CaptureQueriesContext(connection) as found:
        dawn.try_it(deed)

    assert [q["sql"] for q in found if "siteversion" in q["sql"]] == []


@pytest.mark.parametrize("kind", KINDS)
def test_a_trial_on_the_page_tells_nothing(kind: str, dawn: Dawn) -> None:
    client = _client()
    client.get(url("replan", slug="dawn"))  # makes the actor of the account
    before, n_changes = _everything(), Change.objects.count()

    assert _tried(dawn, kind, client).status_code == 200

    assert _everything() == before
    assert Change.objects.count() == n_changes


@pytest.mark.parametrize("kind", KINDS)
def test_a_trial_says_what_then_comes_of_it(kind: str, db: None) -> None:
    """By the same verb and the plan's own mending; a call can be told once it has come."""
    dawn = Dawn(starts_local="08:55" if kind == "visit" else "10:00")
    before, deed = dawn.has(), dawn.deed(kind)
    if kind == "visit":
        deed = VisitLate(dawn.visit.pk, "called", dawn.visit.called_at, NOW + 4 * MINUTE)
    trial = dawn.try_it(deed)
    assert trial.changes

    deed.do(site_id=dawn.site.pk, by=dawn.by, at=NOW)
    _follow()

    assert dawn.has() == _after(trial, before)
    plan = PlanRun.objects.latest("pk")
    assert {c["work_order"] for c in plan.changes} == {c["work_order"] for c in trial.changes}
    assert [c["workers"] for c in plan.changes] == [c["workers"] for c in trial.changes]


def test_the_same_trial_twice_says_the_same(dawn: Dawn) -> None:
    first, second = (dawn.try_it(dawn.deed("person")) for _ in range(2))

    assert first.changes == second.changes
    assert first.solution == second.solution


def test_a_late_visit_moves_the_work_in_its_beds(dawn: Dawn) -> None:
    trial = dawn.try_it(dawn.late(minutes=45))

    moved = next(c for c in trial.changes if c["work_order"] == dawn.orders[0].pk)
    assert moved["kind"] == "moved"
    assert trial.orders[dawn.orders[0].pk].starts_after - dawn.orders[0].starts_after >= 30 * MINUTE


def test_without_the_one_machine_the_jobs_have_nobody_and_why(dawn: Dawn) -> None:
    next(machine for machine in dawn.loaders if machine.pk != dawn.loader).delete()

    page = _tried(dawn, "machine")

    said = words(page)
    assert "2 jobs that somebody has now end with nobody." in said
    assert "every machine for it is out of use" in said
    assert ["Jobs with nobody", "0", "2"] in rows(page.content.decode())


def test_who_is_away_and_who_steps_in_are_told(dawn: Dawn) -> None:
    away = dawn.busy
    n_jobs = sum(away in people for people, _machines in dawn.has().values())

    said = words(_tried(dawn, "person"))

    assert f"Tell: Ana ({n_jobs}), Ben ({n_jobs})" in said
    assert "2 people must be told." in said


def test_work_in_a_closed_pen_has_nobody(dawn: Dawn) -> None:
    said = words(_tried(dawn, "pen"))

    assert "1 job that somebody has now ends with nobody." in said
    assert "the pen is held" in said
    assert "It shuts no gate and keeps nobody out." in said


@pytest.mark.parametrize("kind", KINDS)
def test_work_under_way_is_never_moved(kind: str, dawn: Dawn) -> None:
    order, who = dawn.orders[0], dawn.busy
    WorkOrder.objects.filter(pk=order.pk).update(starts_after=NOW - HOUR)
    worker = dawn.ana if who == dawn.ana.pk else dawn.ben
    start_work(
        site_id=dawn.site.pk,
        work_order_id=order.pk,
        machine=next(m for m in dawn.loaders if m.pk == dawn.loader),
        by=worker.actor,
        at=NOW - MINUTE,
    )
    assert WorkOrder.objects.get(pk=order.pk).status == Status.IN_PROCESS
    deed = dawn.deed(kind)

    trial = dawn.try_it(deed)

    assert order.pk not in {change["work_order"] for change in trial.changes}
    assert order.pk not in {left.pk for left, _why in trial.nobody}


def test_nothing_told_changes_nothing(dawn: Dawn) -> None:
    """Ben has a shift and no job when all of it is Ana's."""
    idle = dawn.ben.pk if dawn.busy == dawn.ana.pk else dawn.ana.pk
    if any(idle in people for people, _machines in dawn.has().values()):
        call_in_sick(site_id=dawn.site.pk, worker_id=idle, at=NOW)
        _follow()
        Shift.objects.filter(worker_id=idle).update(presence=Presence.EXPECTED)

    said = words(_tried(dawn, "person", person=idle))

    assert "Nothing gives: every job keeps its people, its machine and its time." in said
    assert "Nothing changed." in said


# Making it so -----------------------------------------------------------------------------------


def _send(page: Any, client: Client, **other: Any) -> Any:
    """Press the button of a trial: send what its form holds."""
    asked = page.context["asked"]
    reason = {"reason": asked.reason} if asked.reason else {}
    return client.post(
        url("make-so", slug="dawn"), {"what": asked.what, **asked.sent, **reason, **other}
    )


@pytest.mark.parametrize("kind", ["machine", "person", "pen"])
def test_make_it_so_tells_it_and_leads_to_the_plan(kind: str, dawn: Dawn) -> None:
    client = _client(Role.LEAD)
    before, trial = dawn.has(), dawn.try_it(dawn.deed(kind))
    page = _tried(dawn, kind, client)

    answer = _send(page, client)

    assert (answer.status_code, answer["Location"]) == (302, url("plan", slug="dawn"))
    assert "The plan changes within seconds." in words(client.get(answer["Location"]))
    _follow()
    assert dawn.has() == _after(trial, before)


def test_a_visit_that_should_have_been_called_is_told_late(dawn: Dawn) -> None:
    client, visit = _client(), dawn.visit
    PenVisit.objects.filter(pk=visit.pk).update(called_at=NOW - 30 * MINUTE)
    page = _tried(dawn, "visit", client, minutes="30")
    assert "Make it so" in words(page)

    assert _send(page, client).status_code == 302

    visit.refresh_from_db()
    assert visit.actual == {"called": NOW.isoformat()}


def test_a_visit_that_lies_ahead_can_be_tried_and_not_told(dawn: Dawn) -> None:
    client = _client()
    page = _tried(dawn, "visit", client)

    assert "Make it so" not in words(page)
    assert "It lies ahead" in words(page)
    before = _everything()
    answer = _send(page, client)
    assert answer.status_code == 422
    assert "This time lies in the future." in words(answer)
    assert _everything() == before


def test_a_visit_timed_anew_since_is_not_told_by_an_old_trial(dawn: Dawn) -> None:
    client, visit = _client(), dawn.visit
    PenVisit.objects.filter(pk=visit.pk).update(called_at=NOW - 30 * MINUTE)
    page = _tried(dawn, "visit", client, minutes="30")
    PenVisit.objects.filter(pk=visit.pk).update(called_at=NOW - 20 * MINUTE)

    answer = _send(page, client)

    assert answer.status_code == 412
    assert "This visit was timed anew since it was tried. Try it again." in words(answer)
    visit.refresh_from_db()
    assert visit.actual == {}


def test_a_machine_gone_since_is_refused(dawn: Dawn) -> None:
    client = _client()
    page = _tried(dawn, "machine", client)
    assert _send(page, client).status_code == 302

    assert _send(page, client).status_code == 422
    assert Repair.objects.filter(site=dawn.site).count() == 1


def test_a_closed_pen_is_opened_again_here(dawn: Dawn) -> None:
    client = _client()
    _send(_tried(dawn, "pen", client), client, reason="mud at the gate")
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
    client = _client(role)
    client.get(url("plan", slug="dawn"))  # makes the actor of the account
    before = _everything()

    assert client.get(url("replan", slug="dawn")).status_code == 403
    assert _tried(dawn, "machine", client).status_code == 403
    posted = {"what": "machine", "machine": dawn.loader, "reason": "flat"}
    assert client.post(url("make-so", slug="dawn"), posted).status_code == 403
    assert _everything() == before


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
    client = _client()
    client.get(url("replan", slug="dawn"))
    before = _everything()

    page = client.get(url("replan", slug="dawn"), asked)

    assert page.status_code == 400
    assert said in words(page)
    assert "Nothing was changed." in words(page)
    assert "Try it" in words(page)  # the forms stand there still
    assert _everything() == before


@pytest.mark.parametrize(
    ("sent", "status"),
    [
        ({"what": "flood"}, 400),
        ({"what": "machine", "machine": "1", "reason": " "}, 400),
        ({"what": "machine", "machine": "999999", "reason": "flat"}, 404),
        ({"what": "person", "person": "999999"}, 404),
        ({"what": "pen", "pen": "999999", "reason": "ice"}, 404),
        ({"what": "visit", "visit": "1", "moment": "called", "at": "soon"}, 400),
        ({"what": "visit", "visit": "1", "moment": "called", "expected_at": "2026-03-04"}, 400),
    ],
)
def test_what_cannot_be_told_changes_nothing(sent: dict[str, Any], status: int, dawn: Dawn) -> None:
    client = _client()
    client.get(url("replan", slug="dawn"))
    before = _everything()

    assert client.post(url("make-so", slug="dawn"), sent).status_code == status

    assert _everything() == before


def test_rows_of_another_farm_cannot_be_tried(dawn: Dawn) -> None:
    other = make_machine(make_site("dusk"))

    page = _tried(dawn, "machine", machine=other.pk)

    assert page.status_code == 400
    with pytest.raises(NotFoundError):
        dawn.try_it(MachineOut(other.pk, "flat"))


def test_a_page_takes_few_queries_besides_its_trial(
    dawn: Dawn, django_assert_max_num_queries: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The trial is made before, and counted apart."""
    client, asked = _client(), dawn.asked("machine")
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
    assert "data-news-url" in _client().get(url("replan", slug="dawn")).content.decode()
    assert "data-news-url" not in _tried(dawn, "machine").content.decode()


@pytest.mark.parametrize(("language", "noun"), [("en", "Barn"), ("es", "Galpón")])
def test_what_is_tried_is_in_the_farms_own_words(language: str, noun: str, dawn: Dawn) -> None:
    Site.objects.filter(pk=dawn.site.pk).update(
        words={"en": {"pen": "Barn"}, "es": {"pen": "Galpón"}}
    )
    client = _client()
    client.cookies[settings.LANGUAGE_COOKIE_NAME] = language

    html = _tried(dawn, "pen", client).content.decode()

    assert f'<html lang="{language}"' in html
    assert f"{noun} pen-1" in html
    assert f'<label for="r-pen">{noun}</label>' in html


def test_a_trial_has_an_address_of_its_own(dawn: Dawn) -> None:
    """Another lead sees the same by it."""
    address = f"{url('replan', slug='dawn')}?{urlencode(dawn.asked('machine'))}"

    first, second = (words(_client(role).get(address)) for role in (Role.MANAGER, Role.LEAD))

    assert "is out of use until further notice." in first
    assert first.partition("Tried")[2] == second.partition("Tried")[2]
