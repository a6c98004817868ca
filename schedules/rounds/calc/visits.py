"""The times of each pen's visit to the parlor, as planned and as re-timed by what happened.

The deck ties the visits together: a pen's first cow steps on when the pen before has stepped on
wholly. All other times of a visit are counted back and forth from that instant.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from datetime import datetime, timedelta

from equipment.parlor.calc import AnyParlor
from schedules.rounds.calc.facts import VisitFacts, VisitTimes
from schedules.rounds.calc.parlorday import PenAtParlor
from schedules.rounds.calc.windows import whole_second


@dataclass(frozen=True, slots=True)
class Turn:
    """One pen's turn on the deck: how long each part of its visit takes, and what is known.

    Parameters
    ----------
    lead, walk, wait, clear : timedelta
        Call to first out; walk one way; first cow's wait in the holding area; first to last out.
    entry, ride : timedelta
        First to last cow on; one turn of the deck.
    delay : timedelta
        How much the return mode keeps the first cow from feed and beds.
    gap : timedelta
        Between the last cow on of the turn before and the first cow on of this one.
    starts_at : datetime or None
        Not before this instant, where the turn begins a milking.
    facts : VisitFacts
        What is known to have happened.
    """

    lead: timedelta
    walk: timedelta
    wait: timedelta
    clear: timedelta
    entry: timedelta
    ride: timedelta
    delay: timedelta
    gap: timedelta
    starts_at: datetime | None
    facts: VisitFacts


def build_turn(
    parlor: AnyParlor,
    pen: PenAtParlor,
    *,
    gap: timedelta,
    starts_at: datetime | None,
    facts: VisitFacts,
) -> Turn:
    """Make a pen's turn from its settings.

    Parameters
    ----------
    parlor : RotaryParlor or BatchParlor
        The deck and its pace.
    pen : PenAtParlor
        The pen.
    gap, starts_at, facts
        As in `Turn`.

    Returns
    -------
    Turn
        The turn.
    """
    return Turn(
        lead=timedelta(minutes=pen.lead_min),
        walk=timedelta(minutes=pen.walk_min),
        wait=timedelta(minutes=pen.holding_wait_min),
        clear=timedelta(minutes=pen.clear_min),
        entry=timedelta(minutes=parlor.entry_min(pen.n_cows)),
        ride=timedelta(minutes=parlor.rotation_min),
        delay=timedelta(minutes=pen.returns.delay_min),
        gap=gap,
        starts_at=starts_at,
        facts=facts,
    )


def _earliest(instants: Iterable[datetime | None]) -> datetime | None:
    return min((at for at in instants if at is not None), default=None)


def _latest(instants: Iterable[datetime | None]) -> datetime | None:
    return max((at for at in instants if at is not None), default=None)


@dataclass(frozen=True, slots=True)
class _Known:
    """What the facts of all turns say about one.

    `first_out_at` and `first_on_at` are known, or counted from a known time of the same visit.
    `first_on_until` and `last_on_until` are the latest instants that later turns leave room for.
    """

    first_out_at: datetime | None
    first_on_at: datetime | None
    first_on_until: datetime | None
    last_on_until: datetime | None


def _first_out(turn: Turn, last_on_until: datetime | None) -> datetime | None:
    """First cow out, as far as the pen's own leaving is known."""
    facts = turn.facts
    if facts.first_out_at is not None:
        return facts.first_out_at
    if facts.called_at is not None:
        guess = facts.called_at + turn.lead
    elif facts.last_out_at is not None:
        guess = facts.last_out_at - turn.clear
    else:
        return None
    later = (facts.last_out_at, facts.first_on_at, facts.first_back_at, last_on_until)
    return _latest((facts.called_at, _earliest((guess, *later))))


def _first_on(
    turn: Turn,
    *,
    first_out_at: datetime | None,
    not_before: datetime | None,
    last_on_until: datetime | None,
) -> datetime | None:
    """First cow on, known or counted back from the next later time that is known."""
    facts = turn.facts
    if facts.first_on_at is not None:
        return facts.first_on_at
    if facts.first_back_at is not None:
        guess = facts.first_back_at - turn.delay - turn.walk - turn.ride
    elif facts.last_on_at is not None:
        guess = facts.last_on_at - turn.entry
    elif facts.last_back_at is not None:
        guess = facts.last_back_at - turn.walk - turn.ride - turn.entry
    else:
        return None
    return _latest((_earliest((guess, last_on_until)), first_out_at, not_before))


def _by_own_facts(
    facts: VisitFacts, not_before: datetime | None, last_on_until: datetime | None
) -> tuple[datetime | None, datetime | None]:
    """Let a visit's own facts overrule what others leave it: not before, last cow on until."""
    back = (facts.first_back_at, facts.last_back_at)
    if not_before is not None:
        not_before = _earliest((not_before, facts.first_on_at, facts.last_on_at, *back))
    if facts.last_on_at is not None:
        return not_before, facts.last_on_at
    if last_on_until is not None:
        out = (facts.called_at, facts.first_out_at, facts.last_out_at)
        last_on_until = _latest((last_on_until, *out, facts.first_on_at))
    return not_before, _earliest((last_on_until, facts.last_back_at))


def _know(
    turn: Turn, *, not_before: datetime | None, next_first_on_until: datetime | None
) -> _Known:
    not_before, last_on_until = _by_own_facts(turn.facts, not_before, next_first_on_until)
    first_out_at = _first_out(turn, last_on_until)
    first_on_at = _first_on(
        turn, first_out_at=first_out_at, not_before=not_before, last_on_until=last_on_until
    )
    first_on_until = first_on_at
    if first_on_until is None and last_on_until is not None:
        first_on_until = _latest((last_on_until - turn.entry, first_out_at, not_before))
    return _Known(first_out_at, first_on_at, first_on_until, last_on_until)


def _facts_before(turns: Sequence[Turn]) -> list[datetime | None]:
    """Find, per turn, the last fact of the turns before it that its first cow on cannot precede."""
    latest: datetime | None = None
    found: list[datetime | None] = []
    for turn in turns:
        found.append(latest)
        facts = turn.facts
        out = (facts.called_at, facts.first_out_at, facts.last_out_at)
        latest = _latest((latest, *out, facts.first_on_at, facts.last_on_at))
    return found


def _know_all(turns: Sequence[Turn]) -> list[_Known]:
    """Walk back from the last turn: a pen seen on the deck was preceded by all before it."""
    known: list[_Known] = []
    until: datetime | None = None
    for turn, not_before in zip(reversed(turns), reversed(_facts_before(turns)), strict=True):
        one = _know(turn, not_before=not_before, next_first_on_until=until)
        known.append(one)
        until = None
        if one.first_on_until is not None:
            until = one.first_on_until - turn.gap
    return known[::-1]


def _time_on(turn: Turn, known: _Known, ready_at: datetime) -> datetime:
    if known.first_on_at is not None:
        return known.first_on_at
    # A wait in the holding area makes up for a late call, so it is not added here.
    if known.first_out_at is not None:
        ready_at = max(ready_at, known.first_out_at + turn.walk)
    return ready_at if known.first_on_until is None else min(ready_at, known.first_on_until)


def _time_last_out(turn: Turn, known: _Known, first_out_at: datetime) -> datetime:
    if turn.facts.last_out_at is not None:
        return turn.facts.last_out_at
    last_out_at = first_out_at + turn.clear
    if known.last_on_until is not None:
        last_out_at = min(last_out_at, known.last_on_until)
    return max(first_out_at, last_out_at)


def _time_last_on(
    turn: Turn, known: _Known, *, first_on_at: datetime, last_out_at: datetime
) -> datetime:
    if turn.facts.last_on_at is not None:
        return turn.facts.last_on_at
    # The deck cannot take cows faster than they leave the pen.
    last_on_at = max(first_on_at + turn.entry, last_out_at + turn.walk)
    if known.last_on_until is not None:
        last_on_at = min(last_on_at, known.last_on_until)
    return max(first_on_at, last_on_at)


def _time_back(
    turn: Turn, *, first_on_at: datetime, last_on_at: datetime
) -> tuple[datetime, datetime]:
    first_back_at, last_back_at = turn.facts.first_back_at, turn.facts.last_back_at
    if first_back_at is None:
        first_back_at = first_on_at + turn.ride + turn.walk + turn.delay
        if last_back_at is not None:
            first_back_at = min(first_back_at, last_back_at)
    if last_back_at is None:
        last_back_at = max(last_on_at + turn.ride + turn.walk, first_back_at)
    return first_back_at, last_back_at


def _time_turn(turn: Turn, known: _Known, ready_at: datetime) -> VisitTimes:
    first_on_at = _time_on(turn, known, ready_at)
    first_out_at = known.first_out_at or first_on_at - turn.wait - turn.walk
    last_out_at = _time_last_out(turn, known, first_out_at)
    last_on_at = _time_last_on(turn, known, first_on_at=first_on_at, last_out_at=last_out_at)
    first_back_at, last_back_at = _time_back(turn, first_on_at=first_on_at, last_on_at=last_on_at)
    return VisitTimes(
        called_at=turn.facts.called_at or first_out_at - turn.lead,
        first_out_at=first_out_at,
        last_out_at=last_out_at,
        first_on_at=first_on_at,
        last_on_at=last_on_at,
        first_back_at=first_back_at,
        last_back_at=last_back_at,
    )


def _in_whole_seconds(times: VisitTimes) -> VisitTimes:
    return VisitTimes(**{f.name: whole_second(getattr(times, f.name)) for f in fields(times)})


def time_turns(turns: Sequence[Turn], *, free_from: datetime | None = None) -> list[VisitTimes]:
    """Compute the times of all visits in their order on the deck.

    Parameters
    ----------
    turns : sequence of Turn
        In the order in which the pens step on; the first one says when it may start.
    free_from : datetime or None
        The deck is not free before this instant.

    Returns
    -------
    list of VisitTimes
        One per turn, in the same order. A known time is kept as it is. An unknown one is
        counted forward from the last known time before it in the visit, else from the deck
        becoming free; a visit of which nothing is known, but a later one is, is never placed
        later than that one leaves room for.

    Raises
    ------
    ValueError
        If the first turn has no start.

    Notes
    -----
    Every step is a sum, a minimum or a maximum, so a later start or a later fact never makes
    any time earlier. Facts of different visits may contradict each other; each visit's own are
    then kept, and the visits overlap on the deck.
    """
    timed: list[VisitTimes] = []
    deck_free_at = free_from
    for turn, known in zip(turns, _know_all(turns), strict=True):
        ready_at = _latest((turn.starts_at, deck_free_at and deck_free_at + turn.gap))
        if ready_at is None:
            raise ValueError("the first turn must have a start")
        times = _time_turn(turn, known, ready_at)
        timed.append(_in_whole_seconds(times))
        deck_free_at = times.last_on_at
    return timed
