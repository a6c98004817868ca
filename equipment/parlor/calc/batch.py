"""How fast a parlor of sides takes cows: groups that enter, are milked and leave together."""

from dataclasses import dataclass
from math import ceil

from equipment.parlor.calc.rotary import MIN_PER_H


@dataclass(frozen=True, slots=True)
class BatchParlor:
    """Sides that each take a group of cows, milk it and let it go, one side after the other.

    Parameters
    ----------
    n_stalls : int
        Stalls of one side, at least 1.
    n_sides : int
        Sides that work in turn, at least 1.
    turn_min : float
        From a group's entry until the next group's entry on the same side, above 0. [min]
    empty_frac : float
        Share of stalls that stay empty in a full group, 0 up to but not including 1. [-]

    Raises
    ------
    ValueError
        If a value is outside its range.

    Notes
    -----
    Valid: steady running, groups of one pen only (a pen's last group may be part filled); the
    slowest cow of a group is in `turn_min`. Outside the ranges it refuses.
    Checked: tests/equipment/parlor/test_batch.py::test_a_double_twenty_turns_four_and_a_half_times,
    test_a_part_filled_last_group_takes_a_whole_turn_of_a_side

    References
    ----------
    Arithmetic.
    """

    n_stalls: int
    n_sides: int
    turn_min: float
    empty_frac: float = 0.0

    def __post_init__(self) -> None:
        if self.n_stalls < 1:
            raise ValueError(f"n_stalls must be at least 1, got {self.n_stalls}")
        if self.n_sides < 1:
            raise ValueError(f"n_sides must be at least 1, got {self.n_sides}")
        if not 0 < self.turn_min < float("inf"):
            raise ValueError(f"turn_min must be > 0, got {self.turn_min}")
        if not 0 <= self.empty_frac < 1:
            raise ValueError(f"empty_frac must be in [0, 1), got {self.empty_frac}")

    @property
    def rotation_min(self) -> float:
        """Time from a cow's entry to her exit [min]."""
        return self.turn_min

    @property
    def cows_per_h(self) -> float:
        """Cows milked in an hour in full groups [h⁻¹]."""
        return self.n_sides * self.n_stalls * (1 - self.empty_frac) * MIN_PER_H / self.turn_min

    def entry_min(self, n_cows: int) -> float:
        """Time that a pen needs to enter, until the next pen's first cow may.

        Parameters
        ----------
        n_cows : int
            Cows of the pen, not negative.

        Returns
        -------
        float
            Whole groups times the step between groups. [min]

        Raises
        ------
        ValueError
            If `n_cows` is negative.
        """
        if n_cows < 0:
            raise ValueError(f"n_cows must not be negative, got {n_cows}")
        # Rounded, so that 0.9 x 20 stalls are 18 and 36 cows make two groups, not three.
        n_groups = ceil(round(n_cows / (self.n_stalls * (1 - self.empty_frac)), 9))
        return n_groups * self.turn_min / self.n_sides

    def milking_min(self, n_cows: int) -> float:
        """Time that the parlor runs for a pen: its groups' entries, then the last one's turn.

        Parameters
        ----------
        n_cows : int
            Cows of the pen, not negative.

        Returns
        -------
        float
            Minutes from the first group's entry until the last group's exit; 0 for no cows. [min]

        Raises
        ------
        ValueError
            If `n_cows` is negative.
        """
        if n_cows == 0:
            return 0.0
        return self.entry_min(n_cows) + self.turn_min * (1 - 1 / self.n_sides)
