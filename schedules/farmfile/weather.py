"""A weather file read, judged and recorded: what is wrong is told by line and not used."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from equipment.site.calc.local_time import local_date_of
from equipment.weather.calc.checks import check_weather
from equipment.weather.calc.columns import Fault as Code
from equipment.weather.calc.columns import FoundFault
from equipment.weather.calc.days import Place
from equipment.weather.models import WeatherStation
from equipment.weather.services import record_days

from .faults import BrokenFileError, Fault

if TYPE_CHECKING:
    from equipment.site.farmfields import Text

MAX_BYTES = 50_000_000
_LOOK = gettext_lazy("Look at the instrument; the row was not used.")

WORDS: dict[Code, tuple[Text, Text]] = {
    Code.EMPTY: (gettext_lazy("has no rows"), gettext_lazy("Give one row a day or an hour.")),
    Code.BAD_HEADER: (
        gettext_lazy("is no head of a weather file"),
        gettext_lazy("Name each column once, such as date,tmin_degc,tmax_degc,rain_mm."),
    ),
    Code.MISSING_COLUMN: (
        gettext_lazy("is missing"),
        gettext_lazy("Add the column; its unit is in its name."),
    ),
    Code.UNKNOWN_COLUMN: (
        gettext_lazy("is no known column"),
        gettext_lazy("Rename it or take it out."),
    ),
    Code.WRONG_CELL_COUNT: (
        gettext_lazy("cells are not what the head has"),
        gettext_lazy("Count the commas."),
    ),
    Code.BAD_DATE: (gettext_lazy("is no date"), gettext_lazy("Write it as 2026-03-04.")),
    Code.BAD_TIME: (gettext_lazy("is no time"), gettext_lazy("Write it as 2026-03-04T14:00.")),
    Code.NO_SUCH_LOCAL_TIME: (
        gettext_lazy("does not exist: clocks skip it"),
        gettext_lazy("Write times with their offset, or take the row out."),
    ),
    Code.IN_FUTURE: (
        gettext_lazy("lies in the future"),
        gettext_lazy("Only recorded weather belongs here."),
    ),
    Code.DUPLICATE: (
        gettext_lazy("stands twice"),
        gettext_lazy("Keep one row; none of them was used."),
    ),
    Code.UNORDERED: (
        gettext_lazy("stands before an earlier one"),
        gettext_lazy("Sort the rows by time."),
    ),
    Code.GAP: (
        gettext_lazy("is missing here"),
        gettext_lazy("Add the rows; what is missing stays unknown."),
    ),
    Code.BLANK_NUMBER: (
        gettext_lazy("is blank"),
        gettext_lazy("Fill it in, or leave the row out."),
    ),
    Code.NOT_A_NUMBER: (
        gettext_lazy("is no number"),
        gettext_lazy("Write figures with a decimal point."),
    ),
    Code.TEMPERATURE_OUT_OF_RANGE: (
        gettext_lazy("is no air temperature in °C"),
        gettext_lazy("Is it in °F?"),
    ),
    Code.TMIN_ABOVE_TMAX: (
        gettext_lazy("is above the highest of the day"),
        gettext_lazy("Swap the two."),
    ),
    Code.RAIN_NEGATIVE: (gettext_lazy("is below 0"), _LOOK),
    Code.RAIN_TOO_LARGE: (
        gettext_lazy("is more rain than can fall"),
        gettext_lazy("Is it in millimetres?"),
    ),
    Code.RAIN_LOOKS_LIKE_TENTHS: (
        gettext_lazy("is rain in tenths of a millimetre"),
        gettext_lazy("Divide the column by ten; nothing of the file was used."),
    ),
    Code.HUMIDITY_NEGATIVE: (gettext_lazy("is below 0"), _LOOK),
    Code.HUMIDITY_ABOVE_ONE: (gettext_lazy("is above 1"), _LOOK),
    Code.HUMIDITY_IN_PERCENT: (
        gettext_lazy("is in per cent"),
        gettext_lazy("Divide by 100: 0 to 1."),
    ),
    Code.HUMIDITY_MIN_ABOVE_MAX: (
        gettext_lazy("is above the highest of the day"),
        gettext_lazy("Swap the two."),
    ),
    Code.WIND_NEGATIVE: (gettext_lazy("is below 0"), _LOOK),
    Code.WIND_TOO_STRONG: (
        gettext_lazy("is more wind than can blow"),
        gettext_lazy("Is it in m/s?"),
    ),
    Code.RADIATION_NEGATIVE: (gettext_lazy("is below 0"), _LOOK),
    Code.RADIATION_ABOVE_CLEAR_SKY: (
        gettext_lazy("is more than a clear sky gives"),
        gettext_lazy("Is it in megajoules a square metre?"),
    ),
    Code.VAPOUR_PRESSURE_OUT_OF_RANGE: (
        gettext_lazy("is no vapour pressure"),
        gettext_lazy("Is it in kPa?"),
    ),
    Code.ET0_OUT_OF_RANGE: (
        gettext_lazy("is no daily ET0"),
        gettext_lazy("Is it in millimetres a day?"),
    ),
}
NOT_ABOUT_ROWS = {Code.EMPTY, Code.BAD_HEADER, Code.MISSING_COLUMN, Code.UNKNOWN_COLUMN}


@dataclass(frozen=True, slots=True)
class WeatherReport:
    """What came of a weather file."""

    station: str
    n_rows: int
    n_used: int
    n_new: int
    n_changed: int
    faults: tuple[Fault, ...]


def import_weather(
    *, station: WeatherStation, raw: bytes, file: str, at: datetime
) -> WeatherReport:
    """Record a file's good rows at a station; the others are told by line and not used.

    A file that cannot be read as a whole raises BrokenFileError and changes nothing.
    """
    zone = station.site.zone
    head, rows = _cells(raw, file)
    checked = check_weather(
        head,
        rows,
        place=Place(station.latitude_deg, station.elevation_m, station.longitude_deg),
        zone=zone,
        today_on=local_date_of(at, zone),
    )
    faults = tuple(_fault(found, file) for found in checked.faults)
    if any(found.fault in NOT_ABOUT_ROWS for found in checked.faults):
        raise BrokenFileError(list(faults))
    counts = record_days(station=station, days=checked.days, at=at)
    return WeatherReport(
        station.key, checked.n_rows, checked.n_used, counts.n_new, counts.n_changed, faults
    )


def _cells(raw: bytes, file: str) -> tuple[list[str], list[tuple[int, list[str]]]]:
    if len(raw) > MAX_BYTES:
        reason = _("is larger than %(n)d MB") % {"n": MAX_BYTES // 1_000_000}
        raise BrokenFileError([Fault(file, 1, "", None, reason, _("Split it by years."))])
    try:
        text = raw.decode("utf-8-sig")
        lines = list(_lines(text))
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        fault = Fault(file, line, "", None, _("is no UTF-8 text"), _("Save the file as UTF-8."))
        raise BrokenFileError([fault]) from error
    except csv.Error as error:
        fault = Fault(file, 1, "", None, _("is no CSV: %s") % error, _("Save it as CSV."))
        raise BrokenFileError([fault]) from error
    return (lines[0][1], lines[1:]) if lines else ([], [])


def _lines(text: str) -> Iterator[tuple[int, list[str]]]:
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    for cells in reader:
        if cells:
            yield reader.line_num, cells


def _fault(found: FoundFault, file: str) -> Fault:
    reason, remedy = WORDS[found.fault]
    value = found.value or None
    return Fault(file, found.line_no, found.column or "row", value, str(reason), str(remedy))
