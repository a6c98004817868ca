"""The batch that is ready after the day on which its sand is needed, and what bridges the gap."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Coming:
    """A batch on its way: its dry mass [kg], and the day from today on which it is likely ready.

    `ready_d` is a whole number, infinite where it is not foreseen.
    """

    key: int
    dry_kg: float
    ready_d: float


@dataclass(frozen=True, slots=True)
class Missed:
    """A batch that comes after the sand before it is used up to the safety stock.

    Days count from today: sand is below the safety stock by the evening of `needed_d`; `short_kg`
    is missing by the evening before the batch, or by that of the last day where it is not seen;
    `use_frac` is the share of each day's use that would have to be saved from today until then.
    """

    key: int | None
    needed_d: int
    ready_d: float
    short_kg: float
    use_frac: float


def first_missed(
    opening_kg: float, safety_kg: float, use_kg: Sequence[float], coming: Sequence[Coming]
) -> Missed | None:
    """Find the first batch that misses the day it is needed.

    Parameters
    ----------
    opening_kg : float
        Ready sand this morning, dry. [kg]
    safety_kg : float
        What must not be gone below, ≥ 0. [kg]
    use_kg : sequence of float
        What the beds take on each day from today, ≥ 0. [kg]
    coming : sequence of Coming
        Batches that are not ready yet, in any order.

    Returns
    -------
    Missed or None
        None where sand lasts for all days of `use_kg`. Its `key` is None where no batch is on its
        way that is not ready by then.

    Notes
    -----
    Each evening's sand is the opening, and what was ready by that day, less all use so far.

    Valid: the likely course alone; how likely it is, the supply of sand says.
    Checked: tests/schedules/alerts/test_sand.py::test_batch_that_comes_after_its_day_is_found
    """
    n_days = len(use_kg)
    level_kg, levels = opening_kg, []
    for day in range(n_days):
        level_kg += sum(batch.dry_kg for batch in coming if batch.ready_d == day)
        level_kg -= use_kg[day]
        levels.append(level_kg)
    needed_d = next((day for day, level in enumerate(levels) if level < safety_kg), None)
    if needed_d is None:
        return None
    late = [batch for batch in coming if batch.ready_d > needed_d]
    batch = min(late, key=lambda one: (one.ready_d, one.key), default=None)
    ready_d = batch.ready_d if batch else math.inf
    last = int(min(n_days, ready_d)) - 1
    short_kg = safety_kg - levels[max(last, needed_d)]
    used_kg = sum(use_kg[: max(last, needed_d) + 1])
    return Missed(
        key=batch.key if batch else None,
        needed_d=needed_d,
        ready_d=ready_d,
        short_kg=short_kg,
        use_frac=min(1.0, short_kg / used_kg) if used_kg > 0 else 1.0,
    )
