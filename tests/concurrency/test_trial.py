"""A trial beside a plan that is put in place: neither waits for what the other holds."""

from typing import Any
from unittest.mock import MagicMock

import pytest
from django.db import OperationalError

from crews.roster.services import call_in_sick
from equipment.site.errors import NotFoundError
from schedules.dayplan import trial
from schedules.dayplan.models import Assignment, PlanRun
from schedules.dayplan.services import put_plan, solve_site
from schedules.dayplan.trial import Trial, TrialRunsError, try_deed
from schedules.work.models import WorkOrder
from tests.schedules.dayplan.test_services import NOW, Morning

from .test_dayplan import Meanwhile

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def morning() -> Morning:
    return Morning()


@pytest.fixture
def meanwhile(monkeypatch: pytest.MonkeyPatch) -> Meanwhile:
    return Meanwhile(monkeypatch)


def _try_while_planned(
    morning: Morning, meanwhile: Meanwhile
) -> tuple[list[Exception | None], list[Trial]]:
    """Try that who has the work is sick, with its row locked, and put a plan in place meanwhile."""
    order = morning.order("o")
    morning.plan()
    solved = solve_site(morning.site.pk, NOW, seconds=0.1)
    claim = Assignment.objects.get(work_order=order).claims.get(worker__isnull=False)
    found: list[Trial] = []

    def deed() -> None:
        call_in_sick(site_id=morning.site.pk, worker_id=claim.worker_id or 0, at=NOW)
        WorkOrder.objects.select_for_update(no_key=True).get(pk=order.pk)

    def attempt() -> None:
        found.append(try_deed(site_id=morning.site.pk, now=NOW, deed=deed))

    def plan() -> Any:
        return put_plan(site_id=morning.site.pk, solved=solved, at=NOW)

    meanwhile.hold(trial, "consume_untold", after=True)
    return meanwhile.run(attempt, plan), found


def test_a_trial_and_a_plan_at_once_are_both_done(morning: Morning, meanwhile: Meanwhile) -> None:
    failures, [tried] = _try_while_planned(morning, meanwhile)

    assert failures == [None, None]
    assert [change["kind"] for change in tried.changes] == ["reassigned"]
    assert PlanRun.objects.count() == 2


def test_a_trial_beside_another_of_its_site_is_sent_away_and_may_come_again(
    morning: Morning, meanwhile: Meanwhile
) -> None:
    morning.order("o")
    morning.plan()

    def attempt() -> Trial:
        return try_deed(site_id=morning.site.pk, now=NOW, deed=lambda: None)

    meanwhile.hold(trial, "solve")
    failures = meanwhile.run(attempt, attempt)

    assert [type(failure) for failure in failures] == [type(None), TrialRunsError]
    assert attempt().changes == []


def test_a_trial_that_is_refused_leaves_the_next_its_turn(
    morning: Morning, meanwhile: Meanwhile
) -> None:
    def refused() -> None:
        try_deed(site_id=morning.site.pk, now=NOW, deed=_refuse)

    with pytest.raises(NotFoundError):
        refused()
    meanwhile.is_there.set()

    failures = meanwhile.run(lambda: None, refused)

    assert [type(failure) for failure in failures] == [type(None), NotFoundError]


def _refuse() -> None:
    raise NotFoundError("gone")


def test_without_the_sites_lock_the_two_would_wait_for_each_other(
    morning: Morning, meanwhile: Meanwhile, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(trial, "Site", MagicMock())

    failures, _found = _try_while_planned(morning, meanwhile)

    assert [type(failure) for failure in failures if failure] == [OperationalError]
    assert "deadlock" in str(failures)
