"""Whether the beds of a pen are ready before its cows are back, and what is lost if not."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

MINUTE = timedelta(minutes=1)


@dataclass(frozen=True, slots=True)
class RowWork:
    """Open work on one row of beds.

    Parameters
    ----------
    n_stalls : int
        Stalls of the row, > 0.
    duration_min : float
        What the work takes, > 0. [min]
    due_at : datetime
        When the row closes to work.
    ends_at : datetime or None
        When it ends as planned or as begun; None where nobody has it.
    """

    n_stalls: int
    duration_min: float
    due_at: datetime
    ends_at: datetime | None


@dataclass(frozen=True, slots=True)
class BedsShort:
    """What is short of a pen's beds.

    `over_min` is by how much the work that somebody has runs past its row's closing [min], 0 where
    it does not; `n_stalls` are left undone at the closing; after `decide_by` nothing helps whole.
    """

    n_rows: int
    n_nobody: int
    over_min: float
    n_stalls: int
    closes_at: datetime
    decide_by: datetime


def beds_short(rows: Sequence[RowWork], now: datetime) -> BedsShort | None:
    """Judge the open work of a pen's visit; None where all of it is done in time.

    Parameters
    ----------
    rows : sequence of RowWork
        Of one visit.
    now : datetime
        Work that should have ended by now, and has not, ends now at the earliest.

    Notes
    -----
    Stalls left of a row that runs over are its stalls by the share of its minutes that lie past the
    closing, rounded up: work goes on at an even pace. What nobody has must begin its minutes before
    the row closes.

    Checked: tests/schedules/alerts/test_beds.py::test_row_that_runs_over_leaves_its_share_of_stalls
    """
    over = [(row, over_min) for row in rows if (over_min := _over_min(row, now)) > 0]
    nobody = [row for row in rows if row.ends_at is None]
    if not over and not nobody:
        return None
    late_starts = [row.due_at - row.duration_min * MINUTE for row in nobody]
    return BedsShort(
        n_rows=len(over) + len(nobody),
        n_nobody=len(nobody),
        over_min=max((over_min for _row, over_min in over), default=0.0),
        n_stalls=sum(row.n_stalls for row in nobody) + sum(_left(*one) for one in over),
        closes_at=min(row.due_at for row in [*nobody, *(row for row, _over in over)]),
        decide_by=min([*late_starts, *(row.due_at for row, _over in over)]),
    )


def _over_min(row: RowWork, now: datetime) -> float:
    if row.ends_at is None:
        return 0.0
    return (max(row.ends_at, now) - row.due_at) / MINUTE


def _left(row: RowWork, over_min: float) -> int:
    return min(row.n_stalls, math.ceil(row.n_stalls * over_min / row.duration_min))
