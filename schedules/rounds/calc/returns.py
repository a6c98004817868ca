"""What a pen does with cows that come back before its beds are done, and what that costs them."""

from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import ClassVar

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

MIN_PER_H = 60.0


class ReturnMode(StrEnum):
    """The ways to win time for a pen's beds; common practice, no source."""

    NONE = "none"
    GATE_HELD = "gate_held"
    SPARE_PEN = "spare_pen"
    FEED_RAIL_LOCK = "feed_rail_lock"
    INNER_GATE = "inner_gate"


@dataclass(frozen=True, slots=True)
class BedGroup:
    """A row of stalls groomed as one.

    Parameters
    ----------
    key : str
        Name of the row, unique in its pen.
    n_stalls : int
        Stalls in the row, at least 1.
    is_far_row : bool
        True where cows locked at the feed rail do not stand at or behind these beds.

    Raises
    ------
    ValueError
        If the row has no stalls.
    """

    key: str
    n_stalls: int
    is_far_row: bool = False

    def __post_init__(self) -> None:
        if self.n_stalls < 1:
            raise ValueError(f"bed group {self.key}: n_stalls must be at least 1")


def require_minutes(owner: str, **durations_min: float) -> None:
    """Refuse durations that are negative, endless or not a number.

    Parameters
    ----------
    owner : str
        The record to name in the message.
    **durations_min : float
        Durations by name. [min]

    Raises
    ------
    ValueError
        At the first duration out of range.
    """
    for name, value_min in durations_min.items():
        if not 0 <= value_min < float("inf"):
            raise ValueError(f"{owner}: {name} must be 0 or more minutes, got {value_min}")


class ReturnRule(ABC):
    """How one pen takes its cows back.

    Times are minutes after the first cow of the pen is back at feed and beds, so that a rule
    needs no clock. No rule brings cows back sooner than they come by themselves.
    """

    __slots__ = ()
    mode: ClassVar[ReturnMode]

    @property
    def delay_min(self) -> float:
        """How much later than by herself the first cow reaches feed and beds [min]."""
        return 0.0

    @property
    def pen_fills_after_min(self) -> float:
        """When cows are in this very pen again, after the first cow is back [min]."""
        return 0.0

    @abstractmethod
    def closes_after_min(self, bed_groups: Sequence[BedGroup]) -> tuple[float, ...]:
        """When each bed group must be clear of people and machines.

        Parameters
        ----------
        bed_groups : sequence of BedGroup
            The pen's rows, in the order in which they are given back to the cows.

        Returns
        -------
        tuple of float
            One per row: minutes after the first cow is back, never negative. [min]
        """

    @abstractmethod
    def waits_min(self, comes_min: FloatArray, bed_groups: Sequence[BedGroup]) -> FloatArray:
        """What the rule takes from each cow's rest.

        Parameters
        ----------
        comes_min : ndarray, shape (n_cows,)
            When each cow comes from the parlor by herself, after the first one. [min]
        bed_groups : sequence of BedGroup
            The pen's rows, in the order in which they are given back to the cows.

        Returns
        -------
        ndarray, shape (n_cows,)
            Time that each cow loses. [min]
        """


@dataclass(frozen=True, slots=True)
class StraightBack(ReturnRule):
    """Nothing is done: the beds close when the first cow is back."""

    mode: ClassVar[ReturnMode] = ReturnMode.NONE

    def closes_after_min(self, bed_groups: Sequence[BedGroup]) -> tuple[float, ...]:
        """Close every row at once (see `ReturnRule`)."""
        return (0.0,) * len(bed_groups)

    def waits_min(self, comes_min: FloatArray, bed_groups: Sequence[BedGroup]) -> FloatArray:
        """Cost nothing (see `ReturnRule`)."""
        del bed_groups  # no bed is kept from a cow
        return np.zeros_like(comes_min)


@dataclass(frozen=True, slots=True)
class GateHeld(ReturnRule):
    """Cows wait at the return gate, without feed or bed, until it is opened.

    Parameters
    ----------
    hold_min : float
        From the first cow's arrival at the gate until it is opened. [min]
    """

    hold_min: float
    mode: ClassVar[ReturnMode] = ReturnMode.GATE_HELD

    def __post_init__(self) -> None:
        require_minutes("gate held", hold_min=self.hold_min)

    @property
    def delay_min(self) -> float:
        """How long the first cow stands at the gate [min]."""
        return self.hold_min

    def closes_after_min(self, bed_groups: Sequence[BedGroup]) -> tuple[float, ...]:
        """Close every row when the gate opens (see `ReturnRule`)."""
        return (0.0,) * len(bed_groups)

    def waits_min(self, comes_min: FloatArray, bed_groups: Sequence[BedGroup]) -> FloatArray:
        """Count from each cow's arrival to the gate's opening (see `ReturnRule`)."""
        del bed_groups  # the gate keeps cows from all of them
        return np.maximum(self.hold_min - comes_min, 0.0)


@dataclass(frozen=True, slots=True)
class SparePen(ReturnRule):
    """Cows go to a clean spare pen and walk home when their own beds are done.

    Parameters
    ----------
    home_after_min : float
        From the first cow's arrival in the spare pen until the cows walk home. Where they stay
        until the next milking, the time until its call. [min]
    move_min : float
        Rest that the walk home takes from a cow; 0 where they stay. [min]
    """

    home_after_min: float
    move_min: float
    mode: ClassVar[ReturnMode] = ReturnMode.SPARE_PEN

    def __post_init__(self) -> None:
        require_minutes("spare pen", home_after_min=self.home_after_min, move_min=self.move_min)

    @property
    def pen_fills_after_min(self) -> float:
        """When the cows walk home [min]."""
        return self.home_after_min

    def closes_after_min(self, bed_groups: Sequence[BedGroup]) -> tuple[float, ...]:
        """Close every row when the cows walk home (see `ReturnRule`)."""
        return (self.home_after_min,) * len(bed_groups)

    def waits_min(self, comes_min: FloatArray, bed_groups: Sequence[BedGroup]) -> FloatArray:
        """Count one move for each cow that had lain down elsewhere (see `ReturnRule`)."""
        del bed_groups  # all of them are elsewhere
        return np.where(comes_min < self.home_after_min, self.move_min, 0.0)


@dataclass(frozen=True, slots=True)
class FeedRailLock(ReturnRule):
    """Cows are locked at the feed rail while the far rows are done.

    Parameters
    ----------
    lock_min : float
        From the first cow's arrival until all are let go. [min]

    Notes
    -----
    The rows by the feed rail close when the first cow is back, since cows stand in their alley.
    Over an hour locked counts against the cow (hoards.com/article-28392, Cornell Extension).
    """

    lock_min: float
    mode: ClassVar[ReturnMode] = ReturnMode.FEED_RAIL_LOCK

    def __post_init__(self) -> None:
        require_minutes("feed rail lock", lock_min=self.lock_min)

    def closes_after_min(self, bed_groups: Sequence[BedGroup]) -> tuple[float, ...]:
        """Close near rows at once and far rows when cows are let go (see `ReturnRule`)."""
        return tuple(self.lock_min if group.is_far_row else 0.0 for group in bed_groups)

    def waits_min(self, comes_min: FloatArray, bed_groups: Sequence[BedGroup]) -> FloatArray:
        """Count from each cow's arrival until all are let go (see `ReturnRule`)."""
        del bed_groups  # a locked cow reaches none of them
        return np.maximum(self.lock_min - comes_min, 0.0)


@dataclass(frozen=True, slots=True)
class InnerGate(ReturnRule):
    """A gate inside the pen moves on and gives the cows row after row.

    Parameters
    ----------
    step_min : float
        From one row's opening to the next one's; the first opens with the first cow. [min]
    """

    step_min: float
    mode: ClassVar[ReturnMode] = ReturnMode.INNER_GATE

    def __post_init__(self) -> None:
        require_minutes("inner gate", step_min=self.step_min)

    def closes_after_min(self, bed_groups: Sequence[BedGroup]) -> tuple[float, ...]:
        """Close the rows one after another (see `ReturnRule`)."""
        return tuple(self.step_min * rank for rank in range(len(bed_groups)))

    def waits_min(self, comes_min: FloatArray, bed_groups: Sequence[BedGroup]) -> FloatArray:
        """Count what each cow waits for a bed, first come, first served (see `ReturnRule`).

        Cows beyond the number of stalls wait for the last row only: what they lack after that
        is crowding, which the rule does not cause.
        """
        if not bed_groups:
            return np.zeros_like(comes_min)
        stalls_up_to_row = np.cumsum([group.n_stalls for group in bed_groups])
        row = np.searchsorted(stalls_up_to_row, np.arange(comes_min.size), side="right")
        opens_min = self.step_min * np.minimum(row, len(bed_groups) - 1)
        return np.maximum(opens_min - comes_min, 0.0)


def build_return_rule(mode: ReturnMode, *, hold_min: float, move_min: float = 0.0) -> ReturnRule:
    """Make the rule of a mode from the one time that each mode needs.

    Parameters
    ----------
    mode : ReturnMode
        What the pen does.
    hold_min : float
        The time won: gate held, time in the spare pen, locked, or from row to row. Not used
        where the mode is none. [min]
    move_min : float
        Rest that the walk home from a spare pen takes; not used elsewhere. [min]

    Returns
    -------
    ReturnRule
        The rule.

    Raises
    ------
    ValueError
        If a time is negative, endless or not a number.
    """
    match mode:
        case ReturnMode.NONE:
            return StraightBack()
        case ReturnMode.GATE_HELD:
            return GateHeld(hold_min)
        case ReturnMode.SPARE_PEN:
            return SparePen(hold_min, move_min)
        case ReturnMode.FEED_RAIL_LOCK:
            return FeedRailLock(hold_min)
        case ReturnMode.INNER_GATE:
            return InnerGate(hold_min)


@dataclass(frozen=True, slots=True)
class CowCost:
    """What a return mode takes from the cows' rest at one milking.

    Parameters
    ----------
    mean_min, worst_min : float
        Time lost by the average cow, and by the one that loses most. [min]
    cow_h : float
        Time lost by all cows of the pen together. [h]
    """

    mean_min: float
    worst_min: float
    cow_h: float


def price_return(
    rule: ReturnRule, *, n_cows: int, spread_min: float, bed_groups: Sequence[BedGroup]
) -> CowCost:
    """Compute what a return mode costs the cows at one milking.

    Parameters
    ----------
    rule : ReturnRule
        What the pen does.
    n_cows : int
        Cows of the pen, at least 1.
    spread_min : float
        From the first cow back to the last, as a rotary gives them back. [min]
    bed_groups : sequence of BedGroup
        The pen's rows, in the order in which they are given back to the cows.

    Returns
    -------
    CowCost
        Mean, worst and total time lost against cows that walk straight to their beds. [min, h]

    Notes
    -----
    Cows come back evenly spread. With a gate held for h of a spread s, the mean tends to
    h²/2s where h ≤ s, and to h - s/2 beyond.

    Valid: a deck that gives cows back at a steady pace; the beds' rest alone, not what a wait
    away from feed does to a cow.
    Checked: tests/schedules/rounds/test_returns.py::
    test_gate_held_for_a_part_of_the_spread_costs_a_triangle,
    test_feed_rail_lock_keeps_far_rows_only_and_costs_like_a_gate,
    test_inner_gate_that_lags_makes_the_later_cows_wait

    References
    ----------
    Arithmetic; over an hour locked at the rail counts against the cow: Cornell Extension, as told
    in hoards.com/article-28392.
    """
    waits_min = rule.waits_min(np.linspace(0.0, spread_min, n_cows), bed_groups)
    return CowCost(
        mean_min=float(waits_min.mean()),
        worst_min=float(waits_min.max()),
        cow_h=float(waits_min.sum()) / MIN_PER_H,
    )
