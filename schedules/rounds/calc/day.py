"""A whole day of milkings: times, windows and costs of every visit, and re-timing by facts."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from schedules.rounds.calc.facts import VisitFacts, VisitTimes
from schedules.rounds.calc.parlorday import Milking, ParlorDay, PenAtParlor
from schedules.rounds.calc.returns import CowCost, price_return
from schedules.rounds.calc.visits import Turn, build_turn, time_turns
from schedules.rounds.calc.windows import BedWindow, Window, bed_windows, whole_second

# A visit is named by its milking's slot and its pen's key.
VisitKey = tuple[int, str]

NOTHING_KNOWN = VisitFacts()


@dataclass(frozen=True, slots=True)
class Visit:
    """One pen's visit to the parlor.

    Parameters
    ----------
    slot : int
        The milking.
    pen : PenAtParlor
        The pen.
    times : VisitTimes
        Known or estimated times.
    empty : Window
        The pen holds no cow: from the last one out until the first one is in it again.
    away : Window
        From the first cow out until the last one is back at feed and beds.
    beds : tuple of BedWindow
        One per bed group of the pen.
    cost : CowCost
        What the pen's return mode takes from the cows' rest, at the planned pace.
    """

    slot: int
    pen: PenAtParlor
    times: VisitTimes
    empty: Window
    away: Window
    beds: tuple[BedWindow, ...]
    cost: CowCost

    @property
    def key(self) -> VisitKey:
        """Name of the visit."""
        return self.slot, self.pen.key


@dataclass(frozen=True, slots=True)
class MilkingTimes:
    """One milking as planned or as it goes.

    Parameters
    ----------
    slot : int
        The milking.
    starts_at : datetime
        First cow on the deck.
    ends_at : datetime
        Last cow off the deck; the wash begins.
    wash_until : datetime
        The parlor is free again.
    visits : tuple of Visit
        In the order on the deck.
    """

    slot: int
    starts_at: datetime
    ends_at: datetime
    wash_until: datetime
    visits: tuple[Visit, ...]


@dataclass(frozen=True, slots=True)
class ClockDay:
    """The parlor's day, timed.

    Parameters
    ----------
    day : ParlorDay
        The day as it is meant to be.
    facts : mapping of VisitKey to VisitFacts
        What is known to have happened.
    milkings : tuple of MilkingTimes
        By their starts.
    """

    day: ParlorDay
    facts: Mapping[VisitKey, VisitFacts]
    milkings: tuple[MilkingTimes, ...]

    @property
    def visits(self) -> tuple[Visit, ...]:
        """All visits of the day, in the order on the deck."""
        return tuple(visit for milking in self.milkings for visit in milking.visits)


def needs_wash(before: PenAtParlor, then: PenAtParlor) -> bool:
    """Say whether the system is washed between two pens: milk for the tank follows withheld milk.

    Parameters
    ----------
    before, then : PenAtParlor
        Neighbours in the order on the deck.

    Returns
    -------
    bool
        Whether it is.
    """
    return before.is_withheld and not then.is_withheld


def _turns(day: ParlorDay, facts: Mapping[VisitKey, VisitFacts]) -> Iterator[Turn]:
    wash = timedelta(minutes=day.parlor.rotation_min + day.wash_min)
    for n_before, milking in enumerate(day.milkings):
        for position, pen in enumerate(milking.pens):
            begins = position == 0
            is_washed = n_before > 0 if begins else needs_wash(milking.pens[position - 1], pen)
            yield build_turn(
                day.parlor,
                pen,
                gap=wash if is_washed else timedelta(0),
                starts_at=milking.starts_at if begins else None,
                facts=facts.get((milking.slot, pen.key), NOTHING_KNOWN),
            )


def _build_visit(day: ParlorDay, slot: int, pen: PenAtParlor, times: VisitTimes) -> Visit:
    filled_at = times.first_back_at + timedelta(minutes=pen.returns.pen_fills_after_min)
    return Visit(
        slot=slot,
        pen=pen,
        times=times,
        empty=Window(times.last_out_at, max(times.last_out_at, whole_second(filled_at))),
        away=Window(times.first_out_at, times.last_back_at),
        beds=bed_windows(
            last_out_at=times.last_out_at,
            first_back_at=times.first_back_at,
            returns=pen.returns,
            bed_groups=pen.bed_groups,
            rules=pen.rules,
        ),
        cost=price_return(
            pen.returns,
            n_cows=pen.n_cows,
            spread_min=day.parlor.entry_min(pen.n_cows),
            bed_groups=pen.bed_groups,
        ),
    )


def _build_milking(day: ParlorDay, milking: Milking, times: Sequence[VisitTimes]) -> MilkingTimes:
    ends_at = times[-1].last_on_at + timedelta(minutes=day.parlor.rotation_min)
    return MilkingTimes(
        slot=milking.slot,
        starts_at=times[0].first_on_at,
        ends_at=whole_second(ends_at),
        wash_until=whole_second(ends_at + timedelta(minutes=day.wash_min)),
        visits=tuple(
            _build_visit(day, milking.slot, pen, visit_times)
            for pen, visit_times in zip(milking.pens, times, strict=True)
        ),
    )


def _require_known_visits(day: ParlorDay, facts: Mapping[VisitKey, VisitFacts]) -> None:
    visits = {(milking.slot, pen.key) for milking in day.milkings for pen in milking.pens}
    strangers = sorted(set(facts) - visits)
    if strangers:
        raise ValueError(f"parlor day: facts of visits that it does not have: {strangers}")


def time_day(day: ParlorDay, facts: Mapping[VisitKey, VisitFacts] | None = None) -> ClockDay:
    """Compute the times, windows and costs of all visits of a day.

    Parameters
    ----------
    day : ParlorDay
        The day as it is meant to be.
    facts : mapping of VisitKey to VisitFacts, optional
        What is known to have happened, for any visits and any of their times.

    Returns
    -------
    ClockDay
        The day, all instants in whole seconds. A milking whose start lies before the end of the
        wash before it starts when that wash ends. [s]

    Raises
    ------
    ValueError
        If facts name a visit that the day does not have.

    Notes
    -----
    Time away of a pen is walk out, its cows over the deck's cows an hour, one turn and walk back.

    Valid: one deck with a steady pace, pens one after another, with a system wash between
    milkings and before milk for the tank follows withheld milk.
    Checked: tests/schedules/rounds/test_day.py::
    test_300_cows_at_450_an_hour_are_away_for_55_minutes,
    test_the_system_is_washed_between_withheld_milk_and_milk_for_the_tank,
    test_the_demo_day_closes_in_about_22_hours

    References
    ----------
    Arithmetic; driven cows walk 55 m/min (Massey University, thesis 5490, abstract).
    """
    facts = dict(facts or {})
    _require_known_visits(day, facts)
    timed = iter(time_turns(list(_turns(day, facts)), free_from=day.free_from))
    milkings = tuple(
        _build_milking(day, milking, [next(timed) for _ in milking.pens])
        for milking in day.milkings
    )
    return ClockDay(day=day, facts=facts, milkings=milkings)


def retime(clock: ClockDay, facts: Mapping[VisitKey, VisitFacts]) -> ClockDay:
    """Re-time a day by what has happened since.

    Parameters
    ----------
    clock : ClockDay
        The day as timed so far.
    facts : mapping of VisitKey to VisitFacts
        What was heard since; where a time was known before, the newer fact counts.

    Returns
    -------
    ClockDay
        The day computed anew from the plan and all facts, so that the same facts given twice,
        or in several steps, lead to the same day. Without facts it is the day given. [s]

    Raises
    ------
    ValueError
        If facts name a visit that the day does not have, or contradict each other's order.

    Notes
    -----
    Valid: facts of one visit in an order that can happen; the planned pace goes on behind them.
    Checked: tests/schedules/rounds/test_retime.py::
    test_a_milking_started_late_moves_all_that_follows,
    test_facts_given_twice_or_one_by_one_lead_to_the_same_day,
    test_the_plan_reported_as_fact_changes_no_time

    References
    ----------
    Arithmetic of sums, minima and maxima, so that a later fact makes no time earlier: Baccelli, F.
    et al., "Synchronization and Linearity", 1992, ch. 1.
    """
    joined = dict(clock.facts)
    for key, newer in facts.items():
        joined[key] = joined.get(key, NOTHING_KNOWN).joined_with(newer)
    return time_day(clock.day, joined)
