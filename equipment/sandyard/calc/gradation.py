"""Which grains a sand is made of: the share that passes each sieve."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

# Openings of the sieves no. 4, 8, 16, 30, 50, 100 and 200: ASTM E11.
SIEVES_M = (4.75e-3, 2.36e-3, 1.18e-3, 0.6e-3, 0.3e-3, 0.15e-3, 0.075e-3)
FINEST_M = 0.02e-3  # taken as the smallest grain of what passes the last sieve

# Middles of the bands, share passing: ASTM C33 fine aggregate, C144 natural mortar sand. From
# memory, not re-read: a farm's own sieve analysis takes their place.
GRADATIONS: dict[str, tuple[float, ...]] = {
    "c33": (0.975, 0.90, 0.675, 0.425, 0.175, 0.05, 0.015),
    "c144": (1.0, 0.975, 0.85, 0.575, 0.225, 0.085, 0.025),
}


@dataclass(frozen=True, slots=True)
class Gradation:
    """A gradation curve.

    Parameters
    ----------
    passing_frac : tuple of float
        Share of the mass that passes each of `SIEVES_M`, the coarsest first, never rising. [-]

    Raises
    ------
    ValueError
        Not seven shares of 0 to 1, or one that rises.
    """

    passing_frac: tuple[float, ...]

    def __post_init__(self) -> None:
        shares = self.passing_frac
        if len(shares) != len(SIEVES_M) or not all(0 <= share <= 1 for share in shares):
            raise ValueError(f"passing_frac must be {len(SIEVES_M)} shares of 0 to 1: {shares}")
        if any(finer > coarser for coarser, finer in pairwise(shares)):
            raise ValueError(f"passing_frac rises toward finer sieves: {shares}")

    def classes(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Part the curve into classes of grains.

        Returns
        -------
        tuple of ndarray
            Grain of each class, the coarsest first [m], and its share of the mass [-].

        Notes
        -----
        Valid: one class above the coarsest sieve, one between each two, one below the finest. A
        class is as large as the geometric mean of its sieves; what no. 4 keeps counts as no. 4,
        what passes no. 200 as the mean of that sieve and 0.02 mm.

        Checked: tests/equipment/sandyard/test_lane.py::test_a_curve_parts_into_classes

        References
        ----------
        Arithmetic.
        """
        edges_m = np.array([SIEVES_M[0], *SIEVES_M, FINEST_M])
        passing = np.array([1.0, *self.passing_frac, 0.0])
        return np.sqrt(edges_m[:-1] * edges_m[1:]), passing[:-1] - passing[1:]


def named_gradation(name: str) -> Gradation:
    """Give the middle of a named band.

    Parameters
    ----------
    name : str
        One of `GRADATIONS`.

    Returns
    -------
    Gradation
        Its curve.

    Raises
    ------
    ValueError
        A name that is none of them.
    """
    if name not in GRADATIONS:
        raise ValueError(f"name {name!r} is none of {sorted(GRADATIONS)}")
    return Gradation(GRADATIONS[name])
