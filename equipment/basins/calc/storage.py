"""How much a basin holds at each depth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

N_STEPS = 240  # of the curve: 1 cm of a basin of 2.4 m


@dataclass(frozen=True, slots=True, eq=False)
class StageStorage:
    """Depth and volume of one basin, floor to rim; arrays of shape (n_knots,).

    Parameters
    ----------
    depth_m : ndarray
        From 0 at the floor to the rim, strictly increasing. [m]
    volume_m3 : ndarray
        Held below each depth, from 0, strictly increasing. [m³]

    Raises
    ------
    ValueError
        Fewer than two knots, a curve that does not start at 0 and 0, or does not increase.

    Notes
    -----
    Between knots both ways are straight lines, so that depth and volume are each other's inverse to
    rounding.

    Valid: from the floor to the rim; below and above, the floor and the rim are given.
    Checked: tests/equipment/basins/test_storage.py::
    test_a_cell_of_40_by_300_by_8_ft_holds_96_000_cubic_feet,
    test_depth_and_volume_are_inverse_and_rise_together

    References
    ----------
    Arithmetic: integral of the area over depth.
    """

    depth_m: Floats
    volume_m3: Floats

    def __post_init__(self) -> None:
        for name, values in (("depth_m", self.depth_m), ("volume_m3", self.volume_m3)):
            if values.ndim != 1 or values.size < 2:
                raise ValueError(f"{name} needs two values at least")
            if values[0] != 0 or not np.all(np.diff(values) > 0):
                raise ValueError(f"{name} must begin at 0 and increase")
        if self.depth_m.size != self.volume_m3.size:
            raise ValueError("depth_m and volume_m3 differ in length")

    @property
    def full_m3(self) -> float:
        """Volume to the rim. [m³]."""
        return float(self.volume_m3[-1])

    @property
    def rim_m2(self) -> float:
        """Area of the topmost stretch, on which rain falls. [m²]."""
        return float(np.diff(self.volume_m3)[-1] / np.diff(self.depth_m)[-1])

    def volume_at_m3(self, depth_m: float | Floats) -> Floats:
        """Give the volume below a depth. [m³]."""
        return np.asarray(np.interp(depth_m, self.depth_m, self.volume_m3), dtype=np.float64)

    def depth_at_m(self, volume_m3: float | Floats) -> Floats:
        """Give the depth of a volume. [m]."""
        return np.asarray(np.interp(volume_m3, self.volume_m3, self.depth_m), dtype=np.float64)


def sloped_storage(
    *,
    length_m: float,
    width_m: float,
    depth_m: float,
    side_slope: float = 0.0,
    ramp_slope: float = 0.0,
) -> StageStorage:
    """Give the curve of a rectangular basin with sloped long sides and a ramp at one end.

    Parameters
    ----------
    length_m, width_m : float
        Inside, at the rim, above 0. [m]
    depth_m : float
        Floor to rim, above 0. [m]
    side_slope : float
        Run over rise of each long side; 0 for walls. [m m⁻¹]
    ramp_slope : float
        Run over rise of the ramp at one end; 0 for a wall there. [m m⁻¹]

    Returns
    -------
    StageStorage
        At 241 depths, each exact. [m], [m³]

    Raises
    ------
    ValueError
        A size that is not above 0, a slope below 0, or slopes that meet above the floor.

    Notes
    -----
    Area at depth h: (length − ramp (D − h)) · (width − 2 side (D − h)); its integral is a cubic.

    Valid: while slopes leave a floor; others are refused.
    Checked: tests/equipment/basins/test_storage.py::
    test_sloped_sides_hold_what_the_prismoidal_formula_says

    References
    ----------
    Prismoidal formula, V = D (A_bottom + 4 A_middle + A_top) / 6: arithmetic.
    """
    for name, size in (("length_m", length_m), ("width_m", width_m), ("depth_m", depth_m)):
        if not 0 < size < float("inf"):
            raise ValueError(f"{name} must be > 0, got {size}")
    for name, slope in (("side_slope", side_slope), ("ramp_slope", ramp_slope)):
        if not 0 <= slope < float("inf"):
            raise ValueError(f"{name} must be >= 0, got {slope}")
    floor_length_m = length_m - ramp_slope * depth_m
    floor_width_m = width_m - 2 * side_slope * depth_m
    if floor_length_m < 0 or floor_width_m < 0:
        raise ValueError("side_slope or ramp_slope leaves no floor at depth_m")
    h = np.linspace(0.0, depth_m, N_STEPS + 1)
    widening = floor_length_m * 2 * side_slope + floor_width_m * ramp_slope
    volume_m3 = (
        floor_length_m * floor_width_m * h
        + widening * h**2 / 2
        + 2 * side_slope * ramp_slope * h**3 / 3
    )
    return StageStorage(h, volume_m3)


def surveyed_storage(depth_volume: Sequence[Sequence[float]]) -> StageStorage:
    """Give the curve of a surveyed table of (depth [m], volume [m³]), floor to rim."""
    table = np.asarray(depth_volume, dtype=np.float64)
    if table.ndim != 2 or table.shape[1] != 2:
        raise ValueError("depth_volume must be pairs of depth and volume")
    return StageStorage(table[:, 0].copy(), table[:, 1].copy())
