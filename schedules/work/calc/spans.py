"""Windows of work: when it may start at the earliest and must have ended at the latest."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

from equipment.site.calc.local_time import resolve

SHORTEST = timedelta(minutes=1)


@dataclass(frozen=True, slots=True)
class Span:
    """From an instant until a later one.

    Parameters
    ----------
    start, end : datetime
        Aware instants.
    """

    start: datetime
    end: datetime

    @property
    def length(self) -> timedelta:
        """Elapsed time from start to end."""
        return self.end - self.start


def lasting(start: datetime, *, h: float = 0, minutes: float = 0) -> Span:
    """Return the span of so much elapsed time from an instant, at least one minute.

    Parameters
    ----------
    start : datetime
        Aware.
    h : float
        Hours. [h]
    minutes : float
        Minutes added to them. [min]

    Returns
    -------
    Span
        The span.
    """
    return at_least(start, start + timedelta(hours=h, minutes=minutes))


def at_least(start: datetime, end: datetime) -> Span:
    """Return the span between two instants, stretched to one minute when it has no length.

    Parameters
    ----------
    start, end : datetime
        Aware. `end` before `start` is a window that never opens.

    Returns
    -------
    Span
        A span that the work order's own check accepts; a plan sees that it is too short.
    """
    return Span(start, max(end, start + SHORTEST))


def day_spans(day: date, n: int, from_local: time, until_local: time, zone: ZoneInfo) -> list[Span]:
    """Share the hours of a local day out to `n` equal spans.

    Parameters
    ----------
    day : date
        Local date.
    n : int
        How many.
    from_local, until_local : time
        Wall times of the first start and of the last end, `until_local` the later.
    zone : ZoneInfo
        The site's zone.

    Returns
    -------
    list of Span
        In order, each ends where the next starts.
    """
    first = datetime.combine(day, from_local)
    step = (datetime.combine(day, until_local) - first) / n
    marks = [resolve(first + step * i, zone) for i in range(n + 1)]
    return [at_least(start, end) for start, end in pairwise(marks)]


def extend(span: Span, now: datetime) -> Span:
    """Give a span whose end has passed a later end: whole lengths of its own on.

    Parameters
    ----------
    span : Span
        The window as the rule has it.
    now : datetime
        Aware.

    Returns
    -------
    Span
        The same span when it has not passed. The new end moves once in a window's length, not with
        every look at the clock, so that a plan made of it holds.
    """
    if span.end > now:
        return span
    n_lengths = (now - span.end) // span.length + 1
    return Span(span.start, span.end + n_lengths * span.length)


@dataclass(frozen=True, slots=True)
class Leader:
    """The work that other work follows: as planned, and as it happened.

    Parameters
    ----------
    span : Span
        Its window.
    duration_min : float
        Minutes it takes. [min]
    started_at, ended_at : datetime or None
        Aware, once it happened.
    """

    span: Span
    duration_min: float
    started_at: datetime | None = None
    ended_at: datetime | None = None


def follower_span(leader: Leader, relation: str, gap_min: float, window_min: float) -> Span:
    """Return the window of work that follows another.

    Parameters
    ----------
    leader : Leader
        The work that goes first.
    relation : str
        RFC 9253: what of the follower hangs on what of the leader.
    gap_min : float
        Least time between. [min]
    window_min : float
        How long the follower may take from then on. [min]

    Returns
    -------
    Span
        Earliest start to latest end. Until the leader has happened, it reaches from the leader's
        earliest to its latest time. [instants]

    Notes
    -----
    Valid: the four temporal relations; gaps may be negative.

    Checked: tests/schedules/work/test_calc.py::
    test_each_relation_bounds_the_follower_before_anything_happened,
    test_each_relation_is_timed_by_what_happened

    References
    ----------
    .. [1] M. Douglass, RFC 9253, 2022, section 5 (temporal RELTYPE values).
    """
    gap, window = timedelta(minutes=gap_min), timedelta(minutes=window_min)
    if relation in ("FINISHTOSTART", "FINISHTOFINISH"):
        duration = timedelta(minutes=leader.duration_min)
        first = leader.ended_at or min(leader.span.start + duration, leader.span.end)
        last = leader.ended_at or leader.span.end
    else:
        first = leader.started_at or leader.span.start
        last = leader.started_at or max(
            first, leader.span.end - timedelta(minutes=leader.duration_min)
        )
    if relation in ("FINISHTOFINISH", "STARTTOFINISH"):
        return at_least(leader.started_at or leader.span.start, last + gap + window)
    return at_least(first + gap, last + gap + window)
