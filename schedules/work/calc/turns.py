"""Turns of beds by pen and week: how many were done, and which pens fared worst."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TypeVar

WEEK_D = 7
Key = TypeVar("Key")


@dataclass(frozen=True, slots=True)
class Turns:
    """Turns that rows of beds were due, and what became of them.

    Parameters
    ----------
    n_due : int
        All of them.
    n_full, n_part, n_missed : int
        Done in full (its rest too), in part, not at all.

    Raises
    ------
    ValueError
        More became of them than were due, or a negative count.
    """

    n_due: int = 0
    n_full: int = 0
    n_part: int = 0
    n_missed: int = 0

    def __post_init__(self) -> None:
        if min(self.n_full, self.n_part, self.n_missed, self.n_untold) < 0:
            raise ValueError(f"counts do not add up: {self}")

    @property
    def n_untold(self) -> int:
        """Those of which nobody told the end."""
        return self.n_due - self.n_full - self.n_part - self.n_missed

    @property
    def full_frac(self) -> float | None:
        """Share done in full; None where none was due."""
        return self.n_full / self.n_due if self.n_due else None

    def __add__(self, other: Turns) -> Turns:
        """Add two counts."""
        return Turns(
            self.n_due + other.n_due,
            self.n_full + other.n_full,
            self.n_part + other.n_part,
            self.n_missed + other.n_missed,
        )


def weeks_before(until_on: date, n_weeks: int) -> list[tuple[date, date]]:
    """Give the weeks of seven days that end before a date.

    Parameters
    ----------
    until_on : date
        The day after the last.
    n_weeks : int
        How many, 1 or more.

    Returns
    -------
    list of tuple of date
        First day and exclusive end of each, the oldest first.
    """
    ends = [until_on - timedelta(days=WEEK_D * n) for n in range(n_weeks)]
    return [(end - timedelta(days=WEEK_D), end) for end in reversed(ends)]


def week_of(on: date, weeks: list[tuple[date, date]]) -> int:
    """Give the index of the week that a date lies in.

    Parameters
    ----------
    on : date
        Within the weeks.
    weeks : list of tuple of date
        As `weeks_before` gives them.

    Returns
    -------
    int
        Its index.

    Raises
    ------
    ValueError
        A date outside of them.
    """
    n = (on - weeks[0][0]).days // WEEK_D
    if not 0 <= n < len(weeks):
        raise ValueError(f"{on} lies outside {weeks[0][0]} to {weeks[-1][1]}")
    return n


def worst_first(turns: Mapping[Key, Turns]) -> list[Key]:
    """Order by the share done in full, the least first; where none was due, last.

    Parameters
    ----------
    turns : mapping
        Turns by what they are of.

    Returns
    -------
    list
        Its keys; of equal shares the one that missed more comes first, then as they stood.
    """

    def rank(key: Key) -> tuple[bool, float, int]:
        share = turns[key].full_frac
        return share is None, share or 0.0, -turns[key].n_missed

    return sorted(turns, key=rank)


def total(turns: Iterable[Turns]) -> Turns:
    """Add up counts.

    Parameters
    ----------
    turns : iterable of Turns
        None or more.

    Returns
    -------
    Turns
        Their sum.
    """
    return sum(turns, Turns())
