"""The level of a flush tank through a day of runs."""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from equipment.site.calc import local_time

# A run that lacks less than this lacks nothing: sums of floats, not water.
NOTHING_M3 = 1e-9


@dataclass(frozen=True, slots=True)
class FlushTank:
    """A tank that refills at a steady rate until it is full.

    Parameters
    ----------
    volume_m3 : float
        What it holds, above 0. [m³]
    refill_m3_h : float
        Rate of the pumps, 0 or more. [m³ h⁻¹]
    reserve_m3 : float
        What the valves cannot draw, from 0 up to the volume. [m³]

    Raises
    ------
    ValueError
        If a value is out of range.
    """

    volume_m3: float
    refill_m3_h: float
    reserve_m3: float = 0.0

    def __post_init__(self) -> None:
        if not 0 < self.volume_m3 < float("inf"):
            raise ValueError(f"volume_m3 must be > 0, got {self.volume_m3}")
        if not 0 <= self.refill_m3_h < float("inf"):
            raise ValueError(f"refill_m3_h must be 0 or more, got {self.refill_m3_h}")
        if not 0 <= self.reserve_m3 <= self.volume_m3:
            raise ValueError(f"reserve_m3 must be in [0, {self.volume_m3}], got {self.reserve_m3}")

    def refilled(self, level_m3: float, hours_h: float) -> float:
        """Compute the level after a while of pumping.

        Parameters
        ----------
        level_m3 : float
            Level at the start. [m³]
        hours_h : float
            How long no run draws. [h]

        Returns
        -------
        float
            Level at the end, at most the volume. [m³]
        """
        return min(self.volume_m3, level_m3 + self.refill_m3_h * hours_h)


@dataclass(frozen=True, slots=True)
class Draw:
    """What one run takes from a tank.

    Parameters
    ----------
    run_key : str
        Name of the run.
    starts_at : datetime
        When its valve opens; aware.
    volume_m3 : float
        What it needs, 0 or more. [m³]

    Raises
    ------
    ValueError
        If the instant is naive or the volume out of range.
    """

    run_key: str
    starts_at: datetime
    volume_m3: float

    def __post_init__(self) -> None:
        local_time.require_aware(self.starts_at, "starts_at")
        if not 0 <= self.volume_m3 < float("inf"):
            raise ValueError(f"run {self.run_key}: volume_m3 must be 0 or more")


@dataclass(frozen=True, slots=True)
class TankStep:
    """The tank at one run.

    Parameters
    ----------
    run_key : str
        The run.
    at : datetime
        When its valve opens.
    before_m3, after_m3 : float
        Level before and after. [m³]
    short_m3 : float
        What the run lacks; it gets the rest. [m³]
    """

    run_key: str
    at: datetime
    before_m3: float
    after_m3: float
    short_m3: float


@dataclass(frozen=True, slots=True)
class TankDay:
    """A tank through a day.

    Parameters
    ----------
    steps : tuple of TankStep
        One per run, by its start.
    end_m3 : float
        Level at the end. [m³]
    refilled_m3, drawn_m3 : float
        What came in and what went out. [m³]
    """

    steps: tuple[TankStep, ...]
    end_m3: float
    refilled_m3: float
    drawn_m3: float

    @property
    def first_starved(self) -> TankStep | None:
        """The first run that does not get its water; None where all do."""
        return next((step for step in self.steps if step.short_m3 > NOTHING_M3), None)


def run_tank(
    tank: FlushTank,
    draws: Iterable[Draw],
    *,
    level_m3: float,
    start_at: datetime,
    end_at: datetime,
) -> TankDay:
    """Follow a tank's level through runs and refill.

    Parameters
    ----------
    tank : FlushTank
        The tank.
    draws : iterable of Draw
        The runs, in any order; of runs that start together the one given first draws first.
    level_m3 : float
        Level at the start, from 0 up to the tank's volume. [m³]
    start_at, end_at : datetime
        The day; aware, the end not before the start.

    Returns
    -------
    TankDay
        Levels at each run and at the end. [m³]

    Raises
    ------
    ValueError
        If the level is out of range, the end lies before the start, or a run outside of both.

    Notes
    -----
    A run's water is taken as drawn when its valve opens: a run lasts seconds to minutes against
    hours of refill, and so the level is never shown higher than it is. Refill beyond a full tank
    does not happen.

    Valid: pumps that always have recycled water to draw from (`balance.balance_days` tells).

    Checked: tests/equipment/flushing/test_tank.py::test_levels_are_told_at_each_run,
    test_pumps_of_published_size_fill_a_tank_in_two_hours, test_water_is_neither_made_nor_lost

    References
    ----------
    Arithmetic; pumps that fill a tank in 2 to 4 h: Missouri Extension WQ308.
    """
    _check_day(tank, level_m3=level_m3, start_at=start_at, end_at=end_at)
    ordered = _in_order(draws, start_at=start_at, end_at=end_at)
    level, at, refilled_m3 = level_m3, start_at, 0.0
    steps: list[TankStep] = []
    for draw in ordered:
        before = tank.refilled(level, local_time.elapsed_h(at, draw.starts_at))
        refilled_m3 += before - level
        drawn = min(draw.volume_m3, max(before - tank.reserve_m3, 0.0))
        level, at = before - drawn, draw.starts_at
        steps.append(TankStep(draw.run_key, at, before, level, draw.volume_m3 - drawn))
    end_m3 = tank.refilled(level, local_time.elapsed_h(at, end_at))
    day = TankDay(
        steps=tuple(steps),
        end_m3=end_m3,
        refilled_m3=refilled_m3 + end_m3 - level,
        drawn_m3=sum(step.before_m3 - step.after_m3 for step in steps),
    )
    _check_balance(day, level_m3)
    return day


def _check_day(tank: FlushTank, *, level_m3: float, start_at: datetime, end_at: datetime) -> None:
    if not 0 <= level_m3 <= tank.volume_m3:
        raise ValueError(f"level_m3 must be in [0, {tank.volume_m3}], got {level_m3}")
    if local_time.elapsed_h(start_at, end_at) < 0:
        raise ValueError(f"the day ends {end_at} before it starts {start_at}")


def _in_order(draws: Iterable[Draw], *, start_at: datetime, end_at: datetime) -> list[Draw]:
    # Not by the instants themselves: those of one local zone compare by the wall clock.
    ordered = sorted(draws, key=lambda draw: local_time.elapsed_h(start_at, draw.starts_at))
    day_h = local_time.elapsed_h(start_at, end_at)
    for draw in ordered:
        if not 0 <= local_time.elapsed_h(start_at, draw.starts_at) <= day_h:
            raise ValueError(f"run {draw.run_key} starts {draw.starts_at}, outside of the day")
    return ordered


def _check_balance(day: TankDay, level_m3: float) -> None:
    left_m3 = level_m3 + day.refilled_m3 - day.drawn_m3
    scale_m3 = level_m3 + day.refilled_m3 + day.drawn_m3
    if not math.isclose(left_m3, day.end_m3, rel_tol=0.0, abs_tol=1e-9 * (1 + scale_m3)):
        raise ArithmeticError(f"tank balance does not close: {left_m3} against {day.end_m3} m³")
