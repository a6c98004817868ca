"""Two first scoops at the same moment fill one batch; and what the guard is for."""

from functools import partial
from threading import Event
from typing import Any

import pytest

from equipment.sandyard.models import Slab
from schedules.sand.ledger import batch_mass_kg
from schedules.sand.models import Batch
from schedules.sand.services import lane
from schedules.sand.services.common import new_batch
from tests.concurrency.threads import WAIT_S, run_together, somebody_waits_for_a_lock
from tests.schedules.sand.test_services import Yard

pytestmark = pytest.mark.django_db(transaction=True)


def scoop_while_another_scoops(yard: Yard, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let one scoop find no open batch, then another come, then the first open its own.

    With the slab locked the second waits and then fills the first one's; without, it finds none
    either.
    """
    has_looked, is_in = Event(), Event()

    def open_late(*args: Any, **facts: Any) -> Batch:
        if has_looked.is_set():  # the second one: it has looked too
            is_in.set()
            return new_batch(*args, **facts)
        has_looked.set()
        while not (is_in.wait(0.01) or somebody_waits_for_a_lock()):
            continue
        return new_batch(*args, **facts)

    def come_second() -> Batch:
        assert has_looked.wait(WAIT_S)
        return yard.scoop(2)

    monkeypatch.setattr(lane, "new_batch", open_late)
    results = run_together(partial(yard.scoop, 2), come_second)
    assert [r for r in results if isinstance(r, Exception)] == []


def test_two_first_scoops_fill_one_batch(monkeypatch: pytest.MonkeyPatch) -> None:
    yard = Yard()
    scoop_while_another_scoops(yard, monkeypatch)
    [batch] = Batch.objects.all()
    assert batch_mass_kg(batch) == pytest.approx(2 * 6 * 1722 * 0.85, rel=0.1)  # 2 × 2 × 3 m3


def test_without_the_lock_each_would_open_its_own(monkeypatch: pytest.MonkeyPatch) -> None:
    yard = Yard()
    monkeypatch.setattr(lane, "lock_slab", lambda _site_id: Slab.objects.first())
    scoop_while_another_scoops(yard, monkeypatch)
    assert Batch.objects.filter(closed_at=None, ended_at=None).count() == 2
