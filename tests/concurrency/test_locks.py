"""A row that one transaction holds may be referred to by another; and what it is held by."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from functools import partial
from threading import Event
from typing import Any

import pytest
from django.db import OperationalError, connection, transaction
from django.db.models import QuerySet

from crews.people.models import Leave, LeaveKind
from crews.people.services import find_worker
from equipment.machines.models import Defect
from equipment.machines.services.common import locked_machine
from equipment.site.models import Actor, Site
from schedules.sand.models import BatchStep, Stage
from schedules.sand.services.common import locked_batch
from schedules.work.models import Report
from schedules.work.telling import lock_order
from tests.factories import (
    make_actor,
    make_batch,
    make_machine,
    make_site,
    make_work_order,
    make_worker,
    utc,
)

from .threads import WAIT_S, run_together

pytestmark = pytest.mark.django_db(transaction=True)

NOW = utc("2026-03-04 12:00")
PATIENCE_MS = 300
Case = tuple[Callable[[], Any], Callable[[], Any]]


@pytest.fixture
def site() -> Site:
    return make_site()


@pytest.fixture
def ana(site: Site) -> Actor:
    return make_actor(site, "ana")


def _order(site: Site, by: Actor) -> Case:
    order = make_work_order(site)
    row = Report(site=site, work_order=order, kind="started", by=by, at=NOW)
    return partial(lock_order, site.pk, order.pk), row.save


def _batch(site: Site, by: Actor) -> Case:
    batch = make_batch(site, Stage.DRYING, at=NOW)
    row = BatchStep(site=site, batch=batch, kind="turned", by=by, at=NOW)
    return partial(locked_batch, site.pk, batch.pk), row.save


def _worker(site: Site, by: Actor) -> Case:
    worker = make_worker(site, "bo")
    days = {"from_on": NOW.date(), "until_on": NOW.date() + timedelta(days=1)}
    row = Leave(site=site, worker=worker, kind=LeaveKind.SICK, **days)
    return partial(find_worker, site.pk, worker.pk), row.save


def _machine(site: Site, by: Actor) -> Case:
    machine = make_machine(site)
    row = Defect(site=site, machine=machine, text="leaks", reported_by=by, reported_at=NOW)
    return partial(locked_machine, site.pk, machine.pk), row.save


CASES = pytest.mark.parametrize("case", [_order, _batch, _worker, _machine])


@contextmanager
def _soon() -> Iterator[None]:
    """A transaction that does not wait for a lock."""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(f"SET LOCAL lock_timeout = '{PATIENCE_MS}ms'")
        yield


def _hold_and_refer(lock: Callable[[], Any], refer: Callable[[], Any]) -> list[Any]:
    """Hold a row in one transaction while another adds a row that refers to it."""
    is_held, is_over = Event(), Event()

    def hold() -> bool:
        with transaction.atomic():
            lock()
            is_held.set()
            return is_over.wait(WAIT_S)

    def add() -> bool:
        try:
            assert is_held.wait(WAIT_S)
            with _soon():
                refer()
            return True
        finally:
            is_over.set()

    return run_together(hold, add)


@CASES
def test_a_held_row_can_be_referred_to(
    site: Site, ana: Actor, case: Callable[[Site, Actor], Case]
) -> None:
    assert _hold_and_refer(*case(site, ana)) == [True, True]


@CASES
def test_held_for_update_it_could_not(
    site: Site, ana: Actor, case: Callable[[Site, Actor], Case], monkeypatch: pytest.MonkeyPatch
) -> None:
    plain = QuerySet.select_for_update

    def for_update(rows: Any, *, of: tuple[str, ...] = (), **_how: Any) -> Any:
        return plain(rows, of=of)

    monkeypatch.setattr(QuerySet, "select_for_update", for_update)
    _held, added = _hold_and_refer(*case(site, ana))
    assert isinstance(added, OperationalError)
    assert "lock timeout" in str(added)
