"""A plan put in place while others plan, give work by hand or begin it; what the locks are for."""

from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from threading import Event
from typing import Any

import pytest
from django.db import IntegrityError, connection
from django.db.models import QuerySet

from crews.people.models import Worker
from crews.roster.models import Presence, Shift
from schedules.dayplan import known, services
from schedules.dayplan.models import Assignment, Claim
from schedules.dayplan.searches import ensure_search
from schedules.dayplan.services import SolvedDay, put_plan, solve_site
from schedules.work import progress
from schedules.work.models import WorkOrder
from schedules.work.progress import start_work
from tests.schedules.dayplan.test_services import HOUR, MINUTE, NOW, Morning

from .threads import somebody_waits_for_a_lock

pytestmark = pytest.mark.django_db(transaction=True)

PATIENCE_S = 20


@pytest.fixture
def morning() -> Morning:
    return Morning()


@pytest.fixture
def no_locks(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let every row be read without a lock."""
    monkeypatch.setattr(QuerySet, "select_for_update", lambda rows, **_options: rows)


class Meanwhile:
    """Holds one verb up at a step of it until another verb is done, or waits for a lock."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.monkeypatch = monkeypatch
        self.is_there, self.is_over = Event(), Event()

    def hold(self, module: Any, name: str, *, after: bool = False) -> None:
        """Hold up whoever comes first to a function of a module, before it or after it."""
        real = getattr(module, name)

        def held(*args: Any, **kwargs: Any) -> Any:
            if self.is_there.is_set():
                return real(*args, **kwargs)
            result = real(*args, **kwargs) if after else None
            self.is_there.set()
            while not (self.is_over.wait(0.01) or somebody_waits_for_a_lock()):
                continue
            return result if after else real(*args, **kwargs)

        self.monkeypatch.setattr(module, name, held)

    def run(self, first: Callable[[], Any], second: Callable[[], Any]) -> list[Exception | None]:
        """Run the verb that is held up and the one that comes meanwhile; give their failures."""

        def do(verb: Callable[[], Any], *, comes_second: bool) -> None:
            try:
                assert not comes_second or self.is_there.wait(PATIENCE_S)
                verb()
            finally:
                if comes_second:
                    self.is_over.set()
                connection.close()

        with ThreadPoolExecutor(2) as pool:
            told: list[Future[None]] = [
                pool.submit(do, first, comes_second=False),
                pool.submit(do, second, comes_second=True),
            ]
        return [_failure(one) for one in told]


def _failure(told: Future[None]) -> Exception | None:
    error = told.exception(PATIENCE_S)
    assert error is None or isinstance(error, Exception)
    return error


@pytest.fixture
def meanwhile(monkeypatch: pytest.MonkeyPatch) -> Meanwhile:
    return Meanwhile(monkeypatch)


def _solve(morning: Morning) -> SolvedDay:
    return solve_site(morning.site.pk, NOW, seconds=0.1)


def _put(morning: Morning, solved: SolvedDay) -> Callable[[], Any]:
    return lambda: put_plan(site_id=morning.site.pk, solved=solved, at=NOW)


# A plan and work given by hand ------------------------------------------------------------------


def _plan_while_given(
    morning: Morning, meanwhile: Meanwhile
) -> tuple[list[Any], list[Assignment], Worker]:
    """Give work by hand to whom the plan does not give it."""
    order = morning.order("o")
    solved = _solve(morning)
    [planned] = solved.solution.assignments
    other = morning.ana if planned.people == (str(morning.ben.pk),) else morning.ben
    ensure_search(morning.site.pk)  # two that make the first one would wait for each other
    meanwhile.hold(known, "_planned")
    failures = meanwhile.run(_put(morning, solved), lambda: morning.give(order, other))
    return failures, list(Assignment.objects.filter(work_order=order)), other


def test_work_given_by_hand_while_a_plan_is_put_in_place_stays_given(
    morning: Morning, meanwhile: Meanwhile
) -> None:
    failures, [given], worker = _plan_while_given(morning, meanwhile)
    assert failures == [None, None]
    assert given.is_by_hand
    assert [c.worker for c in given.claims.filter(worker__isnull=False)] == [worker]


def test_without_the_locks_the_plan_would_take_what_was_given_by_hand(
    morning: Morning, meanwhile: Meanwhile, no_locks: None
) -> None:
    _failures, [left], _worker = _plan_while_given(morning, meanwhile)
    assert not left.is_by_hand


# A plan and work that begins --------------------------------------------------------------------


def _plan_while_begun(morning: Morning, meanwhile: Meanwhile) -> tuple[Assignment, Assignment]:
    """The assignment of work that begins, before and after a plan that was solved earlier."""
    order = morning.order("o")
    morning.plan()
    had = Assignment.objects.get(work_order=order)
    worker = had.claims.get(worker__isnull=False).worker
    assert worker is not None
    shifts = Shift.objects.filter(worker=worker)
    shifts.update(presence=Presence.SICK)
    solved = _solve(morning)  # gives it to the other
    shifts.update(presence=Presence.EXPECTED)
    begin: dict[str, Any] = {
        "work_order_id": order.pk,
        "by": worker.actor,
        "at": NOW + HOUR + MINUTE,
    }
    meanwhile.hold(progress, "say", after=True)
    failures = meanwhile.run(
        lambda: start_work(site_id=morning.site.pk, **begin), _put(morning, solved)
    )
    assert failures == [None, None]
    assert WorkOrder.objects.get().started_by == worker.actor
    return had, Assignment.objects.get(work_order=order)


def test_work_that_begins_while_a_plan_comes_keeps_the_assignment_it_began_with(
    morning: Morning, meanwhile: Meanwhile
) -> None:
    had, has = _plan_while_begun(morning, meanwhile)
    assert has == had


def test_without_the_locks_the_plan_would_give_begun_work_anew(
    morning: Morning, meanwhile: Meanwhile, no_locks: None
) -> None:
    had, has = _plan_while_begun(morning, meanwhile)
    assert has != had


# Two plans --------------------------------------------------------------------------------------


def _two_plans(morning: Morning, meanwhile: Meanwhile) -> list[Exception | None]:
    for number in range(3):
        morning.order(f"o{number}")
    one, other = _solve(morning), _solve(morning)
    ensure_search(morning.site.pk)  # two that make the first one would wait for each other
    meanwhile.hold(services, "_write_assignments")
    return meanwhile.run(_put(morning, one), _put(morning, other))


def test_of_two_plans_put_in_place_at_once_each_order_has_one_assignment(
    morning: Morning, meanwhile: Meanwhile
) -> None:
    assert _two_plans(morning, meanwhile) == [None, None]
    assert Assignment.objects.count() == WorkOrder.objects.count() == 3
    assert Claim.objects.filter(worker__isnull=False).count() == 3


def test_without_the_locks_one_of_two_plans_would_be_lost(
    morning: Morning, meanwhile: Meanwhile, no_locks: None
) -> None:
    first, second = _two_plans(morning, meanwhile)
    assert second is None
    assert isinstance(first, IntegrityError)
