"""Replan: what a disturbance would change, tried without a trace, and then told in earnest.

A trial takes about 160 statements besides the page's own: twice the day's facts (33 each), what the
verb writes, and what the work room makes anew of it. They end in a rollback.
"""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from crews.roster.models import Presence, Shift
from crews.roster.services import call_in_sick
from equipment.site.models import Change
from equipment.site.queries import site_version
from schedules.dayplan.models import PlanRun
from schedules.work.models import Status, WorkOrder
from schedules.work.progress import start_work

from .conftest import NOW
from .dawn import HOUR, KINDS, MINUTE, Dawn, after, client_as, everything, follow, tried
from .reading import rows, url, words

pytestmark = pytest.mark.django_db


@pytest.fixture
def dawn(db: None) -> Dawn:
    return Dawn()


def test_the_scene_has_a_plan(dawn: Dawn) -> None:
    assert len(dawn.has()) == len(dawn.orders) == 2


@pytest.mark.parametrize("kind", KINDS)
def test_a_trial_leaves_every_row_as_it_was(kind: str, dawn: Dawn) -> None:
    before, version = everything(), site_version(dawn.site.pk)

    trial = dawn.try_it(dawn.deed(kind))

    assert trial.changes
    assert everything() == before
    assert site_version(dawn.site.pk) == version


@pytest.mark.parametrize("kind", KINDS)
def test_a_trial_holds_nobody_up_at_the_sites_version(kind: str, dawn: Dawn) -> None:
    deed = dawn.deed(kind)

    with CaptureQueriesContext(connection) as found:
        dawn.try_it(deed)

    assert [q["sql"] for q in found if "siteversion" in q["sql"]] == []


@pytest.mark.parametrize("kind", KINDS)
def test_a_trial_on_the_page_tells_nothing(kind: str, dawn: Dawn) -> None:
    client = client_as()
    client.get(url("replan", slug="dawn"))  # makes the actor of the account
    before, n_changes = everything(), Change.objects.count()

    assert tried(dawn, kind, client).status_code == 200

    assert everything() == before
    assert Change.objects.count() == n_changes


@pytest.mark.parametrize("kind", KINDS)
def test_a_trial_says_what_then_comes_of_it(kind: str, db: None) -> None:
    """By the same verb and the plan's own mending."""
    dawn = Dawn(starts_local="10:00")
    before, deed = dawn.has(), dawn.deed(kind)
    trial = dawn.try_it(deed)
    assert trial.changes

    deed.do(site_id=dawn.site.pk, by=dawn.by, at=NOW)
    follow()

    assert dawn.has() == after(trial, before)
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

    page = tried(dawn, "machine")

    said = words(page)
    assert "2 jobs that somebody has now end with nobody." in said
    assert "every machine for it is out of use" in said
    assert ["Jobs with nobody", "0", "2"] in rows(page.content.decode())


def test_who_is_away_and_who_steps_in_are_told(dawn: Dawn) -> None:
    away = dawn.busy
    n_jobs = sum(away in people for people, _machines in dawn.has().values())

    said = words(tried(dawn, "person"))

    assert f"Tell: Ana ({n_jobs}), Ben ({n_jobs})" in said
    assert "2 people must be told." in said


def test_work_in_a_closed_pen_has_nobody(dawn: Dawn) -> None:
    said = words(tried(dawn, "pen"))

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
        follow()
        Shift.objects.filter(worker_id=idle).update(presence=Presence.EXPECTED)

    said = words(tried(dawn, "person", person=idle))

    assert "Nothing gives: every job keeps its people, its machine and its time." in said
    assert "Nothing changed." in said
