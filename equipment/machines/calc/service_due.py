"""When a service falls due: by the hours a machine has run or by the calendar, whichever is first.

The maker's manual governs; every interval is the farm's to set.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from math import floor

import numpy as np
from numpy.typing import NDArray

from equipment.machines.calc.use import DailyUse
from equipment.site.calc.refusal import RefusedValueError

_FARTHEST_D = 3_650  # a date ten years out says no more than "not in sight"
_Z90 = 1.2815515655446004  # 90 per cent point of the normal distribution: stats.norm.ppf(0.9)
_FLOAT_NOISE_H = 1e-9


@dataclass(frozen=True, slots=True)
class ServiceItem:
    """What a machine needs every so many hours or days.

    Parameters
    ----------
    key : str
        The farm's key for it.
    every_h : float or None
        Hours run between two services. [h]
    every_d : int or None
        Days between two services. [d]
    first_at_h : float or None
        Hours run by which a new machine has its first one, where that differs: oil at 50 h, then
        every 250 h. [h]
    """

    key: str
    every_h: float | None = None
    every_d: int | None = None
    first_at_h: float | None = None

    def __post_init__(self) -> None:
        """Refuse an item that would never or always be due."""
        if self.every_h is None and self.every_d is None:
            raise RefusedValueError("missing", f"{self.key}.every_h", "every_d")
        for name in ("every_h", "every_d", "first_at_h"):
            value = getattr(self, name)
            if value is not None and not value > 0:
                raise RefusedValueError("out_of_range", f"{self.key}.{name}", value)


@dataclass(frozen=True, slots=True)
class ServicePoint:
    """A date with the hours run by then: a service done, or the day the plan began.

    Parameters
    ----------
    on : date
        Local date.
    total_h : float
        Hours run through all meters. [h]
    """

    on: date
    total_h: float


@dataclass(frozen=True, slots=True)
class ServiceState:
    """An item of a machine and what has been done of it.

    Parameters
    ----------
    item : ServiceItem
        The item.
    began : ServicePoint
        When the machine came under the plan.
    done : tuple of ServicePoint
        The services recorded, in any order.
    """

    item: ServiceItem
    began: ServicePoint
    done: tuple[ServicePoint, ...] = ()

    @property
    def cycle(self) -> int:
        """Number of the service that is next, from 1: the key of its work with machine and item."""
        return len(self.done) + 1

    @property
    def due_at_h(self) -> float | None:
        """Hours run at which it is due; None for an item that goes by the calendar alone [h]."""
        item = self.item
        if item.every_h is None:
            return None
        if self.done:
            return max(point.total_h for point in self.done) + item.every_h
        is_new = item.first_at_h is not None and self.began.total_h < item.first_at_h
        return item.first_at_h if is_new else self.began.total_h + item.every_h

    @property
    def by_calendar_on(self) -> date | None:
        """Local date on which it is due however little the machine runs."""
        if self.item.every_d is None:
            return None
        last_on = max((point.on for point in self.done), default=self.began.on)
        return last_on + timedelta(days=self.item.every_d)


class DueBy(StrEnum):
    """What makes a service due first."""

    HOURS = "hours"
    CALENDAR = "calendar"


@dataclass(frozen=True, slots=True)
class ServiceDue:
    """When the next service of an item is due.

    Parameters
    ----------
    cycle : int
        Number of that service.
    left_h : float or None
        Hours left to run, negative when overdue; None without an interval in hours. [h]
    due_on : date or None
        The likely local date, P50; None while nothing says when.
    earliest_on, latest_on : date or None
        P10 and P90: in one of ten it is due before, in one of ten after.
    by : DueBy or None
        What makes it due on `due_on`.
    """

    cycle: int
    left_h: float | None
    due_on: date | None
    earliest_on: date | None
    latest_on: date | None
    by: DueBy | None


def service_due(state: ServiceState, now: ServicePoint, use: DailyUse | None) -> ServiceDue:
    """Project when the next service of an item is due.

    Parameters
    ----------
    state : ServiceState
        The item and what has been done of it.
    now : ServicePoint
        Local date and total of the last reading: the projection starts there, not today.
    use : DailyUse or None
        Recent use; None when the readings do not show it yet.

    Returns
    -------
    ServiceDue
        The earliest of hours and calendar. An item overdue by hours is due on the date of the
        reading that shows it; one overdue by the calendar keeps its date in the past. [date]

    Notes
    -----
    The hours of the next n days have the mean rate x n, by the weekly pattern, and the variance
    scatter² n + (rate's own error x n)²: days vary, and the rate may be wrong. The P10, P50 and
    P90 dates are where the 90, 50 and 10 per cent points of those hours reach the mark.

    Valid: for a machine in use; one laid up is due later, by as long as it stands.
    Checked: tests/equipment/machines/test_service_due.py::
    test_ten_hours_left_at_eight_a_day_are_due_tomorrow,
    test_the_range_widens_as_days_vary_and_the_rate_may_be_wrong

    References
    ----------
    .. [1] Common practice, no source: whichever of hours and calendar comes first.
    .. [2] Arithmetic: sum of independent days, normal by their number.
    """
    left_h = None if state.due_at_h is None else state.due_at_h - now.total_h
    by_hours = [_reached_on(now.on, left_h, use, z) for z in (0.0, _Z90, -_Z90)]
    by_calendar = state.by_calendar_on
    due_on, earliest_on, latest_on = (_first_of(by_hour, by_calendar) for by_hour in by_hours)
    by = None
    if due_on is not None:
        by = DueBy.HOURS if due_on == by_hours[0] else DueBy.CALENDAR
    return ServiceDue(state.cycle, left_h, due_on, earliest_on, latest_on, by)


def _reached_on(from_on: date, left_h: float | None, use: DailyUse | None, z: float) -> date | None:
    """Date on which the hours left are run; None when they are not in sight."""
    if left_h is None:
        return None
    if left_h <= 0:
        return from_on
    if use is None or use.rate_h_d == 0:
        return None
    run_h = _hours_ahead(use, z)
    day = int(np.searchsorted(run_h, left_h - _FLOAT_NOISE_H))
    if day == len(run_h):
        return None
    reached_d = day - 1 + (left_h - run_h[day - 1]) / (run_h[day] - run_h[day - 1])
    return from_on + timedelta(days=floor(reached_d + _FLOAT_NOISE_H))


def _hours_ahead(use: DailyUse, z: float) -> NDArray[np.float64]:
    """Hours run by the end of each day to come, at so many standard deviations; 0 at its start."""
    n = np.arange(_FARTHEST_D + 1)
    frac = np.resize(use.next_days_frac, _FARTHEST_D)
    likely_h = np.concatenate([[0.0], use.rate_h_d * np.cumsum(frac)])
    spread_h = np.sqrt(use.scatter_h**2 * n + (use.rate_sd_h_d * n) ** 2)
    return np.maximum.accumulate(np.clip(likely_h + z * spread_h, 0.0, 24.0 * n))


def _first_of(*dates: date | None) -> date | None:
    return min((each for each in dates if each is not None), default=None)


@dataclass(frozen=True, slots=True)
class MadeDue:
    """A service that a reading shows to be due.

    Parameters
    ----------
    key : str
        The item's key.
    cycle : int
        Number of the service.
    over_h : float
        Hours run past the mark. [h]
    is_new : bool
        Whether the reading before did not show it yet.
    """

    key: str
    cycle: int
    over_h: float
    is_new: bool


def made_due(states: Iterable[ServiceState], before_h: float, after_h: float) -> list[MadeDue]:
    """Say what a reading makes due.

    Parameters
    ----------
    states : iterable of ServiceState
        The items of the machine.
    before_h, after_h : float
        Hours run by the reading before, and by this one. [h]

    Returns
    -------
    list of MadeDue
        Every service due by its hours, the longest overdue first.
    """
    found = [
        MadeDue(state.item.key, state.cycle, after_h - due_at_h, before_h < due_at_h)
        for state in states
        if (due_at_h := state.due_at_h) is not None and due_at_h <= after_h
    ]
    return sorted(found, key=lambda due: (-due.over_h, due.key))
