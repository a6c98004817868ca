"""Where a run's water goes, and what it occupies.

Generic in the name of a place, so that keys, ids or labels serve alike.
"""

from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Generic, TypeVar

from equipment.site.calc import local_time

PlaceT = TypeVar("PlaceT", bound=Hashable)


@dataclass(frozen=True, slots=True)
class PlannedRun(Generic[PlaceT]):
    """A run of flush water from a tank into an alley.

    Parameters
    ----------
    key : str
        Name of the run.
    tank, alley : place
        Where its water comes from and where it is let go.
    starts_at : datetime
        When the valve opens; aware.
    open_s : float
        How long the valve is open, above 0. [s]
    duration_s : float
        From the valve's opening until the alley is drained, at least `open_s`. [s]

    Raises
    ------
    ValueError
        If the instant is naive or a time out of range.
    """

    key: str
    tank: PlaceT
    alley: PlaceT
    starts_at: datetime
    open_s: float
    duration_s: float

    def __post_init__(self) -> None:
        local_time.require_aware(self.starts_at, "starts_at")
        if not 0 < self.open_s <= self.duration_s < float("inf"):
            raise ValueError(f"run {self.key}: 0 < open_s <= duration_s must hold")


@dataclass(frozen=True, slots=True)
class Block(Generic[PlaceT]):
    """A place that a run occupies for a while, `[start_at, end_at)`.

    Parameters
    ----------
    run_key : str
        The run.
    place : place
        The place.
    start_at, end_at : datetime
        From the valve's opening until the place is free of the run.
    """

    run_key: str
    place: PlaceT
    start_at: datetime
    end_at: datetime


def water_path(place: PlaceT, drains_to: Mapping[PlaceT, PlaceT | None]) -> tuple[PlaceT, ...]:
    """Follow the water from a place downward.

    Parameters
    ----------
    place : place
        Where the water is let go.
    drains_to : mapping of place to place or None
        Where each place drains; None where the water stays or leaves the farm's map.

    Returns
    -------
    tuple of place
        The place itself, then each place that the water comes to, once. Water that is led in a
        circle ends where it comes by again.

    Raises
    ------
    ValueError
        If a place on the way is not in the mapping: what is not known may hide a person.
    """
    path: dict[PlaceT, None] = {}
    step: PlaceT | None = place
    while step is not None and step not in path:
        if step not in drains_to:
            raise ValueError(f"nothing says where {step!r} drains to")
        path[step] = None
        step = drains_to[step]
    return tuple(path)


def blocks_of_run(
    run: PlannedRun[PlaceT], drains_to: Mapping[PlaceT, PlaceT | None]
) -> tuple[Block[PlaceT], ...]:
    """Compute what a run occupies, and for how long.

    Parameters
    ----------
    run : PlannedRun
        The run.
    drains_to : mapping of place to place or None
        As in `water_path`.

    Returns
    -------
    tuple of Block
        The tank while the valve is open; the alley and all below it from the valve's opening
        until the alley is drained, in UTC. [s]

    Raises
    ------
    ValueError
        As in `water_path`.

    Notes
    -----
    Places below the alley are taken before the water comes to them; what still runs on in them
    after the alley is drained is not counted.

    Valid: one run at a time in each alley; a wave is not told from steady flow. It says when a
    place is planned to be wet, never that one is dry.
    Checked: tests/equipment/flushing/test_reach.py::
    test_a_run_occupies_its_tank_while_open_and_all_wet_places_until_drained

    References
    ----------
    Arithmetic on the farm's own map of where each place drains to.
    """
    start_at = local_time.require_aware(run.starts_at, "starts_at")
    closed_at = start_at + timedelta(seconds=run.open_s)
    drained_at = start_at + timedelta(seconds=run.duration_s)
    tank = Block(run.key, run.tank, start_at, closed_at)
    wet = water_path(run.alley, drains_to)
    return (tank, *(Block(run.key, place, start_at, drained_at) for place in wet))
