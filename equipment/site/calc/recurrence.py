"""When recurring work falls due: by a calendar rule in local time, or by hours since last done."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from itertools import count, repeat
from operator import attrgetter
from typing import NamedTuple
from zoneinfo import ZoneInfo

from equipment.site.calc.expansion import DayMinutes, Expansion, expand_rule, wall_time
from equipment.site.calc.local_time import (
    YEARS,
    local_date_of,
    require_aware,
    require_naive,
    resolve,
    resolve_day,
)
from equipment.site.calc.refusal import RefusedValueError
from equipment.site.calc.rule_text import RuleParts, read_rule_text

_ONE_DAY = timedelta(days=1)
_TICK = timedelta(microseconds=1)
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
    _expansion: Expansion = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Refuse a rule that cannot be read or that has no instance."""
        require_naive(self.start_local, "DTSTART")
        if self.start_local.second or self.start_local.microsecond:
            raise RefusedValueError("not_whole_minute", "DTSTART", self.start_local)
        if self.start_local.year not in YEARS:
            raise RefusedValueError("out_of_range", "DTSTART", self.start_local)
        object.__setattr__(self, "parts", read_rule_text(self.text))
        object.__setattr__(self, "until", _until_instant(self.parts.until, self.zone))
        object.__setattr__(self, "_expansion", expand_rule(self.parts, self.start_local))
        self._check_occurs()

    def _check_occurs(self) -> None:
        first = self._expansion.first()
        if first is None:
            raise RefusedValueError("never_occurs", "RRULE", self.text)
        if self.until is not None and resolve(first, self.zone) > self.until:
            raise RefusedValueError("never_occurs", "UNTIL", self.parts.until)

    def minutes_between(self, first_day: date, last_day: date) -> Iterator[DayMinutes]:
        """Return the rule's minutes on some whole local days, before EXDATE and UNTIL.

        Parameters
        ----------
        first_day, last_day : date
            Local dates, both included.

        Returns
        -------
        iterator of tuple of date and sequence of int
            Each date that has any, with its minutes by the clock, in order. [min]

        Notes
        -----
        A rule costs the same in its tenth year as in its first, but for one with COUNT, which is
        counted out from its start: at most 10 000 instances.
        """
        return self._expansion.between(first_day, last_day)


class Occurrence(NamedTuple):
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
    if rule.until is not None:
        before = min(before, rule.until + _TICK)
    first_day, last_day = _local_days(after, before, rule.zone)
    first_whole_day, last_whole_day = first_day + 2 * _ONE_DAY, last_day - _ONE_DAY
    gone = frozenset(rule.exdates)
    holes = {exdate for exdate in gone if isinstance(exdate, datetime)}
    found: list[Occurrence] = []
    for day, minutes in rule.minutes_between(first_day, last_day):
        if day in gone:
            continue
        instants = resolve_day(day, minutes, rule.zone)
        of_day = list(map(Occurrence, repeat(day), count(), instants))
        if not first_whole_day <= day < last_whole_day:
            of_day = [o for o in of_day if after <= o.at < before]
        if holes:
            of_day = [o for o in of_day if wall_time(day, minutes[o.slot]) not in holes]
        found += of_day
    found.sort(key=attrgetter("at"))  # stable: of two at one instant the earlier wall time first
    return found


@lru_cache(maxsize=64)
def _local_days(after: datetime, before: datetime, zone: ZoneInfo) -> tuple[date, date]:
    """Give the dates that a window touches; all rules of a site are asked for the same one.

    A day early: the gap can push an instance of late evening into the next day.
    """
    return local_date_of(after, zone) - _ONE_DAY, local_date_of(before, zone)


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
