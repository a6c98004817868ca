"""One valve of a tank at a time: what has begun stands, what is planned waits its turn."""

from dataclasses import replace
from datetime import datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment.flushing.calc import Draw, FlushTank, run_tank
from equipment.flushing.lengths import RunLength
from equipment.flushing.models import FlushTimer, TimerTrigger
from equipment.flushing.openings import Opening, Queued, TankLevel, queue
from tests.factories import utc

NOON = utc("2026-06-01 12:00")
LENGTH = RunLength(open=timedelta(minutes=2), total=timedelta(minutes=6), volume_m3=60)


def minutes(n: float) -> timedelta:
    return timedelta(minutes=n)


def opening(
    key: str,
    starts_at: datetime,
    tank_id: int = 1,
    *,
    trigger: TimerTrigger = TimerTrigger.AT_TIMES,
    timer_id: int = 1,
) -> Opening:
    timer = FlushTimer(pk=timer_id, tank_id=tank_id, trigger=trigger)
    return Opening(key, timer, starts_at, LENGTH)


def level(
    volume_m3: float = 10_000, *, refill_m3_h: float = 60, level_m3: float | None = None
) -> TankLevel:
    tank = FlushTank(volume_m3, refill_m3_h)
    return TankLevel(tank, volume_m3 if level_m3 is None else level_m3, NOON, minutes(45))


def turns(
    *openings: Opening,
    begun: dict[str, datetime] | None = None,
    at: datetime = NOON,
    tank: TankLevel | None = None,
    dry: tuple[int, ...] = (),
) -> dict[str, Queued]:
    levels = {1: tank or level(), 2: level()}
    found = queue(openings, begun=begun or {}, at=at, levels=levels, dry=dry)
    return {turn.opening.key: turn for turn in found}


def starts(
    *openings: Opening, begun: dict[str, datetime] | None = None, at: datetime = NOON
) -> dict[str, datetime]:
    found = turns(*openings, begun=begun, at=at)
    return {key: turn.opening.starts_at for key, turn in found.items()}


def test_first_wished_is_first_served_and_the_key_decides_between_equals() -> None:
    later = NOON + minutes(1)
    found = starts(opening("b", later), opening("c", NOON), opening("a", later))
    assert found == {"c": NOON, "a": NOON + minutes(2), "b": NOON + minutes(4)}


def test_each_tank_has_its_own_queue() -> None:
    assert starts(opening("a", NOON, 1), opening("b", NOON, 2)) == {"a": NOON, "b": NOON}


def test_what_has_begun_keeps_its_time_and_the_rest_waits_for_it() -> None:
    begun = {"a": NOON - minutes(1), "c": NOON}  # they overlap: that has happened
    found = starts(*(opening(key, NOON - minutes(1)) for key in "abc"), begun=begun)
    assert found == {**begun, "b": NOON + minutes(2)}


def test_nothing_is_put_into_the_past() -> None:
    assert starts(opening("a", NOON - minutes(9))) == {"a": NOON}


def test_a_run_at_a_set_time_waits_for_a_low_tank() -> None:
    # 60 m³ wanted of 40; 60 m³/h bring the missing 20 in 20 minutes
    turn = turns(opening("a", NOON), tank=level(100, level_m3=40))["a"]
    assert turn == Queued(replace(opening("a", NOON), starts_at=NOON + minutes(20)), minutes(20), 0)


def test_a_run_that_would_wait_too_long_runs_short() -> None:
    # 60 minutes for 60 m³ are more than the farm's 45
    turn = turns(opening("a", NOON), tank=level(100, level_m3=0))["a"]
    assert (turn.opening.starts_at, turn.waits, turn.short_m3) == (NOON, minutes(0), 60)


def test_a_run_of_a_visit_does_not_wait_and_says_what_it_lacks() -> None:
    visit = opening("a", NOON, trigger=TimerTrigger.AT_VISIT)
    turn = turns(visit, tank=level(100, level_m3=40))["a"]
    assert turn.opening.starts_at == NOON
    assert turn.short_m3 == pytest.approx(20)


def test_a_visit_comes_before_the_run_that_waits() -> None:
    # "a" waits until 12:20; the visit at 12:10 takes 50 m³ of it, so "a" gives up at 12:45
    visit = opening("v", NOON + minutes(10), trigger=TimerTrigger.AT_VISIT)
    found = turns(opening("a", NOON), visit, tank=level(100, level_m3=40))
    assert found["v"].short_m3 == pytest.approx(10)
    assert found["a"].opening.starts_at == NOON + minutes(20)
    assert found["a"].short_m3 == pytest.approx(50)  # ten minutes brought 10 of its 60


def test_planned_anew_while_it_waits_a_run_keeps_its_time() -> None:
    tank = {"volume_m3": 100.0, "refill_m3_h": 61.7, "level_m3": 33.3}
    first, again = (
        turns(opening("a", NOON), at=at, tank=level(**tank))["a"].opening.starts_at
        for at in (NOON, NOON + minutes(7.3))
    )
    assert first == again


def test_a_run_larger_than_its_tank_does_not_wait_for_ever() -> None:
    turn = turns(opening("a", NOON), tank=level(50))["a"]
    assert turn.opening.starts_at == NOON
    assert turn.short_m3 == pytest.approx(10)


def test_a_run_that_a_lock_stops_draws_nothing() -> None:
    found = turns(
        opening("a", NOON, timer_id=7),
        opening("b", NOON + minutes(2), timer_id=8),
        tank=level(60, refill_m3_h=0),
        dry=(7,),
    )
    assert found["b"].short_m3 == 0


def test_what_ran_before_the_level_was_known_is_in_it() -> None:
    begun = {"a": NOON - minutes(30)}
    found = turns(opening("a", NOON - minutes(30)), opening("b", NOON), begun=begun, tank=level(60))
    assert found["b"].short_m3 == 0


@given(
    st.lists(st.tuples(st.integers(0, 1440), st.booleans()), min_size=1, max_size=25),
    st.floats(60, 200),
    st.floats(0, 200),
)
def test_waiting_makes_and_loses_no_water_and_no_run(
    wished: list[tuple[int, bool]], volume_m3: float, refill_m3_h: float
) -> None:
    openings = [
        opening(
            str(n),
            NOON + minutes(minute),
            trigger=TimerTrigger.AT_VISIT if is_visit else TimerTrigger.AT_TIMES,
        )
        for n, (minute, is_visit) in enumerate(wished)
    ]
    found = turns(*openings, tank=level(volume_m3, refill_m3_h=refill_m3_h))
    assert found.keys() == {o.key for o in openings}
    day = run_tank(
        FlushTank(volume_m3, refill_m3_h),
        [Draw(key, turn.opening.starts_at, 60) for key, turn in found.items()],
        level_m3=volume_m3,
        start_at=NOON,
        end_at=NOON + timedelta(days=3),
    )
    for step in day.steps:
        assert found[step.run_key].short_m3 == pytest.approx(step.short_m3, abs=0.01)
