"""Meter histories: what the process keeps is what the database has, and no more than it may."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext

from equipment.machines import histories
from equipment.machines.calc.downtime import Span
from equipment.machines.calc.use import recent_use
from equipment.machines.histories import meter_histories
from equipment.machines.models import Machine, MeterReading
from equipment.machines.services import add_reading
from tests.farm import Farm

pytestmark = pytest.mark.django_db


def read(farm: Farm, machine: Machine, meter_h: float) -> None:
    """Read a meter eight hours after the last time."""
    last = MeterReading.objects.filter(machine=machine).latest("read_at")
    add_reading(
        site_id=farm.site.pk,
        machine_id=machine.pk,
        meter_h=meter_h,
        read_at=last.read_at + timedelta(hours=8),
        by=farm.manager.actor,
    )


def shown(farm: Farm) -> dict[int, list[float]]:
    """Each machine's figures by the histories."""
    found = meter_histories(farm.site.pk)
    return {pk: [r.meter_h for r in history.series.readings] for pk, history in found.items()}


def stored(farm: Farm) -> dict[int, list[float]]:
    """Each machine's figures in the database."""
    found: dict[int, list[float]] = {}
    for row in MeterReading.objects.filter(site=farm.site).order_by("read_at"):
        found.setdefault(row.machine_id, []).append(row.meter_h)
    return found


def test_a_new_reading_is_there_at_once_and_costs_one_query_more(farm: Farm) -> None:
    machine = farm.machines[0]
    assert shown(farm) == stored(farm)
    with CaptureQueriesContext(
        connection,
    ) as again:
        before = meter_histories(farm.site.pk)
    read(farm, machine, before[machine.pk].last.meter_h + 2)

    with CaptureQueriesContext(connection) as after:
        now = meter_histories(farm.site.pk)

    assert (len(again), len(after)) == (1, 2)
    assert now[machine.pk].last.meter_h == before[machine.pk].last.meter_h + 2
    assert shown(farm) == stored(farm)
    others = before.keys() - {machine.pk}
    assert all(now[pk] is before[pk] for pk in others)


def test_what_was_undone_is_not_kept(farm: Farm) -> None:
    before = shown(farm)
    machine = farm.machines[0]
    with transaction.atomic():
        read(farm, machine, before[machine.pk][-1] + 1)
        assert shown(farm)[machine.pk][-1] == before[machine.pk][-1] + 1
        transaction.set_rollback(True)

    assert shown(farm) == before
    read(farm, machine, before[machine.pk][-1] + 3)
    assert shown(farm) == stored(farm)


def test_no_more_machines_are_kept_than_may_be(farm: Farm, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(histories, "MOST_KEPT", 1)
    for _look in range(2):
        assert shown(farm) == stored(farm)
    assert len(histories._kept) == 1


def test_what_another_thread_clears_meanwhile_is_still_given(farm: Farm) -> None:
    """A hold is put while another page reckons: each gets the use by its own stops."""
    history = meter_histories(farm.site.pk)[farm.machines[0].pk]
    until = history.last.read_at
    hold = Span(until - timedelta(days=5), until)
    alone = {spans: recent_use(history.series, spans) for spans in ((), (hold,))}

    class Cleared(dict[Any, Any]):
        """Another thread comes in after each line."""

        def __setitem__(self, key: Any, value: Any) -> None:
            super().__setitem__(key, value)
            self.clear()

    shared = replace(history, _uses=Cleared())
    assert {spans: shared.recent_use(spans) for spans in alone} == alone
    assert alone[()] != alone[hold,]
