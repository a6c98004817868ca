"""Hour meters of the invented farm over two years, and the services done by them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from crews.people.models import Worker
from equipment.machines.models import Machine, MeterReading, ServiceItem, ServiceRecord
from equipment.machines.queries import items_for
from equipment.machines.services import add_reading
from equipment.site.farmfields import Values
from equipment.site.models import Actor, Site

DAILY_D = 90  # a reading a day, as far back as anybody looks
HISTORY_D = 730  # before that one a month
KEPT_RECORDS = 6
GOLDEN_FRAC = (math.sqrt(5) - 1) / 2  # multiples of it spread evenly over 0 to 1


@dataclass(frozen=True)
class Past:
    """What one machine's meter showed: days ago against hours."""

    d_ago: tuple[float, ...]
    meter_h: tuple[float, ...]

    def d_ago_at(self, meter_h: float) -> float:
        return float(np.interp(meter_h, self.meter_h[::-1], self.d_ago[::-1]))


def run_meters(site: Site, entries: Iterable[Values], at: datetime) -> None:
    """Write readings and service records once, and today's reading by the verb people use."""
    if MeterReading.objects.filter(site=site).exists():
        return
    workers = {worker.key: worker for worker in Worker.objects.filter(site=site)}
    machines = {machine.key: machine for machine in Machine.objects.filter(site=site)}
    items = list(ServiceItem.objects.filter(site=site, retired_at=None))
    number = 0
    for seed, entry in enumerate(entries):
        machine, by = machines[entry["machine"]], workers[entry["by"]].actor
        past = _past(entry, np.random.default_rng(seed))
        MeterReading.objects.bulk_create(_readings(machine, past, by, at))
        for item in items_for(machine, items):
            number += 1
            left_h = entry["left_h"].get(item.key, _usual_left_h(item, number))
            done = _done_at_h(item, entry["meter_h"] + left_h, past)
            ServiceRecord.objects.bulk_create(_records(machine, item, past, done, (by, at)))
        add_reading(
            site_id=site.pk,
            machine_id=machine.pk,
            meter_h=entry["meter_h"],
            read_at=at - timedelta(minutes=20),
            by=by,
            now=at,
        )


def _past(entry: Values, rng: np.random.Generator) -> Past:
    """Count the meter back from now: some days longer, Sundays and repairs shorter."""
    uses_h = entry["use_h_d"] * rng.triangular(0.5, 1.0, 1.5, DAILY_D)
    daily = entry["meter_h"] - np.cumsum(uses_h)
    months = np.arange(1, (HISTORY_D - DAILY_D) // 30 + 1)
    monthly = daily[-1] - months * 30 * entry["use_h_d"]
    d_ago = [*range(1, DAILY_D + 1), *(DAILY_D + 30 * months)]
    meter_h = [max(round(float(h), 1), 0.0) for h in (*daily, *monthly)]
    n_running = sum(h > 0 for h in meter_h)
    return Past(tuple(map(float, d_ago[:n_running])), tuple(meter_h[:n_running]))


def _readings(machine: Machine, past: Past, by: Actor, at: datetime) -> Iterator[MeterReading]:
    for d_ago, meter_h in zip(past.d_ago, past.meter_h, strict=True):
        yield MeterReading(
            site_id=machine.site_id,
            machine=machine,
            read_at=at - timedelta(days=d_ago),
            meter_h=meter_h,
            by=by,
        )


def _usual_left_h(item: ServiceItem, number: int) -> float:
    """Hours left where the opening file names none: spread over the item's interval."""
    return (item.every_h or 0) * (0.05 + 0.95 * (number * GOLDEN_FRAC % 1))


def _done_at_h(item: ServiceItem, due_h: float, past: Past) -> list[float]:
    """Meter hours of the last services before the one due, the oldest first."""
    if item.every_h is None:
        return []
    done_h = [due_h - n * item.every_h for n in range(KEPT_RECORDS, 0, -1)]
    return [meter_h for meter_h in done_h if meter_h > past.meter_h[-1]]


def _records(
    machine: Machine,
    item: ServiceItem,
    past: Past,
    done_h: list[float],
    said: tuple[Actor, datetime],
) -> Iterator[ServiceRecord]:
    by, at = said
    for cycle, meter_h in enumerate(done_h, start=1):
        yield ServiceRecord(
            site_id=machine.site_id,
            machine=machine,
            item=item,
            cycle=cycle,
            done_at=at - timedelta(days=past.d_ago_at(meter_h)),
            meter_h=round(meter_h, 1),
            minutes=item.duration_min,
            by=by,
        )
