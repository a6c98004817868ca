"""When recurring work falls due: by a calendar rule in local time, or by hours since last done."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from itertools import groupby
from zoneinfo import ZoneInfo

from dateutil import rrule

from equipment.site.calc.local_time import (
    YEARS,
    local_date_of,
    require_aware,
    require_naive,
    resolve,
)
from equipment.site.calc.refusal import RefusedValueError
from equipment.site.calc.rule_text import RuleParts, read_rule_text

_PERIODS = {
    "WEEKLY": timedelta(weeks=1),
    "DAILY": timedelta(days=1),
    "HOURLY": timedelta(hours=1),
    "MINUTELY": timedelta(minutes=1),
}
_CALENDAR_CYCLE_YEARS = 400  # the Gregorian calendar repeats: 146 097 days, a whole number of weeks
_LAST_CYCLE_FROM_YEAR = 9_999 - _CALENDAR_CYCLE_YEARS
_ONE_DAY = timedelta(days=1)
_SHORTEST_ELAPSED_H = 0.25


@dataclass(frozen=True, slots=True)
class CalendarRule:
    """A recurrence rule of a site: wall times, never instants, so that it survives clock changes.

    Parameters
    ----------
    text : str
        RRULE value, such as ``"FREQ=DAILY;BYHOUR=6,14,22"``.
    start_local : datetime
        DTSTART: naive wall time to the minute. It gives the rule what its text leaves out, and it
        is an instance itself only if it fits the rule.
    zone : ZoneInfo
        The site's zone.
    exdates : tuple of date or datetime
        EXDATE: naive wall times of single instances to leave out, or dates to leave out whole.

    Raises
    ------
    RefusedValueError
        From `read_rule_text`; ``has_offset``, ``not_whole_minute`` or ``out_of_range`` for DTSTART;
        ``not_a_value`` or ``out_of_range`` for UNTIL (years 1900 to 2199); ``never_occurs``.
    """

    text: str
    start_local: datetime
    zone: ZoneInfo
    exdates: tuple[date | datetime, ...] = ()
    parts: RuleParts = field(init=False, repr=False)
    until: datetime | None = field(init=False, repr=False)

    def __post_init__(self) -> None:
        """Refuse a rule that cannot be read or that has no instance."""
        require_naive(self.start_local, "DTSTART")
        if self.start_local.second or self.start_local.microsecond:
            raise RefusedValueError("not_whole_minute", "DTSTART", self.start_local)
        if self.start_local.year not in YEARS:
            raise RefusedValueError("out_of_range", "DTSTART", self.start_local)
        object.__setattr__(self, "parts", read_rule_text(self.text))
        object.__setattr__(self, "until", _until_instant(self.parts.until, self.zone))
        self._check_occurs()

    def _check_occurs(self) -> None:
        first = self._first_wall()
        if first is None:
            raise RefusedValueError("never_occurs", "RRULE", self.text)
        if self.until is not None and resolve(first, self.zone) > self.until:
            raise RefusedValueError("never_occurs", "UNTIL", self.parts.until)

    def _first_wall(self) -> datetime | None:
        # dateutil looks on to the year 9999 for an instance that never comes (30 February). Asked
        # in the last whole cycle of the calendar it answers the same, in a tenth of the time.
        n_cycles = (_LAST_CYCLE_FROM_YEAR - self.start_local.year) // _CALENDAR_CYCLE_YEARS
        years = n_cycles * _CALENDAR_CYCLE_YEARS
        late = self.start_local.replace(year=self.start_local.year + years)
        try:
            found = next(iter(rrule.rrulestr(self.parts.endless_text, dtstart=late)), None)
        except ValueError:
            return None  # dateutil saw itself that BYHOUR or BYMINUTE never meets the interval
        return found.replace(year=found.year - years) if found else None

    def walls_between(self, first_day: date, last_day: date) -> list[datetime]:
        """Return the wall times of the rule on some whole local days, before EXDATE and UNTIL.

        Parameters
        ----------
        first_day, last_day : date
            Local dates, both included.

        Returns
        -------
        list of datetime
            Naive wall times in order.

        Notes
        -----
        A rule without COUNT whose DTSTART is long ago is started again near the window, a whole
        number of its intervals later, so that it costs the same in its tenth year as in its first.
        Yearly and monthly rules are not: they have few periods to walk through. A rule with COUNT
        is counted out from its start, at most 10 000 instances.
        """
        low, high = datetime.combine(first_day, time.min), datetime.combine(last_day, time.max)
        start = self._start_near(low)
        return rrule.rrulestr(self.parts.counted_text, dtstart=start).between(low, high, inc=True)

    def _start_near(self, low: datetime) -> datetime:
        period = _PERIODS.get(self.parts.freq)
        if period is None or self.parts.count is not None:
            return self.start_local
        period *= self.parts.interval
        # one period early: a first week that is cut short would mislead BYSETPOS
        n_skipped = (low - self.start_local) // period - 1
        return self.start_local + max(0, n_skipped) * period

    def leaves_out(self, wall: datetime) -> bool:
        """Say whether EXDATE takes out the instance of that wall time."""
        return any(
            wall == exdate if isinstance(exdate, datetime) else wall.date() == exdate
            for exdate in self.exdates
        )


@dataclass(frozen=True, slots=True)
class Occurrence:
    """One instance of a rule.

    Parameters
    ----------
    local_date : date
        The date the rule names, also when the spring gap shifts the instant past midnight.
    slot : int
        Place among the rule's instances of that date: 0, 1, ... EXDATE leaves a hole and renames
        nothing, so (local_date, slot) is a key that holds no time that can move.
    at : datetime
        When it is, in UTC.
    """

    local_date: date
    slot: int
    at: datetime


def occurrences(rule: CalendarRule, after: datetime, before: datetime) -> list[Occurrence]:
    """Expand a rule to its instances in a span of time.

    Parameters
    ----------
    rule : CalendarRule
        The rule.
    after, before : datetime
        Aware; instances with ``after <= at < before`` are returned.

    Returns
    -------
    list of Occurrence
        In order of time. [instants]

    Notes
    -----
    Every wall time of the rule gives exactly one occurrence, on clock-change nights too: one in the
    spring gap is shifted, one in the autumn fold comes once. An hourly rule so has 24 instances on
    the 23-hour day, two of them at 03:00, and 24 on the 25-hour day; what must follow elapsed hours
    uses `elapsed_dues`. Departs from RFC 5545, which drops and does not count instances in the gap.

    UNTIL ends the rule by instant: with ``Z`` as the RFC asks, without it in local time, and as a
    date through the end of that local day.

    Valid: rules that `read_rule_text` takes, in any zone; years 1900 to 2199.

    Checked: tests/equipment/site/test_recurrence.py::
    test_a_rule_gives_the_days_that_the_standard_prints,
    test_an_instance_in_the_spring_gap_is_shifted_and_counted,
    test_an_instance_in_the_autumn_fold_comes_once_at_the_first_pass

    References
    ----------
    .. [1] B. Desruisseaux, RFC 5545, 2009, section 3.3.10.
    """
    after, before = require_aware(after, "after"), require_aware(before, "before")
    # a day early: the gap can push an instance of late evening into the next day
    first_day = local_date_of(after, rule.zone) - _ONE_DAY
    walls = rule.walls_between(first_day, local_date_of(before, rule.zone))
    found = [o for o in _numbered(rule, walls) if after <= o.at < before]
    return sorted(found, key=lambda o: (o.at, o.local_date, o.slot))


def _numbered(rule: CalendarRule, walls: list[datetime]) -> Iterator[Occurrence]:
    for local_date, walls_of_day in groupby(walls, key=datetime.date):
        for slot, wall in enumerate(walls_of_day):
            at = resolve(wall, rule.zone)
            if not rule.leaves_out(wall) and (rule.until is None or at <= rule.until):
                yield Occurrence(local_date, slot, at)


def _until_instant(text: str | None, zone: ZoneInfo) -> datetime | None:
    if text is None:
        return None
    try:
        moment = datetime.fromisoformat(text.removesuffix("Z"))
    except ValueError as error:
        raise RefusedValueError("not_a_value", "UNTIL", text) from error
    if moment.year not in YEARS:
        raise RefusedValueError("out_of_range", "UNTIL", text)
    if text.endswith("Z"):
        return moment.replace(tzinfo=UTC)
    if "T" not in text:
        moment = datetime.combine(moment.date(), time.max)
    return resolve(moment, zone)


@dataclass(frozen=True, slots=True)
class ElapsedDue:
    """One turn of work that is due so many hours after it was last done.

    Parameters
    ----------
    cycle : int
        Number of the turn, counted from 1 when the work was first set up.
    at : datetime
        When it is due, in UTC; in the past when it is overdue.
    """

    cycle: int
    at: datetime


def elapsed_dues(
    *, every_h: float, last_done_at: datetime, n_done: int, now: datetime, before: datetime
) -> list[ElapsedDue]:
    """Foresee the turns of "every so many hours since last done".

    Parameters
    ----------
    every_h : float
        Hours that pass between one turn and the next, at least 0.25. [h]
    last_done_at : datetime
        Aware; when it was last done, or when it was set up.
    n_done : int
        Turns done so far.
    now : datetime
        Aware; what is overdue is taken to be done now when the turns after it are foreseen.
    before : datetime
        Aware; turns due at or after it are left out.

    Returns
    -------
    list of ElapsedDue
        In order of time. Only the first can be overdue, and an overdue one is never left out.

    Raises
    ------
    RefusedValueError
        ``out_of_range`` for `every_h` below 0.25 or for a negative `n_done`.

    Notes
    -----
    Counts elapsed time, so a clock change neither shortens nor stretches the interval.
    """
    if not every_h >= _SHORTEST_ELAPSED_H:
        raise RefusedValueError("out_of_range", "every_h", every_h)
    if n_done < 0:
        raise RefusedValueError("out_of_range", "n_done", n_done)
    step = timedelta(hours=every_h)
    at, before = require_aware(last_done_at) + step, require_aware(before, "before")
    dues: list[ElapsedDue] = []
    while at < before:
        dues.append(ElapsedDue(n_done + len(dues) + 1, at))
        at = max(at, require_aware(now, "now")) + step
    return dues
