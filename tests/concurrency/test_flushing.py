"""A lock that is put on while runs are planned stops them; and what the guard is for."""

from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from threading import Event
from typing import Any

import pytest
from django.db import connection

from equipment.flushing import services
from equipment.flushing.models import FlushRun, RunStatus
from equipment.flushing.queries import open_locks
from tests.equipment.flushing.test_services import DAY, FIVE, Barn, make_barn, plan, visit
from tests.factories import make_actor, make_site

from .threads import somebody_waits_for_a_lock

pytestmark = pytest.mark.django_db(transaction=True)

PATIENCE_S = 20


@pytest.fixture
def barn() -> Barn:
    return make_barn(make_site())


def plan_while_a_lock_comes(barn: Barn, monkeypatch: pytest.MonkeyPatch) -> set[str]:
    """Let a planning read the open locks, then a lock be put on, then the planning write.

    With the lock on the tanks the person's lock waits until the planning is done, and then
    finds its runs; without it, it slips in between and finds none.
    """
    by = make_actor(barn.site)
    has_read, is_on = Event(), Event()

    def read_locks_and_wait(site_id: int) -> Any:
        locks = list(open_locks(site_id))
        if not has_read.is_set():
            has_read.set()
            while not (is_on.wait(0.01) or somebody_waits_for_a_lock()):
                continue
        return locks

    def put_lock() -> None:
        try:
            assert has_read.wait(PATIENCE_S)
            services.put_lock(
                site_id=barn.site.pk,
                place_id=barn.lane.pk,
                what="lane",
                by=by,
                at=DAY,
                received_at=DAY,
            )
        finally:
            is_on.set()
            connection.close()

    def plan_runs() -> None:
        try:
            plan(barn.site, visit(barn.pen))
        finally:
            connection.close()

    monkeypatch.setattr(services, "open_locks", read_locks_and_wait)
    with ThreadPoolExecutor(2) as pool:
        for done in [pool.submit(plan_runs), pool.submit(put_lock)]:
            done.result(PATIENCE_S)
    runs = FlushRun.objects.filter(starts_at__range=(FIVE, FIVE + timedelta(hours=1)))
    return set(runs.values_list("status", flat=True))


def test_lock_put_on_during_a_planning_blocks_its_runs(
    barn: Barn, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert plan_while_a_lock_comes(barn, monkeypatch) == {RunStatus.BLOCKED}


def test_without_the_lock_on_the_tanks_a_run_would_stay_planned_into_a_locked_lane(
    barn: Barn, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(services, "lock_tanks", lambda _site_id: None)
    assert plan_while_a_lock_comes(barn, monkeypatch) == {RunStatus.PLANNED}
