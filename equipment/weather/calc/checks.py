"""Plausibility of weather rows: what is wrong, on which line, and the rows that may be used."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

import numpy as np

from equipment.site.calc.local_time import local_date_of
from equipment.weather.calc.columns import (
    HOURLY,
    Fault,
    FoundFault,
    header_faults,
    layout_of,
)
from equipment.weather.calc.days import DailyWeather, Place, daily_weather
from equipment.weather.calc.hourly import daily_from_hourly
from equipment.weather.calc.order import Stamp, StampReader, order_faults
from equipment.weather.calc.radiation import clear_sky_mj_m2_d
from equipment.weather.calc.rows import Row, read_rows, row_faults

# Of 8 726 open days of Wageningen (1976-1999) one passes 1.1 of FAO-56 eq. 37, and is wrong
CLEAR_SKY_TOLERANCE = 1.1
# Rain in tenths of a millimetre: wet days of ten open climate files bring 2 to 12 mm on average,
# and 29 mm over a monsoon season; in tenths most of them pass 30. A drizzly climate stays below.
WET_DAY_MEAN_MAX_MM = 30.0
WET_DAYS_TO_JUDGE = 10


@dataclass(frozen=True, slots=True)
class CheckedWeather:
    """What a weather file holds.

    Parameters
    ----------
    faults : tuple of FoundFault
        In the order of the lines.
    days : DailyWeather
        Rows without a fault only; hours gathered into complete local days.
    n_rows, n_used : int
        Rows in the file, and those without a fault.
    """

    faults: tuple[FoundFault, ...]
    days: DailyWeather
    n_rows: int
    n_used: int


def check_weather(
    header: Sequence[str],
    rows: Iterable[tuple[int, Sequence[str]]],
    *,
    place: Place,
    zone: ZoneInfo,
    header_line_no: int = 1,
    today_on: date | None = None,
) -> CheckedWeather:
    """Read and judge the cells of a weather file.

    Parameters
    ----------
    header : sequence of str
        Column names: those of `columns.DAILY` or `columns.HOURLY`, in any order.
    rows : iterable of (int, sequence of str)
        Line number and cells of each row.
    place : Place
        For the radiation of a clear sky.
    zone : ZoneInfo
        The site's zone.
    header_line_no : int
        Where the head stands.
    today_on : date, optional
        Local date; later rows are `in_future`. Without it no row is.

    Returns
    -------
    CheckedWeather
        All faults and the rows free of them; of a doubled day or hour no row is used, since none
        says which is right. A file whose head is wrong, or whose rain looks like
        tenths of a millimetre, gives no days at all.
    """
    names = [name.strip() for name in header]
    lines = [(line_no, [cell.strip() for cell in cells]) for line_no, cells in rows]
    faults = header_faults(names, header_line_no)
    if not lines and not faults:
        faults = [FoundFault(header_line_no, Fault.EMPTY)]
    if faults:
        return CheckedWeather(tuple(faults), _no_days(), len(lines), 0)
    return _check_rows(names, lines, place, zone, today_on)


def _check_rows(
    names: list[str],
    lines: list[tuple[int, list[str]]],
    place: Place,
    zone: ZoneInfo,
    today_on: date | None,
) -> CheckedWeather:
    layout = layout_of(names)
    is_hourly = layout is HOURLY
    rows, faults = read_rows(layout, names, lines, StampReader(zone, is_hourly=is_hourly))
    faults += _future_faults(rows, zone, today_on)
    no_stamp = {fault.line_no for fault in faults}
    stamps = [row.stamp for row in rows if row.stamp.line_no not in no_stamp]
    faults += order_faults(stamps, sorted(no_stamp), is_hourly=is_hourly)
    limits_mj_m2_d = CLEAR_SKY_TOLERANCE * clear_sky_mj_m2_d(place, np.arange(1, 367))
    for row in rows:
        faults += row_faults(layout, row, limits_mj_m2_d)
    tenths = _tenths_faults(rows, zone)
    broken = {fault.line_no for fault in faults if fault.fault is not Fault.GAP}
    doubled = {fault.line_no for fault in faults if fault.fault is Fault.DUPLICATE}
    disputed = {row.stamp.at for row in rows if row.stamp.line_no in doubled}
    usable = [
        row
        for row in rows
        if row.stamp.line_no not in broken and row.stamp.at not in disputed and not tenths
    ]
    return CheckedWeather(
        faults=tuple(sorted([*faults, *tenths], key=lambda fault: fault.line_no)),
        days=_days_of(usable, zone, place) if usable else _no_days(),
        n_rows=len(lines),
        n_used=len(usable),
    )


def _future_faults(rows: list[Row], zone: ZoneInfo, today_on: date | None) -> list[FoundFault]:
    return [
        FoundFault(row.stamp.line_no, Fault.IN_FUTURE, value=row.stamp.text)
        for row in rows
        if today_on is not None and _local_date(row.stamp, zone) > today_on
    ]


def _local_date(stamp: Stamp, zone: ZoneInfo) -> date:
    # a datetime is a date too, so ask for it first
    return local_date_of(stamp.at, zone) if isinstance(stamp.at, datetime) else stamp.at


def _tenths_faults(rows: list[Row], zone: ZoneInfo) -> list[FoundFault]:
    """Judge the whole file's rain; the fault points at the wettest row."""
    by_day: dict[date, float] = {}
    for row in rows:
        if row.values["rain_mm"] > 0:
            on = _local_date(row.stamp, zone)
            by_day[on] = by_day.get(on, 0.0) + row.values["rain_mm"]
    mean_mm = sum(by_day.values()) / max(len(by_day), 1)
    if len(by_day) < WET_DAYS_TO_JUDGE or mean_mm <= WET_DAY_MEAN_MAX_MM:
        return []
    wettest = max(rows, key=lambda row: np.nan_to_num(row.values["rain_mm"]))
    value = f"mean of {len(by_day)} wet days {mean_mm:.1f}"
    return [FoundFault(wettest.stamp.line_no, Fault.RAIN_LOOKS_LIKE_TENTHS, "rain_mm", value)]


def _days_of(rows: list[Row], zone: ZoneInfo, place: Place) -> DailyWeather:
    hours = {row.stamp.at: row.values for row in rows if isinstance(row.stamp.at, datetime)}
    if hours:
        return daily_from_hourly(hours, zone, place)
    return daily_weather(
        np.array([row.stamp.at for row in rows], dtype="datetime64[D]"),
        **{name: np.array([row.values[name] for row in rows]) for name in rows[0].values},
    )


def _no_days() -> DailyWeather:
    return daily_weather(np.array([], dtype="datetime64[D]"))
