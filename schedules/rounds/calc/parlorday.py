"""What the farm gives: pens, milkings and a parlor; data that refuses nonsense."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from itertools import pairwise

from equipment.parlor.calc import AnyParlor
from schedules.rounds.calc.returns import BedGroup, ReturnRule, StraightBack, require_minutes
from schedules.rounds.calc.windows import WindowRules, require_utc

# Massey University thesis 5490 (abstract): driven cows, 3.3 km/h.
WALK_SPEED_M_MIN = 55.0


def require_distinct(owner: str, keys: Sequence[object]) -> None:
    """Refuse a key that stands twice.

    Parameters
    ----------
    owner : str
        The record to name in the message.
    keys : sequence
        The keys.

    Raises
    ------
    ValueError
        If two keys are equal.
    """
    if len(set(keys)) < len(keys):
        raise ValueError(f"{owner}: a key stands twice in {list(keys)}")


@dataclass(frozen=True, slots=True)
class PenAtParlor:
    """A pen as the parlor's day sees it.

    Parameters
    ----------
    key : str
        Name of the pen, unique in a milking.
    n_cows : int
        Cows that go to the parlor, at least 1; a pen without cows makes no visit.
    walk_m : float
        From the pen to the parlor, and the same way back. [m]
    rules : WindowRules
        Buffers and fixed steps of the pen's windows.
    walk_speed_m_min : float
        Speed of the driven group; 30 to 40 for lame or heat-stressed cows (common practice,
        no source). [m min⁻¹]
    clear_min : float
        From the first cow out until the last one is out. [min]
    lead_min : float
        From the call until the first cow is out. [min]
    holding_wait_min : float
        Time for which the first cow is to stand in the holding area before she steps on, so
        that the deck never waits. [min]
    returns : ReturnRule
        What the pen does with cows that come back.
    bed_groups : tuple of BedGroup
        Rows of beds, in the order in which they are given back to the cows.
    is_withheld : bool
        Its milk does not go into the tank, so that a system wash follows before milk that does.

    Raises
    ------
    ValueError
        If a value is out of range or two rows have one key.
    """

    key: str
    n_cows: int
    walk_m: float
    rules: WindowRules
    walk_speed_m_min: float = WALK_SPEED_M_MIN
    clear_min: float = 4.0
    lead_min: float = 5.0
    holding_wait_min: float = 0.0
    returns: ReturnRule = field(default_factory=StraightBack)
    bed_groups: tuple[BedGroup, ...] = ()
    is_withheld: bool = False

    def __post_init__(self) -> None:
        owner = f"pen {self.key}"
        if self.n_cows < 1:
            raise ValueError(f"{owner}: n_cows must be at least 1, got {self.n_cows}")
        if not 0 <= self.walk_m < float("inf"):
            raise ValueError(f"{owner}: walk_m must be 0 or more, got {self.walk_m}")
        if not 0 < self.walk_speed_m_min < float("inf"):
            raise ValueError(f"{owner}: walk_speed_m_min must be > 0, got {self.walk_speed_m_min}")
        require_minutes(
            owner,
            clear_min=self.clear_min,
            lead_min=self.lead_min,
            holding_wait_min=self.holding_wait_min,
        )
        require_distinct(owner, [group.key for group in self.bed_groups])

    @property
    def walk_min(self) -> float:
        """Time of the walk, one way [min]."""
        return self.walk_m / self.walk_speed_m_min


@dataclass(frozen=True, slots=True)
class Milking:
    """One pass of pens through the parlor.

    Parameters
    ----------
    slot : int
        Number of the milking, unique in the day.
    starts_at : datetime
        When the first pen's first cow is to step on.
    pens : tuple of PenAtParlor
        The pens in the order in which they are milked, at least one. It must be the true
        order: a pen that was milked out of turn has to be given in the place it took.

    Raises
    ------
    ValueError
        If the start is not in UTC, no pen is given, or one is given twice.
    """

    slot: int
    starts_at: datetime
    pens: tuple[PenAtParlor, ...]

    def __post_init__(self) -> None:
        owner = f"milking {self.slot}"
        require_utc(owner, starts_at=self.starts_at)
        if not self.pens:
            raise ValueError(f"{owner}: at least one pen is needed")
        require_distinct(owner, [pen.key for pen in self.pens])


@dataclass(frozen=True, slots=True)
class ParlorDay:
    """The parlor's day as it is meant to be.

    Parameters
    ----------
    parlor : RotaryParlor or BatchParlor
        The deck and its pace.
    milkings : tuple of Milking
        At least one, by their starts.
    wash_min : float
        System wash after the last cow of each milking is off the deck, and within a milking
        after the last cow of a pen whose milk is withheld, where milk for the tank follows. [min]
    free_from : datetime or None
        When the wash of the day before ends, where that is known.
    next_day_starts_at : datetime or None
        Start of the next day's first milking, where that is known. A day of local starts has
        23 or 25 hours when clocks change.

    Raises
    ------
    ValueError
        If milkings are missing, out of order or doubled, or a time is out of range.
    """

    parlor: AnyParlor
    milkings: tuple[Milking, ...]
    wash_min: float
    free_from: datetime | None = None
    next_day_starts_at: datetime | None = None

    def __post_init__(self) -> None:
        require_minutes("parlor day", wash_min=self.wash_min)
        require_utc(
            "parlor day", free_from=self.free_from, next_day_starts_at=self.next_day_starts_at
        )
        if not self.milkings:
            raise ValueError("parlor day: at least one milking is needed")
        require_distinct("parlor day", [milking.slot for milking in self.milkings])
        starts = [milking.starts_at for milking in self.milkings]
        if self.next_day_starts_at is not None:
            starts.append(self.next_day_starts_at)
        if any(later <= earlier for earlier, later in pairwise(starts)):
            raise ValueError("parlor day: milkings must be given by their starts, none at once")
