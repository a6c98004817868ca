"""Small parlor days to test with, and hypothesis strategies for them."""

from dataclasses import fields, replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise

from hypothesis import settings
from hypothesis import strategies as st

from equipment.parlor.calc import RotaryParlor
from schedules.rounds.calc import (
    BedGroup,
    Milking,
    ParlorDay,
    PenAtParlor,
    ReturnMode,
    ReturnRule,
    StraightBack,
    VisitFacts,
    VisitKey,
    VisitTimes,
    WindowRules,
    build_return_rule,
    time_day,
)
from schedules.rounds.calc.facts import ORDERS

FOUR_AM = datetime(2026, 3, 3, 4, 0, tzinfo=UTC)
NO_RULES = WindowRules(flush_min=0, open_min=0, close_min=0, lock_min=0, release_min=0)
TWO_ROWS = (BedGroup("near", 150), BedGroup("far", 150, is_far_row=True))

# A whole day is dear to draw; 1,500 examples of each property were tried when it was written.
few = settings(max_examples=40)

# Trade arithmetic: 450 cows an hour, one turn in 8 min.
PARLOR = RotaryParlor(n_stalls=60, seconds_per_stall_s=8)


def build_pen(
    key: str = "a",
    *,
    n_cows: int = 300,
    returns: ReturnRule | None = None,
    rules: WindowRules = NO_RULES,
    holding_wait_min: float = 0.0,
    clear_min: float = 4.0,
    bed_groups: tuple[BedGroup, ...] = TWO_ROWS,
) -> PenAtParlor:
    return PenAtParlor(
        key=key,
        n_cows=n_cows,
        walk_m=200,
        rules=rules,
        walk_speed_m_min=55,
        clear_min=clear_min,
        lead_min=5,
        holding_wait_min=holding_wait_min,
        returns=returns or StraightBack(),
        bed_groups=bed_groups,
    )


def build_day(
    *pens: PenAtParlor, starts: tuple[datetime, ...] = (FOUR_AM,), wash_min: float = 45
) -> ParlorDay:
    milkings = tuple(Milking(slot, start, pens) for slot, start in enumerate(starts, start=1))
    return ParlorDay(PARLOR, milkings, wash_min=wash_min)


def later(at: datetime, minutes: float) -> datetime:
    return at + timedelta(minutes=minutes)


return_rules = st.builds(
    build_return_rule,
    st.sampled_from(ReturnMode),
    hold_min=st.floats(0, 90),
    move_min=st.floats(0, 20),
)
window_rules = st.builds(
    WindowRules,
    flush_min=st.floats(0, 10),
    open_min=st.floats(0, 10),
    close_min=st.floats(0, 10),
    lock_min=st.floats(0, 5),
    release_min=st.floats(0, 5),
)
bed_group_lists = st.lists(
    st.tuples(st.integers(1, 150), st.booleans()), min_size=1, max_size=4
).map(lambda rows: tuple(BedGroup(str(i), n, is_far_row=far) for i, (n, far) in enumerate(rows)))


@st.composite
def parlor_days(draw: st.DrawFn) -> ParlorDay:
    pens = tuple(
        PenAtParlor(
            key=f"pen{n}",
            n_cows=draw(st.integers(1, 400)),
            walk_m=draw(st.floats(0, 600)),
            rules=draw(window_rules),
            walk_speed_m_min=draw(st.floats(20, 70)),
            clear_min=draw(st.floats(0, 30)),
            lead_min=draw(st.floats(0, 20)),
            holding_wait_min=draw(st.floats(0, 20)),
            returns=draw(return_rules),
            bed_groups=draw(bed_group_lists),
            is_withheld=draw(st.booleans()),
        )
        for n in range(draw(st.integers(1, 3)))
    )
    starts = [FOUR_AM, later(FOUR_AM, draw(st.integers(30, 600)))]
    milkings = tuple(Milking(slot, start, pens) for slot, start in enumerate(starts, start=1))
    parlor = RotaryParlor(draw(st.integers(10, 100)), draw(st.floats(4, 15)))
    return ParlorDay(parlor, milkings, wash_min=draw(st.floats(0, 60)))


NAMES = [field.name for field in fields(VisitFacts)]


@st.composite
def any_facts(draw: st.DrawFn, day: ParlorDay) -> dict[VisitKey, VisitFacts]:
    """Each visit's own times can happen, but those of different visits may contradict."""
    orders = [NAMES, [*NAMES[:2], "first_on_at", "last_out_at", "first_back_at", *NAMES[4::2]]]
    facts: dict[VisitKey, VisitFacts] = {}
    for visit in time_day(day).visits:
        offsets = st.lists(st.integers(-60, 900), min_size=len(NAMES), max_size=len(NAMES))
        at = [later(FOUR_AM, minutes) for minutes in sorted(draw(offsets))]
        times = dict(zip(draw(st.sampled_from(orders)), at, strict=True))
        facts[visit.key] = VisitFacts(**{name: times[name] for name in draw(subsets)})
    return facts


@st.composite
def facts_of_a_true_day(draw: st.DrawFn, day: ParlorDay) -> dict[VisitKey, VisitFacts]:
    """Some of the times of a day that went at another pace and from other starts than planned."""
    assert isinstance(day.parlor, RotaryParlor)
    parlor = replace(day.parlor, seconds_per_stall_s=draw(st.floats(4, 15)))
    late = timedelta(minutes=draw(st.integers(-20, 90)))
    milkings = tuple(
        replace(
            milking,
            starts_at=milking.starts_at + late,
            pens=tuple(replace(pen, clear_min=draw(st.floats(0, 30))) for pen in milking.pens),
        )
        for milking in day.milkings
    )
    truth = time_day(replace(day, parlor=parlor, milkings=milkings))
    return {
        visit.key: VisitFacts(**{name: getattr(visit.times, name) for name in draw(subsets)})
        for visit in truth.visits
    }


subsets = st.sets(st.sampled_from(NAMES))


def in_order(times: VisitTimes) -> bool:
    return all(
        getattr(times, first) <= getattr(times, second)
        for order in ORDERS
        for first, second in pairwise(order)
    )
