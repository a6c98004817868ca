"""Matters are kept once, answered, decided by whoever is first, and rest afterwards."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext

from equipment.site.calc.local_time import local_date_of
from equipment.site.errors import NotFoundError
from equipment.site.models import Actor, PlaceKind, Site, TaskRun
from equipment.site.queries import site_version
from equipment.site.runs import enqueue, perform
from schedules.alerts import tasks
from schedules.alerts.found import Answer, Found
from schedules.alerts.models import Alert, AlertKind, AnswerCode
from schedules.alerts.queries import past_alerts, standing_alerts
from schedules.alerts.services import decide, keep, write_answers
from schedules.errors import AlertOverError, NoAnswerError
from schedules.work.models import WorkOrder
from tests.factories import make_actor, make_machine, make_place, make_site, utc
from tests.schedules.alerts.test_looks import down, job

pytestmark = pytest.mark.django_db

NOW = utc("2026-03-04 12:00")
MINUTE = timedelta(minutes=1)
KINDS = (AlertKind.BEDS, AlertKind.MACHINE)
HERE = Found(AlertKind.MACHINE, "machine-1", NOW + 60 * MINUTE, {"n_jobs": 2})
TWO = (Answer(AnswerCode.REPAIR, {"by": "noon"}), Answer(AnswerCode.HIRE_MACHINE, {}))


@pytest.fixture
def site() -> Site:
    return make_site()


@pytest.fixture
def lead(site: Site) -> Actor:
    return make_actor(site, "lead")


def look(site: Site, *found: Found, at: datetime = NOW) -> int:
    return keep(site_id=site.pk, kinds=KINDS, found=found, at=at)


def still_open(site: Site) -> list[Alert]:
    return [row for row in standing_alerts(site.pk) if row.decided_at is None]


def answered(site: Site) -> Alert:
    look(site, HERE)
    row = Alert.objects.get()
    write_answers(site_id=site.pk, alert_id=row.pk, n_stated=row.n_stated, answers=TWO, at=NOW)
    row.refresh_from_db()
    return row


# Keeping ----------------------------------------------------------------------------------------


def test_matter_is_kept_once_and_a_look_that_finds_the_same_writes_nothing(site: Site) -> None:
    assert look(site, HERE) == 1
    version = site_version(site.pk)

    with CaptureQueriesContext(connection) as queries:
        assert look(site, HERE, at=NOW + MINUTE) == 0

    assert not [q for q in queries if q["sql"].startswith(("INSERT", 'UPDATE "schedules'))]
    assert site_version(site.pk) == version
    assert Alert.objects.get().raised_at == NOW
    assert TaskRun.objects.filter(kind="alerts.answer").count() == 1


def test_what_stands_otherwise_is_stated_anew_and_asked_for_its_answers_again(site: Site) -> None:
    row = answered(site)

    look(site, replace(HERE, facts={"n_jobs": 3}))

    row.refresh_from_db()
    assert (row.n_stated, row.facts["n_jobs"], row.raised_at) == (2, 3, NOW)
    assert row.n_answered == 1
    assert row.answers is not None  # the earlier ones stand until there are new ones
    assert TaskRun.objects.filter(kind="alerts.answer").count() == 2


def test_deadline_that_has_passed_stays_so_while_the_next_comes_up(site: Site) -> None:
    look(site, replace(HERE, due_at=NOW - MINUTE))
    assert look(site, replace(HERE, due_at=NOW + 30 * MINUTE)) == 0
    assert look(site, replace(HERE, due_at=NOW + 90 * MINUTE)) == 1


def test_what_is_not_found_any_more_is_over_and_comes_back_as_a_new_matter(site: Site) -> None:
    look(site, HERE)
    assert look(site, at=NOW + MINUTE) == 1
    assert Alert.objects.get().ended_at == NOW + MINUTE
    assert not still_open(site)

    look(site, HERE, at=NOW + 2 * MINUTE)
    assert [row.raised_at for row in still_open(site)] == [NOW + 2 * MINUTE]
    assert Alert.objects.count() == 2


def test_a_look_ends_nothing_of_kinds_that_it_did_not_look_at(site: Site) -> None:
    keep(site_id=site.pk, kinds=(AlertKind.SAND,), found=[replace(HERE, kind=AlertKind.SAND)],
         at=NOW)  # fmt: skip
    assert look(site) == 0
    assert len(still_open(site)) == 1


def test_another_sites_matters_are_let_be(site: Site) -> None:
    other = make_site("other")
    look(other, HERE)
    look(site, HERE)
    look(site)
    assert [row.site_id for row in Alert.objects.filter(ended_at=None)] == [other.pk]


def test_a_matter_is_open_once_whatever_writes_it(site: Site) -> None:
    look(site, HERE)
    row = Alert.objects.get()
    row.pk = None
    with pytest.raises(IntegrityError), transaction.atomic():
        row.save()


# Answers ----------------------------------------------------------------------------------------


def test_answers_to_what_has_moved_on_are_not_written(site: Site) -> None:
    look(site, HERE)
    look(site, replace(HERE, facts={"n_jobs": 3}))
    row = Alert.objects.get()

    write_answers(site_id=site.pk, alert_id=row.pk, n_stated=1, answers=TWO, at=NOW)

    row.refresh_from_db()
    assert row.answers is None


def test_runs_look_reckon_the_answers_and_end_what_is_over() -> None:
    """From a broken machine by the background's runs alone to answers, and to quiet again."""
    loader = make_machine(make_site(), "loader-1")
    now = datetime.now(UTC)
    order = job(loader.site, "turn/1", loader.kind)  # type: ignore[arg-type]  # its value
    WorkOrder.objects.filter(pk=order.pk).update(
        local_date=local_date_of(now, loader.site.zone),
        starts_after=now + 60 * MINUTE,
        due_at=now + 120 * MINUTE,
    )
    down(loader)

    def run(kind: str, key: str) -> None:
        enqueue(kind, key=key, site_id=loader.site_id, at=now)
        assert perform(TaskRun.objects.get(kind=kind, dedupe_key=key).pk)

    run("alerts.look", "first")
    row = Alert.objects.get()
    assert perform(TaskRun.objects.get(kind="alerts.answer").pk)
    row.refresh_from_db()
    assert [one["code"] for one in row.answers] == ["repair", "hire_machine"]

    WorkOrder.objects.all().delete()
    run("alerts.look", "second")
    row.refresh_from_db()
    assert row.ended_at is not None
    run("alerts.look_ahead", "third")


def test_no_answers_are_reckoned_for_what_is_over(site: Site) -> None:
    look(site, HERE)
    look(site)
    assert perform(TaskRun.objects.get(kind="alerts.answer").pk)
    assert Alert.objects.get().answers is None


# Deciding ---------------------------------------------------------------------------------------


def test_decision_is_kept_with_its_answer_and_the_matter_rests(site: Site, lead: Actor) -> None:
    row = answered(site)

    decide(site_id=site.pk, alert_id=row.pk, answer=1, n_answered=1, by=lead, at=NOW + MINUTE)

    row.refresh_from_db()
    assert row.decision == {"code": "hire_machine", "facts": {}}
    assert (row.decided_by, row.decided_at) == (lead, NOW + MINUTE)
    assert not still_open(site)
    assert look(site, replace(HERE, facts={"n_jobs": 9}), at=NOW + 2 * MINUTE) == 0
    assert look(site, at=NOW + 3 * MINUTE) == 1
    row.refresh_from_db()
    assert row.facts["n_jobs"] == 2
    assert row.ended_at == NOW + 3 * MINUTE
    assert [one.pk for one in past_alerts(site.pk)] == [row.pk]


def test_what_is_decided_and_grows_worse_is_asked_again(site: Site, lead: Actor) -> None:
    row = answered(site)
    decide(site_id=site.pk, alert_id=row.pk, answer=0, n_answered=1, by=lead, at=NOW)
    assert look(site, replace(HERE, weight=0), at=NOW + MINUTE) == 0

    look(site, replace(HERE, weight=1), at=NOW + 2 * MINUTE)

    row.refresh_from_db()
    assert row.ended_at == NOW + 2 * MINUTE
    [anew] = still_open(site)
    assert (anew.facts["weight"], anew.raised_at) == (1, NOW + 2 * MINUTE)


def test_what_is_decided_and_still_so_when_its_time_comes_is_asked_once_more(
    site: Site, lead: Actor
) -> None:
    row = answered(site)
    decide(site_id=site.pk, alert_id=row.pk, answer=0, n_answered=1, by=lead, at=NOW)
    assert look(site, HERE, at=NOW + 59 * MINUTE) == 0

    assert look(site, HERE, at=HERE.due_at) == 2

    [anew] = still_open(site)
    who: dict[str, Any] = {"site_id": site.pk, "by": lead, "at": HERE.due_at + MINUTE}
    decide(alert_id=anew.pk, note="tomorrow", **who)
    assert look(site, HERE, at=HERE.due_at + 2 * MINUTE) == 0


def test_beds_left_on_purpose_are_not_asked_again_when_their_time_comes(
    site: Site, lead: Actor
) -> None:
    beds = replace(HERE, kind=AlertKind.BEDS)
    look(site, beds)
    row = Alert.objects.get()
    decide(site_id=site.pk, alert_id=row.pk, note="left", by=lead, at=NOW)
    assert look(site, beds, at=HERE.due_at + MINUTE) == 0


def test_who_is_free_is_asked_again_after_a_while(site: Site) -> None:
    beds = replace(HERE, kind=AlertKind.BEDS)
    look(site, beds)
    assert look(site, beds, at=NOW + 14 * MINUTE) == 0
    assert look(site, beds, at=NOW + 15 * MINUTE) == 1
    assert Alert.objects.get().n_stated == 2


def test_look_that_fails_keeps_no_other_from_being_looked_at(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(_site_id: int, _now: datetime) -> list[Found]:
        raise ValueError("broken")

    looks = {AlertKind.BEDS: broken, AlertKind.MACHINE: lambda _site_id, _now: [HERE]}
    monkeypatch.setattr(tasks, "QUICK", looks)
    enqueue("alerts.look", key="one", site_id=site.pk, at=datetime.now(UTC))
    run = TaskRun.objects.get(kind="alerts.look")

    assert not perform(run.pk)

    run.refresh_from_db()
    assert "looks that failed" in run.error
    assert len(still_open(site)) == 1


def test_decision_may_be_told_in_words(site: Site, lead: Actor) -> None:
    row = answered(site)
    decide(site_id=site.pk, alert_id=row.pk, note=" by shovel ", by=lead, at=NOW)
    row.refresh_from_db()
    assert (row.decision, row.note) == (None, "by shovel")


@pytest.mark.parametrize(
    "given",
    [
        {},
        {"note": "  "},
        {"answer": 2, "n_answered": 1},
        {"answer": -1, "n_answered": 1},
        {"answer": 0},
        {"answer": 0, "n_answered": 2},
        {"note": "x" * 301},
    ],
)
def test_decision_for_nothing_is_refused_and_nothing_changes(
    site: Site, lead: Actor, given: dict[str, Any]
) -> None:
    row = answered(site)
    with pytest.raises(NoAnswerError):
        decide(site_id=site.pk, alert_id=row.pk, by=lead, at=NOW, **given)
    row.refresh_from_db()
    assert row.decided_at is None


def test_whoever_decides_first_stands(site: Site, lead: Actor) -> None:
    row = answered(site)
    decide(site_id=site.pk, alert_id=row.pk, answer=0, n_answered=1, by=lead, at=NOW)
    with pytest.raises(AlertOverError, match="has decided it already"):
        decide(
            site_id=site.pk, alert_id=row.pk, answer=1, n_answered=1, by=make_actor(site), at=NOW
        )
    row.refresh_from_db()
    assert row.decision is not None
    assert row.decision["code"] == "repair"


def test_what_is_over_or_nobodys_is_not_decided(site: Site, lead: Actor) -> None:
    row = answered(site)
    look(site)
    with pytest.raises(AlertOverError, match="nothing to decide"):
        decide(site_id=site.pk, alert_id=row.pk, answer=0, n_answered=1, by=lead, at=NOW)
    with pytest.raises(NotFoundError):
        decide(
            site_id=make_site("other").pk, alert_id=row.pk, answer=0, n_answered=1, by=lead, at=NOW
        )


def test_place_of_another_site_is_refused_by_the_database(site: Site) -> None:
    yard = make_place(make_site("other"), "yard", PlaceKind.YARD)

    def write() -> None:
        look(site, replace(HERE, place_id=yard.pk))
        connection.check_constraints()

    with pytest.raises(IntegrityError), transaction.atomic():
        write()
