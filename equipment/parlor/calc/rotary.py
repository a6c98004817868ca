"""How fast a rotary parlor takes cows: entries, losses, length of a milking."""

from dataclasses import dataclass

S_PER_H = 3600.0
S_PER_MIN = 60.0
MIN_PER_H = 60.0


@dataclass(frozen=True, slots=True)
class RotaryParlor:
    """A turning deck that takes cows one by one at a steady pace.

    Parameters
    ----------
    n_stalls : int
        Stalls on the deck, at least 1.
    seconds_per_stall_s : float
        Time until the next stall stands at the entry, above 0. [s]
    empty_frac : float
        Share of stalls that pass the entry empty, cows on a second turn not counted,
        0 up to but not including 1. [-]
    second_turn_frac : float
        Cows that stay on for a second turn, per cow milked, 0 to 1. [-]
    is_stall_lost_behind_second_turn : bool
        True where each second-turn cow also leaves one stall empty.

    Raises
    ------
    ValueError
        If a value is outside its range.

    Notes
    -----
    Valid: steady running, stops of the deck being counted in `seconds_per_stall_s`; arithmetic,
    not a measured law (a validated rotary model reached a mean error of 3.5 % on cows per hour).
    Outside the ranges it refuses.
    Checked: tests/equipment/parlor/test_rotary.py::
    test_sixty_stalls_at_eight_seconds_milk_up_to_450_cows_an_hour,
    test_empty_stalls_and_second_turns_take_their_share

    References
    ----------
    Prendergast et al., "Development, validation, and demonstration of the rotary parlor
    model", J. Dairy Sci., 2025 (abstract).
    """

    n_stalls: int
    seconds_per_stall_s: float
    empty_frac: float = 0.0
    second_turn_frac: float = 0.0
    is_stall_lost_behind_second_turn: bool = False

    def __post_init__(self) -> None:
        if self.n_stalls < 1:
            raise ValueError(f"n_stalls must be at least 1, got {self.n_stalls}")
        # Written so that a NaN, which answers False to every comparison, is refused too.
        if not 0 < self.seconds_per_stall_s < float("inf"):
            raise ValueError(f"seconds_per_stall_s must be > 0, got {self.seconds_per_stall_s}")
        if not 0 <= self.empty_frac < 1:
            raise ValueError(f"empty_frac must be in [0, 1), got {self.empty_frac}")
        if not 0 <= self.second_turn_frac <= 1:
            raise ValueError(f"second_turn_frac must be in [0, 1], got {self.second_turn_frac}")

    @property
    def rotation_min(self) -> float:
        """Time of one full turn, and so from a cow's entry to her exit [min]."""
        return self.n_stalls * self.seconds_per_stall_s / S_PER_MIN

    @property
    def entries_per_h(self) -> float:
        """Stalls that pass the entry in an hour [h⁻¹]."""
        return S_PER_H / self.seconds_per_stall_s

    @property
    def cows_per_h(self) -> float:
        """Cows milked in an hour, after empty stalls and second turns [h⁻¹]."""
        stalls_per_second_turn = 2 if self.is_stall_lost_behind_second_turn else 1
        stalls_per_cow = 1 + stalls_per_second_turn * self.second_turn_frac
        return self.entries_per_h * (1 - self.empty_frac) / stalls_per_cow

    def entry_min(self, n_cows: int) -> float:
        """Time that a group needs to step on, until the next group's first cow may.

        Parameters
        ----------
        n_cows : int
            Cows of the group, not negative.

        Returns
        -------
        float
            Minutes from the group's first entry to the next group's first entry. [min]

        Raises
        ------
        ValueError
            If `n_cows` is negative.
        """
        if n_cows < 0:
            raise ValueError(f"n_cows must not be negative, got {n_cows}")
        return n_cows / self.cows_per_h * MIN_PER_H

    def milking_min(self, n_cows: int) -> float:
        """Time that the deck runs for a group: all entries, then one turn for the last cow.

        Parameters
        ----------
        n_cows : int
            Cows of the group, not negative.

        Returns
        -------
        float
            Minutes from the first cow's entry until the last cow's exit; 0 for no cows. [min]

        Raises
        ------
        ValueError
            If `n_cows` is negative.
        """
        return self.entry_min(n_cows) + (self.rotation_min if n_cows else 0.0)
