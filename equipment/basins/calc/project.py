"""How basins fill over the days ahead, in many runs of weather."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from equipment.site.calc.compiled import compiled

from .balance import step_basin
from .manure import DailyInflow
from .storage import Floats, StageStorage


@dataclass(frozen=True, slots=True)
class BasinNow:
    """One basin as it stands, and what comes to it.

    Parameters
    ----------
    storage : StageStorage
        Its curve.
    contents_m3 : float
        In it now, 0 to full. [m³]
    sludge_m3 : float
        What a clean-out leaves, ≥ 0. [m³]
    weep_frac : float
        Share of its free liquid that leaves in a day, 0 to 1.
    open_frac : float
        Share of its surface without a crust, 0 to 1.
    gets_frac : float
        Share of its stage's inflow that comes to it, 0 to 1.
    is_second : bool
        It takes what weeps and spills from the first stage.

    Raises
    ------
    ValueError
        A value outside its range, by name.
    """

    storage: StageStorage
    contents_m3: float
    sludge_m3: float
    weep_frac: float
    open_frac: float
    gets_frac: float
    is_second: bool = False

    def __post_init__(self) -> None:
        if not 0 <= self.contents_m3 <= self.storage.full_m3 * (1 + 1e-9):
            raise ValueError(f"contents_m3 must be 0 to full, got {self.contents_m3}")
        if not self.sludge_m3 >= 0:
            raise ValueError(f"sludge_m3 must be >= 0, got {self.sludge_m3}")
        for name in ("weep_frac", "open_frac", "gets_frac"):
            if not 0 <= getattr(self, name) <= 1:
                raise ValueError(f"{name} must be 0 to 1, got {getattr(self, name)}")

    def liquid_m3(self, inflow: DailyInflow) -> float:
        """Tell how much of the contents is taken for free liquid.

        Of the second stage all above the sludge; of the first what stands after weeping of a day's
        inflow, and nothing where no inflow comes.
        """
        if self.is_second:
            return max(self.contents_m3 - self.sludge_m3, 0.0)
        if self.weep_frac == 0:
            return 0.0
        comes_m3 = self.gets_frac * (inflow.liquid_m3 + inflow.wash_m3)
        return min(self.contents_m3, comes_m3 * (1 - self.weep_frac) / self.weep_frac)


@dataclass(frozen=True, slots=True, eq=False)
class Projection:
    """How basins fill; arrays of shape (n_members, n_days, n_basins).

    Parameters
    ----------
    volume_m3 : ndarray
        In each basin in the evening. [m³]
    overflow_m3 : ndarray
        Over its rim in the day. [m³]
    """

    volume_m3: Floats
    overflow_m3: Floats


def project_basins(
    basins: Sequence[BasinNow], inflow: DailyInflow, rain_mm: Floats, evaporation_mm: Floats
) -> Projection:
    """Follow basins day by day through each run of weather, gates as they stand.

    Parameters
    ----------
    basins : sequence of BasinNow
        One at least; `gets_frac` of a stage adds up to at most 1.
    inflow : DailyInflow
        Of each day.
    rain_mm, evaporation_mm : ndarray, shape (n_members, n_days)
        Of each day and run, ≥ 0. [mm]

    Returns
    -------
    Projection
        Volumes and spills. [m³]

    Raises
    ------
    ValueError
        No basin, shares above 1, or weather that differs in shape, is negative or missing.

    Notes
    -----
    The day is `step_basin`'s; the second stage takes what weeped and spilled from the first in that
    day, less what the flush draws back from it (no more than its liquid; what is short is other
    water, and is added). The herd, the water and the gates stay as they are.

    Valid: while nobody switches a gate or takes out: after that, begin again from a new level.
    Checked: tests/equipment/basins/test_project.py::
    test_a_cell_of_84_000_cubic_feet_lasts_60_days, test_stages_keep_all_that_came

    References
    ----------
    Arithmetic: conservation of volume, day by day.
    """
    if not basins:
        raise ValueError("basins must have one at least")
    if rain_mm.ndim != 2 or rain_mm.shape != evaporation_mm.shape:
        raise ValueError("rain_mm and evaporation_mm must be members by days, alike in shape")
    if not (np.all(rain_mm >= 0) and np.all(evaporation_mm >= 0)):
        raise ValueError("rain_mm and evaporation_mm must be >= 0")
    for stage in (False, True):
        if sum(b.gets_frac for b in basins if b.is_second is stage) > 1 + 1e-9:
            raise ValueError("gets_frac of a stage must add up to at most 1")
    # Whole numbers would make the compiled loop one of whole numbers
    liquid_m3 = np.array([basin.liquid_m3(inflow) for basin in basins], dtype=np.float64)
    held_m3 = np.array([basin.contents_m3 for basin in basins], dtype=np.float64)
    columns = np.array(
        [
            (
                b.storage.full_m3,
                b.sludge_m3,
                b.storage.rim_m2,
                b.storage.rim_m2 * b.open_frac,
                b.weep_frac,
                b.gets_frac,
                float(b.is_second),
            )
            for b in basins
        ],
        dtype=np.float64,
    )
    flows = np.array(
        [
            inflow.settled_m3,
            inflow.liquid_m3,
            inflow.wash_m3,
            inflow.late_settled_m3,
            inflow.returned_m3,
        ],
        dtype=np.float64,
    )
    volume_m3, overflow_m3 = np.empty((2, *rain_mm.shape, len(basins)))
    for member in range(rain_mm.shape[0]):
        _run(
            liquid_m3.copy(),
            held_m3 - liquid_m3,
            columns,
            flows,
            rain_mm[member],
            evaporation_mm[member],
            volume_m3[member],
            overflow_m3[member],
        )
    return Projection(volume_m3, overflow_m3)


@compiled
def _run(  # noqa: PLR0917  compiled code takes no keyword-only arguments
    liquid: Floats,
    solids: Floats,
    columns: Floats,
    flows: Floats,
    rain_mm: Floats,
    evaporation_mm: Floats,
    volume_m3: Floats,
    overflow_m3: Floats,
) -> None:
    """Follow one member through its days, filling its volumes and what spills."""
    n_days, n_basins = volume_m3.shape
    settled_m3, passing_m3, wash_m3, late_m3 = flows[0], flows[1], flows[2], flows[3]
    for day in range(n_days):
        passed_m3 = 0.0
        for stage in (0.0, 1.0):
            late_now_m3 = min(late_m3, passed_m3)
            for b in range(n_basins):
                if columns[b, 6] != stage:
                    continue
                gets = columns[b, 5]
                comes_solid = gets * (late_now_m3 if stage > 0 else settled_m3)
                comes_liquid = gets * (passed_m3 - late_now_m3 if stage > 0 else passing_m3)
                washed = 0.0 if stage > 0 else gets * wash_m3
                if stage > 0:
                    drawn_m3 = gets * flows[4]
                    from_flow_m3 = min(drawn_m3, comes_liquid)
                    comes_liquid -= from_flow_m3
                    liquid[b] = max(liquid[b] - (drawn_m3 - from_flow_m3), 0.0)
                liquid[b], solids[b], _rain, _evaporated, weeped, _taken, spilled = step_basin(
                    liquid[b],
                    solids[b],
                    columns[b, 0],
                    columns[b, 1],
                    comes_liquid,
                    comes_solid,
                    washed,
                    rain_mm[day],
                    evaporation_mm[day],
                    columns[b, 2],
                    columns[b, 3],
                    columns[b, 4],
                    0.0,
                )
                if stage == 0:
                    passed_m3 += weeped + spilled
                volume_m3[day, b] = liquid[b] + solids[b]
                overflow_m3[day, b] = spilled


def days_to_line(volume_m3: Floats, line_m3: float) -> Floats:
    """Count the days until each run reaches a line.

    Parameters
    ----------
    volume_m3 : ndarray, shape (n_members, n_days)
        Of one basin in the evenings. [m³]
    line_m3 : float
        Volume at which to act. [m³]

    Returns
    -------
    ndarray, shape (n_members,)
        1 for the first evening; infinite where the line is not reached. [d]

    Notes
    -----
    With a storm held back, the line lies lower by the storm's depth times the area that catches it.

    Valid: any line; one at or below 0 is reached on the first evening.
    Checked: tests/equipment/basins/test_project.py::
    test_a_cell_of_84_000_cubic_feet_lasts_60_days

    References
    ----------
    Days to full = (usable volume − storm reserve − contents) / net daily inflow: arithmetic.
    """
    is_over = volume_m3 >= line_m3 - 1e-6
    return np.where(is_over.any(axis=1), is_over.argmax(axis=1) + 1.0, np.inf)
