"""One row of a weather file: its cells, its numbers, and what is wrong with them."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from equipment.weather.calc.columns import Fault, FoundFault, Layout, NumberColumn
from equipment.weather.calc.days import Floats
from equipment.weather.calc.order import Stamp, StampReader

PERCENT_FROM = 1.5  # up to here a sensor's overshoot, beyond it a percentage


@dataclass(frozen=True, slots=True)
class Row:
    """A row whose time stamp could be read.

    Parameters
    ----------
    stamp : Stamp
        When, and on which line.
    cells : dict
        Text by column name.
    values : dict
        Number by name of every column of the layout; NaN where there is none.
    """

    stamp: Stamp
    cells: dict[str, str]
    values: dict[str, float]


def read_rows(
    layout: Layout,
    names: Sequence[str],
    lines: Sequence[tuple[int, Sequence[str]]],
    reader: StampReader,
) -> tuple[list[Row], list[FoundFault]]:
    """Read every line.

    Parameters
    ----------
    layout : Layout
        Kind of file.
    names : sequence of str
        Its head.
    lines : sequence of (int, sequence of str)
        Line number and stripped cells.
    reader : StampReader
        Fresh, for this file.

    Returns
    -------
    rows : list of Row
        Lines with a readable time stamp, whatever their numbers are.
    faults : list of FoundFault
        One for every other line.
    """
    rows: list[Row] = []
    faults: list[FoundFault] = []
    for line_no, cells in lines:
        if len(cells) != len(names):
            faults.append(FoundFault(line_no, Fault.WRONG_CELL_COUNT, value=str(len(cells))))
            continue
        by_name = dict(zip(names, cells, strict=True))
        stamp = reader.read(line_no, by_name[layout.time_name])
        if isinstance(stamp, FoundFault):
            faults.append(stamp)
            continue
        values = {column.name: _number(by_name.get(column.name, "")) for column in layout.numbers}
        rows.append(Row(stamp, by_name, values))
    return rows, faults


def row_faults(layout: Layout, row: Row, limits_mj_m2_d: Floats) -> list[FoundFault]:
    """Find what is wrong with the numbers of one row.

    Parameters
    ----------
    layout : Layout
        Kind of file.
    row : Row
        The row.
    limits_mj_m2_d : ndarray, shape (366,)
        Most radiation by day of the year. [MJ m⁻² d⁻¹]

    Returns
    -------
    list of FoundFault
        One per faulty number; where each alone is sound, those of the numbers together.
    """
    alone = [
        FoundFault(row.stamp.line_no, fault, column.name, row.cells[column.name])
        for column in layout.numbers
        if column.name in row.cells
        and (fault := _fault_of(column, row.cells[column.name], row.values[column.name]))
    ]
    return alone or [*_pair_faults(row), *_clear_sky_faults(row, limits_mj_m2_d)]


def _number(text: str) -> float:
    try:
        return math.nan if "_" in text else float(text)  # Python would read 1_0 as 10
    except ValueError:
        return math.nan


def _fault_of(column: NumberColumn, text: str, value: float) -> Fault | None:
    if not text:
        return Fault.BLANK_NUMBER if column.is_required else None
    if not math.isfinite(value):
        return Fault.NOT_A_NUMBER
    if value < column.low:
        return column.below
    if value <= column.high:
        return None
    is_percent = column.above is Fault.HUMIDITY_ABOVE_ONE and value > PERCENT_FROM
    return Fault.HUMIDITY_IN_PERCENT if is_percent else column.above


def _pair_faults(row: Row) -> list[FoundFault]:
    pairs = (
        ("tmin_degc", "tmax_degc", Fault.TMIN_ABOVE_TMAX),
        ("rh_min_frac", "rh_max_frac", Fault.HUMIDITY_MIN_ABOVE_MAX),
    )
    return [
        FoundFault(row.stamp.line_no, fault, low, f"{row.values[low]:g} > {row.values[high]:g}")
        for low, high, fault in pairs
        if row.values.get(low, math.nan) > row.values.get(high, math.nan)
    ]


def _clear_sky_faults(row: Row, limits_mj_m2_d: Floats) -> list[FoundFault]:
    """Compare a daily sum with a cloudless day; hours are judged by their column's limit alone."""
    solar_mj_m2_d = row.values.get("solar_mj_m2_d", math.nan)
    if not solar_mj_m2_d > limits_mj_m2_d[row.stamp.at.timetuple().tm_yday - 1]:
        return []
    fault = Fault.RADIATION_ABOVE_CLEAR_SKY
    return [FoundFault(row.stamp.line_no, fault, "solar_mj_m2_d", f"{solar_mj_m2_d:g}")]
