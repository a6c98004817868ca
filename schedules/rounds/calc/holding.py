"""Cows that stand in the holding area over time, and the room that each has there."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class HoldingStay:
    """A group's stay in the holding area: it comes and is taken at two steady rates.

    Parameters
    ----------
    key : str
        Name of the group.
    n_cows : int
        Its cows, at least 1.
    in_from_min, in_until_min : float
        Its first and its last cow come in. [min]
    on_from_min, on_until_min : float
        Its first and its last cow step on the deck. [min]

    Raises
    ------
    ValueError
        If there are no cows, or an end lies before its start.
    """

    key: str
    n_cows: int
    in_from_min: float
    in_until_min: float
    on_from_min: float
    on_until_min: float

    def __post_init__(self) -> None:
        owner = f"stay {self.key}"
        if self.n_cows < 1:
            raise ValueError(f"{owner}: n_cows must be at least 1, got {self.n_cows}")
        if not self.in_from_min <= self.in_until_min:
            raise ValueError(f"{owner}: in_until_min must not lie before in_from_min")
        if not self.on_from_min <= self.on_until_min:
            raise ValueError(f"{owner}: on_until_min must not lie before on_from_min")


@dataclass(frozen=True, slots=True)
class HoldingLoad:
    """What stands in the holding area, at each instant at which a rate changes.

    Parameters
    ----------
    at_min : ndarray, shape (n,)
        Instants, rising; between two of them the load runs straight. [min]
    n_cows : ndarray, shape (n,)
        Cows there. [-]
    peaks : tuple of float
        Most cows there while any of the group are, one per stay as given. [-]
    wait_cow_min : float
        Time that all cows stand there, summed. [min]
    """

    at_min: Floats
    n_cows: Floats
    peaks: tuple[float, ...]
    wait_cow_min: float

    @property
    def peak_cows(self) -> float:
        """Most cows there at once [-]."""
        return max(self.peaks)


def holding_load(stays: Sequence[HoldingStay]) -> HoldingLoad:
    """Compute the cows in the holding area over time: those that came less those taken.

    Parameters
    ----------
    stays : sequence of HoldingStay
        At least one, in any order.

    Returns
    -------
    HoldingLoad
        The load and its peaks. [-]

    Raises
    ------
    ValueError
        If no stay is given.

    Notes
    -----
    Valid: groups that come and are taken evenly between their first and last cow; where a record
    has cows taken before they came, none of that group stands there. A batch parlor takes a side
    at once, so that its true load is up to one side's cows off.
    Checked: tests/schedules/rounds/test_holding.py::
    test_a_park_gates_queue_is_that_of_the_textbook,
    test_a_pen_that_is_brought_faster_than_it_is_taken_peaks_when_its_last_cow_comes,
    test_cows_that_come_at_once_wait_from_then_on

    References
    ----------
    Newell, G. F., "Applications of Queueing Theory", 2nd ed., 1982, ch. 2: queue as the distance of
    cumulative arrivals and departures.
    """
    if not stays:
        raise ValueError("stays: at least one is needed")
    at_min = np.unique([_bounds(stay) for stay in stays])
    loads = np.array([_load(stay, at_min) for stay in stays])
    total = loads.sum(axis=0)
    peaks = tuple(float(total[_is_there(stay, at_min)].max()) for stay in stays)
    return HoldingLoad(at_min, total, peaks, float(np.trapezoid(total, at_min)))


def _bounds(stay: HoldingStay) -> list[float]:
    """Instants at which a rate changes; a group that comes or is taken at once has two of them."""
    spans = (stay.in_from_min, stay.in_until_min), (stay.on_from_min, stay.on_until_min)
    return [
        bound
        for start, end in spans
        for bound in (float(np.nextafter(start, -np.inf)) if start == end else start, end)
    ]


def _is_there(stay: HoldingStay, at_min: Floats) -> NDArray[np.bool_]:
    first, last = stay.in_from_min, max(stay.in_from_min, stay.on_until_min)
    return (at_min >= first) & (at_min <= last)


def _load(stay: HoldingStay, at_min: Floats) -> Floats:
    came = _share(at_min, stay.in_from_min, stay.in_until_min)
    taken = _share(at_min, stay.on_from_min, stay.on_until_min)
    return np.maximum(0.0, stay.n_cows * (came - taken))


def _share(at_min: Floats, from_min: float, until_min: float) -> Floats:
    """Share that has passed; all at once where both are one instant."""
    if until_min == from_min:
        return (at_min >= from_min).astype(np.float64)
    return np.clip((at_min - from_min) / (until_min - from_min), 0.0, 1.0)
