"""The columns a weather file may have, and the faults that can be found in one."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum


class Fault(StrEnum):
    """What can be wrong with a weather file. A row with a fault is never used."""

    EMPTY = "empty"
    BAD_HEADER = "bad_header"
    MISSING_COLUMN = "missing_column"
    UNKNOWN_COLUMN = "unknown_column"
    WRONG_CELL_COUNT = "wrong_cell_count"
    BAD_DATE = "bad_date"
    BAD_TIME = "bad_time"
    NO_SUCH_LOCAL_TIME = "no_such_local_time"
    IN_FUTURE = "in_future"
    DUPLICATE = "duplicate"
    UNORDERED = "unordered"
    GAP = "gap"
    BLANK_NUMBER = "blank_number"
    NOT_A_NUMBER = "not_a_number"
    TEMPERATURE_OUT_OF_RANGE = "temperature_out_of_range"
    TMIN_ABOVE_TMAX = "tmin_above_tmax"
    RAIN_NEGATIVE = "rain_negative"
    RAIN_TOO_LARGE = "rain_too_large"
    RAIN_LOOKS_LIKE_TENTHS = "rain_looks_like_tenths"
    HUMIDITY_NEGATIVE = "humidity_negative"
    HUMIDITY_ABOVE_ONE = "humidity_above_one"
    HUMIDITY_IN_PERCENT = "humidity_in_percent"
    HUMIDITY_MIN_ABOVE_MAX = "humidity_min_above_max"
    WIND_NEGATIVE = "wind_negative"
    WIND_TOO_STRONG = "wind_too_strong"
    RADIATION_NEGATIVE = "radiation_negative"
    RADIATION_ABOVE_CLEAR_SKY = "radiation_above_clear_sky"
    VAPOUR_PRESSURE_OUT_OF_RANGE = "vapour_pressure_out_of_range"
    ET0_OUT_OF_RANGE = "et0_out_of_range"


@dataclass(frozen=True, slots=True)
class FoundFault:
    """One fault, and where it is.

    Parameters
    ----------
    line_no : int
        Line in the file, 1 is the first.
    fault : Fault
        What is wrong.
    column : str
        Column concerned, empty where the whole row or file is.
    value : str
        What stands there; for a gap what misses, as an ISO 8601 interval of first and last.
    """

    line_no: int
    fault: Fault
    column: str = ""
    value: str = ""


@dataclass(frozen=True, slots=True)
class NumberColumn:
    """A column of numbers: its name with the unit, and what is plausible in it.

    Parameters
    ----------
    name : str
        As in the file's head.
    low, high : float
        Both still plausible. [unit of the name]
    below, above : Fault
        What a value beyond them is called.
    is_required : bool
        Whether a file must have it and may leave no cell blank.
    """

    name: str
    low: float
    high: float
    below: Fault
    above: Fault
    is_required: bool = False


@dataclass(frozen=True, slots=True)
class Layout:
    """One kind of weather file: the column of its time stamps, and those of its numbers.

    Parameters
    ----------
    time_name : str
        "date" (ISO 8601 local dates) or "hour_start_local" (local time at which the hour begins,
        or any time with its offset from UTC).
    numbers : tuple of NumberColumn
        In no order: files may have them in any.
    """

    time_name: str
    numbers: tuple[NumberColumn, ...]

    @property
    def names(self) -> frozenset[str]:
        """All column names known."""
        return frozenset({self.time_name, *(column.name for column in self.numbers)})

    @property
    def required(self) -> tuple[str, ...]:
        """Names that a file of this kind must have, the time stamp first."""
        return (self.time_name, *(column.name for column in self.numbers if column.is_required))


def _temperature(name: str) -> NumberColumn:
    # a farm's air; °F or tenths of °C stand out. Common practice, no source
    fault = Fault.TEMPERATURE_OUT_OF_RANGE
    return NumberColumn(name, -60, 60, fault, fault, is_required=True)


def _humidity(name: str) -> NumberColumn:
    return NumberColumn(name, 0, 1, Fault.HUMIDITY_NEGATIVE, Fault.HUMIDITY_ABOVE_ONE)


def _wind(high_m_s: float) -> NumberColumn:
    return NumberColumn("wind_2m_m_s", 0, high_m_s, Fault.WIND_NEGATIVE, Fault.WIND_TOO_STRONG)


def _rain(high_mm: float) -> NumberColumn:
    return NumberColumn(
        "rain_mm", 0, high_mm, Fault.RAIN_NEGATIVE, Fault.RAIN_TOO_LARGE, is_required=True
    )


def _solar(name: str, high: float) -> NumberColumn:
    # the clear sky of the day judges further; this stops W/m² and kJ at once
    above = Fault.RADIATION_ABOVE_CLEAR_SKY
    return NumberColumn(name, 0, high, Fault.RADIATION_NEGATIVE, above)


DAILY = Layout(
    "date",
    (
        _temperature("tmin_degc"),
        _temperature("tmax_degc"),
        _rain(500),  # common practice, no source; hurricanes have brought more
        _humidity("rh_min_frac"),
        _humidity("rh_max_frac"),
        _wind(40),
        _solar(
            "solar_mj_m2_d", 48
        ),  # Ra of FAO-56 Annex 2, Table 2.6 peaks near 46 at mid latitude
        NumberColumn(
            "ea_kpa", 0, 6, Fault.VAPOUR_PRESSURE_OUT_OF_RANGE, Fault.VAPOUR_PRESSURE_OUT_OF_RANGE
        ),
        NumberColumn("et0_mm", 0, 25, Fault.ET0_OUT_OF_RANGE, Fault.ET0_OUT_OF_RANGE),
    ),
)

HOURLY = Layout(
    "hour_start_local",
    (
        _temperature("temp_degc"),
        _rain(305),  # world record of one hour, Holt, Missouri, 22 June 1947 (WMO; from memory)
        _humidity("rh_frac"),
        _wind(60),
        _solar("solar_mj_m2_h", 5.0),  # the solar constant gives 4.92 MJ/m² in an hour (FAO-56)
    ),
)


def layout_of(header: Sequence[str]) -> Layout:
    """Tell an hourly file by its time stamps; every other is read as daily.

    Parameters
    ----------
    header : sequence of str
        Column names.

    Returns
    -------
    Layout
        `HOURLY` or `DAILY`.
    """
    return HOURLY if HOURLY.time_name in header else DAILY


def header_faults(header: Sequence[str], line_no: int) -> list[FoundFault]:
    """Find what is wrong with the head of a file.

    Parameters
    ----------
    header : sequence of str
        Column names, stripped.
    line_no : int
        Where the head stands.

    Returns
    -------
    list of FoundFault
        Empty where rows can be read. A head with no known name, a blank or a doubled name is
        `bad_header` and nothing more is said of it.
    """
    layout = layout_of(header)
    doubled = {name for name in header if header.count(name) > 1}
    if not layout.names & set(header) or "" in header or doubled:
        return [FoundFault(line_no, Fault.BAD_HEADER, value=",".join(sorted(doubled) or header))]
    missing = [name for name in layout.required if name not in header]
    unknown = [name for name in header if name not in layout.names]
    return [
        *(FoundFault(line_no, Fault.MISSING_COLUMN, name) for name in missing),
        *(FoundFault(line_no, Fault.UNKNOWN_COLUMN, name) for name in unknown),
    ]
