"""The wall times that a recurrence rule names: RFC 5545 section 3.3.10 as a filter of days.

A day is asked whether the rule names it; the times of a named day follow from BYHOUR and BYMINUTE,
or, of an hourly or minutely rule, from the steps since its start. So a window costs what it is
long, however long ago the rule began, but for COUNT, which is counted out from the start.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import MINYEAR, date, datetime, time, timedelta
from itertools import groupby
from math import gcd
from operator import itemgetter

from equipment.site.calc.rule_text import RuleParts

_WEEKDAYS = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")
_CALENDAR_CYCLE_D = 146_097  # the Gregorian calendar repeats after 400 years, whole weeks too
_ONE_DAY = timedelta(days=1)
_DAY_MIN = 1440
_first = itemgetter(0)

DayTest = Callable[[date], bool]
Minutes = Sequence[int]  # of a local day, from 0 to 1439, in order
DayMinutes = tuple[date, Minutes]


@dataclass(frozen=True, slots=True)
class Expansion:
    """A rule made ready to be asked for its wall times.

    Parameters
    ----------
    freq : str
        Its frequency.
    start : datetime
        DTSTART, naive.
    names_day : callable
        Whether the rule names a date, its interval left aside.
    minutes_on : callable
        Its minutes of the local day on a date that it names.
    """

    freq: str
    start: datetime
    interval: int
    count: int | None
    week_start: int
    set_positions: tuple[int, ...]
    names_day: DayTest
    minutes_on: Callable[[date], Minutes]

    def between(self, first_day: date, last_day: date) -> Iterator[DayMinutes]:
        """Give each date from the first to the last, both included, with its minutes."""
        if self.count is None:
            return self._since_start(max(first_day, self.start.date()), last_day)
        counted = self._counted(self.count, last_day)
        return ((day, minutes) for day, minutes in counted if day >= first_day)

    def first(self) -> datetime | None:
        """Find the first wall time; None when a whole cycle of the calendar has none."""
        last_day = min(self.start.date(), date(9_599, 1, 1)) + timedelta(days=_CALENDAR_CYCLE_D)
        for day, minutes in self._since_start(self.start.date(), last_day):
            return wall_time(day, minutes[0])
        return None

    def _counted(self, n_left: int, last_day: date) -> Iterator[DayMinutes]:
        for day, minutes in self._since_start(self.start.date(), last_day):
            yield day, minutes[:n_left]
            n_left -= len(minutes)
            if n_left <= 0:
                return

    def _since_start(self, first_day: date, last_day: date) -> Iterator[DayMinutes]:
        start_day, start_min = self.start.date(), 60 * self.start.hour + self.start.minute
        for day, minutes in self._dates(first_day, last_day):
            if day == start_day:
                minutes = [minute for minute in minutes if minute >= start_min]  # noqa: PLW2901
            if minutes and day >= first_day:
                yield day, minutes

    def _dates(self, first_day: date, last_day: date) -> Iterator[DayMinutes]:
        if not self.set_positions:
            return ((day, self.minutes_on(day)) for day in self._days(first_day, last_day))
        chosen = self._chosen(self._period_start(first_day), last_day)
        return ((day, [minute for _, minute in of_day]) for day, of_day in groupby(chosen, _first))

    def _days(self, day: date, last_day: date) -> Iterator[date]:
        """Walk the dates that are named and whose period the interval does not leave out."""
        step = _ONE_DAY
        if self.freq == "DAILY":
            late_d = (day - self.start.date()).days % self.interval
            day, step = _later(day, -late_d % self.interval), timedelta(days=self.interval)
        names_day, is_on = self.names_day, self._is_on
        every = self.interval == 1 or self.freq in ("DAILY", "HOURLY", "MINUTELY")
        while day <= last_day:
            if names_day(day) and (every or is_on(day)):
                yield day
            if date.max - day < step:
                return
            day += step

    def _is_on(self, day: date) -> bool:
        start = self.start.date()
        if self.freq == "WEEKLY":
            weeks = (_week_start(day, self.week_start) - _week_start(start, self.week_start)).days
            return weeks // 7 % self.interval == 0
        years = day.year - start.year
        if self.freq == "YEARLY":
            return years % self.interval == 0
        return (12 * years + day.month - start.month) % self.interval == 0

    def _period_start(self, day: date) -> date:
        match self.freq:
            case "WEEKLY":
                return _week_start(day, self.week_start)
            case "MONTHLY":
                return day.replace(day=1)
            case "YEARLY":
                return day.replace(month=1, day=1)
        return day

    def _chosen(self, first_day: date, last_day: date) -> Iterator[tuple[date, int]]:
        """Keep of each whole period's minutes those at the positions of BYSETPOS."""
        days = self._days(first_day, _later(last_day, 366))
        for begun, of_period in groupby(days, self._period_start):
            if begun > last_day:
                return
            named = [(day, minute) for day in of_period for minute in self.minutes_on(day)]
            yield from _at_positions(named, self.set_positions)


def wall_time(day: date, minute: int) -> datetime:
    """Give the naive wall time of a minute of a local day."""
    return datetime.combine(day, time(*divmod(minute, 60)))


def expand_rule(parts: RuleParts, start: datetime) -> Expansion:
    """Make a checked rule ready to be asked.

    Parameters
    ----------
    parts : RuleParts
        Its parts; UNTIL is left aside, since it ends a rule by the instant.
    start : datetime
        DTSTART, naive; it gives the rule what its text leaves out.

    Returns
    -------
    Expansion
        Ready to be asked.
    """
    return Expansion(
        freq=parts.freq,
        start=start,
        interval=parts.interval,
        count=parts.count,
        week_start=_WEEKDAYS.index(parts.values.get("WKST", "MO")),
        set_positions=tuple(_numbers(parts, "BYSETPOS")),
        names_day=_all_of(list(_day_tests(parts, start.date()))),
        minutes_on=_minutes(parts, start),
    )


def _numbers(parts: RuleParts, name: str) -> list[int]:
    return [int(n) for n in parts.values[name].split(",")] if name in parts.values else []


def _later(day: date, days: int) -> date:
    return min(day, date.max - timedelta(days=days)) + timedelta(days=days)


def _week_start(day: date, week_start: int) -> date:
    back_d = (day.weekday() - week_start) % 7
    return day - timedelta(days=back_d) if day.toordinal() > back_d else date(MINYEAR, 1, 1)


def _at_positions(
    period: list[tuple[date, int]], positions: tuple[int, ...]
) -> list[tuple[date, int]]:
    n = len(period)
    wanted = {p - 1 if p > 0 else n + p for p in positions}
    return [named for index, named in enumerate(period) if index in wanted]


# Which days -------------------------------------------------------------------------------------


def _all_of(tests: list[DayTest]) -> DayTest:
    if not tests:
        return lambda _day: True
    if len(tests) == 1:
        return tests[0]
    return lambda day: all(test(day) for test in tests)


def _day_tests(parts: RuleParts, start: date) -> Iterator[DayTest]:
    """Give one test for each part that narrows the days, those left to DTSTART too."""
    given = parts.values
    months = set(_numbers(parts, "BYMONTH"))
    month_days = set(_numbers(parts, "BYMONTHDAY"))
    weekdays = given.get("BYDAY", "")
    if not (month_days or weekdays or "BYWEEKNO" in given or "BYYEARDAY" in given):
        if parts.freq == "WEEKLY":
            weekdays = _WEEKDAYS[start.weekday()]
        elif parts.freq in ("MONTHLY", "YEARLY"):
            month_days = {start.day}
            months = months or ({start.month} if parts.freq == "YEARLY" else set())
    if months:
        yield lambda day: day.month in months
    if month_days:
        yield lambda day: day.day in month_days or -_days_left(day) in month_days
    if "BYYEARDAY" in given:
        yield _by_year_day(set(_numbers(parts, "BYYEARDAY")))
    if "BYWEEKNO" in given:
        yield _by_week_number(set(_numbers(parts, "BYWEEKNO")), given.get("WKST", "MO"))
    if weekdays:
        yield _by_weekday(weekdays, in_month=parts.freq == "MONTHLY" or "BYMONTH" in given)


def _days_left(day: date) -> int:
    """Count the days of a date's month from it on, 1 for the last."""
    if day.month == 12:
        return 32 - day.day
    return (day.replace(month=day.month + 1, day=1) - day).days


def _by_year_day(wanted: set[int]) -> DayTest:
    def is_named(day: date) -> bool:
        number = day.timetuple().tm_yday
        length = date(day.year, 12, 31).timetuple().tm_yday
        return number in wanted or number - length - 1 in wanted

    return is_named


def _by_week_number(wanted: set[int], week_start: str) -> DayTest:
    """Week 1 is the first with four days or more in the year."""
    first = _WEEKDAYS.index(week_start)

    def week_one(year: int) -> date:
        return _week_start(date(year, 1, 4), first)

    def is_named(day: date) -> bool:
        if day.year < 9_999 and day >= week_one(day.year + 1):
            year = day.year + 1
        else:
            year = day.year if day >= week_one(day.year) else day.year - 1
        number = (day - week_one(year)).days // 7 + 1
        n_weeks = (week_one(min(year, 9_998) + 1) - week_one(min(year, 9_998))).days // 7
        return number in wanted or number - n_weeks - 1 in wanted

    return is_named


def _by_weekday(text: str, *, in_month: bool) -> DayTest:
    items = [(item[:-2], _WEEKDAYS.index(item[-2:])) for item in text.split(",")]
    every = {weekday for ordinal, weekday in items if not ordinal}
    nth = {(int(ordinal), weekday) for ordinal, weekday in items if ordinal}
    if not nth:
        return lambda day: day.weekday() in every

    def is_named(day: date) -> bool:
        weekday = day.weekday()
        if in_month:
            before, after = day.day - 1, _days_left(day) - 1
        else:
            before = day.timetuple().tm_yday - 1
            after = (date(day.year, 12, 31) - day).days
        return (
            weekday in every
            or (before // 7 + 1, weekday) in nth
            or (-(after // 7) - 1, weekday) in nth
        )

    return is_named


# Which times ------------------------------------------------------------------------------------


def _minutes(parts: RuleParts, start: datetime) -> Callable[[date], Minutes]:
    hours = sorted(set(_numbers(parts, "BYHOUR")))
    minutes = sorted(set(_numbers(parts, "BYMINUTE")))
    if parts.freq == "MINUTELY":
        return _stepped(start, parts.interval, set(hours) or set(range(24)), [0])
    minutes = minutes or [start.minute]
    if parts.freq == "HOURLY":
        whole = start.replace(minute=0)
        return _stepped(whole, 60 * parts.interval, set(hours) or set(range(24)), minutes)
    same = tuple(60 * hour + minute for hour in hours or [start.hour] for minute in minutes)
    return lambda _day: same


def _stepped(
    start: datetime, step_min: int, hours: set[int], minutes: list[int]
) -> Callable[[date], Minutes]:
    """Give the steps since the start that fall on a date, and the minutes after each."""
    anchor_min = start.toordinal() * _DAY_MIN + 60 * start.hour + start.minute
    reached = range(anchor_min % gcd(step_min, _DAY_MIN), _DAY_MIN, gcd(step_min, _DAY_MIN))
    if not any(minute // 60 in hours for minute in reached):
        return lambda _day: ()

    def minutes_on(day: date) -> Minutes:
        first_min = (anchor_min - day.toordinal() * _DAY_MIN) % step_min
        return [
            at_min + more
            for at_min in range(first_min, _DAY_MIN, step_min)
            if at_min // 60 in hours
            for more in minutes
        ]

    return minutes_on
