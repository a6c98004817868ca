"""Whether the time stamps of a weather file follow one another as they should."""

from bisect import bisect
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

from equipment.site.calc.local_time import local_of, resolve
from equipment.weather.calc.columns import Fault, FoundFault

_DAY = timedelta(days=1)
_HOUR = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class Stamp:
    """When a row is about.

    Parameters
    ----------
    line_no : int
        Line in the file.
    at : date or datetime
        The local date, or the UTC instant at which the hour begins.
    text : str
        As it stands in the file.
    """

    line_no: int
    at: date | datetime
    text: str


class StampReader:
    """Reads the time stamps of one file, top to bottom.

    Parameters
    ----------
    zone : ZoneInfo
        Whose wall clock the file uses where a time has no offset.
    is_hourly : bool
        Whether stamps are hours or dates.

    Notes
    -----
    Where the wall clock repeats an hour in autumn, the first row of that hour is its first pass and
    the second row its second; a third is a duplicate. An hour that the clock skips in spring does
    not exist, and a row that claims it is refused: a logger left on another zone writes such rows.
    """

    def __init__(self, zone: ZoneInfo, *, is_hourly: bool) -> None:
        self._zone = zone
        self._is_hourly = is_hourly
        self._seen: set[datetime] = set()

    def read(self, line_no: int, text: str) -> Stamp | FoundFault:
        """Read one stamp.

        Parameters
        ----------
        line_no : int
            Line in the file.
        text : str
            The cell.

        Returns
        -------
        Stamp or FoundFault
            `bad_date`, `bad_time` or `no_such_local_time` where it cannot be read.
        """
        try:
            at = self._hour(text) if self._is_hourly else _date(text)
        except ValueError:
            fault = Fault.BAD_TIME if self._is_hourly else Fault.BAD_DATE
            return FoundFault(line_no, fault, value=text)
        if at is None:
            return FoundFault(line_no, Fault.NO_SUCH_LOCAL_TIME, value=text)
        return Stamp(line_no, at, text)

    def _hour(self, text: str) -> datetime | None:
        moment = datetime.fromisoformat(text)
        if (moment.minute, moment.second, moment.microsecond) != (0, 0, 0) or len(text) <= 10:
            raise ValueError("not the beginning of an hour")
        if moment.tzinfo is not None:
            return moment.astimezone(UTC)
        return self._instant_of(moment)

    def _instant_of(self, wall: datetime) -> datetime | None:
        first = resolve(wall, self._zone)
        if local_of(first, self._zone) != wall:
            return None
        second = wall.replace(tzinfo=self._zone, fold=1).astimezone(UTC)
        is_second = wall in self._seen
        self._seen.add(wall)
        return second if is_second else first


def _date(text: str) -> date:
    if len(text) != 10:  # 3.11 also reads 20260101 and 2026-W01-1, which few would mean
        raise ValueError("not YYYY-MM-DD")
    return date.fromisoformat(text)


def order_faults(
    stamps: Sequence[Stamp], unreadable: Sequence[int], *, is_hourly: bool
) -> list[FoundFault]:
    """Find doubled, unordered and missing days or hours.

    Parameters
    ----------
    stamps : sequence of Stamp
        As they stand in the file.
    unreadable : sequence of int
        Lines without a stamp, in order: a gap that they fill is theirs, and not reported twice.
    is_hourly : bool
        Whether stamps are hours or dates.

    Returns
    -------
    list of FoundFault
        `duplicate` and `unordered` at the row itself; `gap` at the first row after the gap.
    """
    return [*_misplaced(stamps), *_gaps(stamps, unreadable, _HOUR if is_hourly else _DAY)]


def _misplaced(stamps: Sequence[Stamp]) -> Iterator[FoundFault]:
    seen: set[date | datetime] = set()
    latest = None
    for stamp in stamps:
        if stamp.at in seen:
            yield FoundFault(stamp.line_no, Fault.DUPLICATE, value=stamp.text)
        elif latest is not None and stamp.at < latest:
            yield FoundFault(stamp.line_no, Fault.UNORDERED, value=stamp.text)
        else:
            latest = stamp.at
        seen.add(stamp.at)


def _gaps(
    stamps: Sequence[Stamp], unreadable: Sequence[int], step: timedelta
) -> Iterator[FoundFault]:
    line_of: dict[date | datetime, int] = {}
    for stamp in stamps:
        if stamp.at >= stamps[0].at:  # a mistyped early year is unordered, not the end of a gap
            line_of.setdefault(stamp.at, stamp.line_no)
    for before, after in pairwise(sorted(line_of)):
        n_missing = (after - before) // step - 1
        n_unreadable = bisect(unreadable, line_of[after]) - bisect(unreadable, line_of[before])
        if n_missing > n_unreadable:
            missing = f"{(before + step).isoformat()}/{(after - step).isoformat()}"
            yield FoundFault(line_of[after], Fault.GAP, value=missing)
