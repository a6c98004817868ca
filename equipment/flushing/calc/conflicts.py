"""No run while people, machines or cows being moved are where its water comes by."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Generic

from equipment.site.calc import local_time

from .reach import PlaceT, PlannedRun, blocks_of_run


class Who(StrEnum):
    """Whom a run would meet."""

    PEOPLE = "people"
    MACHINE = "machine"
    COWS = "cows"


@dataclass(frozen=True, slots=True)
class Presence(Generic[PlaceT]):
    """Somebody or something at a place for a while, `[start_at, end_at)`.

    Parameters
    ----------
    key : str
        Names what it is about.
    who : Who
        People, a machine, or cows being moved.
    place : place
        Where the water would meet them.
    start_at, end_at : datetime
        Aware; the end after the start.

    Raises
    ------
    ValueError
        If an instant is naive, or the end is not after the start.
    """

    key: str
    who: Who
    place: PlaceT
    start_at: datetime
    end_at: datetime

    def __post_init__(self) -> None:
        local_time.require_aware(self.start_at, "start_at")
        local_time.require_aware(self.end_at, "end_at")
        if not self.start_at < self.end_at:
            raise ValueError(f"{self.key}: end_at must be after start_at")


@dataclass(frozen=True, slots=True)
class Conflict(Generic[PlaceT]):
    """A run that would meet somebody; it is not to run.

    Parameters
    ----------
    run_key : str
        The run.
    presence : Presence
        Whom it would meet, and where.
    """

    run_key: str
    presence: Presence[PlaceT]


def find_conflicts(
    runs: Iterable[PlannedRun[PlaceT]],
    presences: Iterable[Presence[PlaceT]],
    drains_to: Mapping[PlaceT, PlaceT | None],
) -> list[Conflict[PlaceT]]:
    """Find the runs that would meet people, machines or cows being moved.

    Parameters
    ----------
    runs : iterable of PlannedRun
        The runs.
    presences : iterable of Presence
        Who is where.
    drains_to : mapping of place to place or None
        As in `reach.water_path`.

    Returns
    -------
    list of Conflict
        In the order of the runs, then of the presences. [-]

    Raises
    ------
    ValueError
        As in `reach.water_path`.

    Notes
    -----
    Valid: what is planned or told. Who is somewhere untold is not known: a lock at the valve alone
    keeps water away.

    Checked: tests/equipment/flushing/test_conflicts.py::test_a_run_meets_who_is_in_its_way,
    test_found_are_exactly_the_overlaps

    References
    ----------
    Arithmetic.
    """
    by_place: dict[PlaceT, list[Presence[PlaceT]]] = {}
    for presence in presences:
        by_place.setdefault(presence.place, []).append(presence)
    return [
        Conflict(run.key, presence)
        for run in runs
        for block in blocks_of_run(run, drains_to)
        for presence in by_place.get(block.place, ())
        if presence.start_at < block.end_at and block.start_at < presence.end_at
    ]
