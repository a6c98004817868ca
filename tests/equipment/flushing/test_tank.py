"""A flush tank through a day."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment.flushing.calc import Draw, FlushTank, TankDay, run_tank

MIDNIGHT = datetime(2026, 3, 3, tzinfo=UTC)
GAL_M3 = 231 * 0.0254**3  # US gallon: 231 cubic inches

tanks = st.builds(
    FlushTank,
    volume_m3=st.floats(20, 300),
    refill_m3_h=st.floats(0, 100),
    reserve_m3=st.floats(0, 20),
)
draw_lists = st.lists(st.tuples(st.integers(0, 1440), st.floats(0, 60)), max_size=30).map(
    lambda rows: [draw(f"run{n}", minute, m3) for n, (minute, m3) in enumerate(rows)]
)


def draw(key: str, minute: float, volume_m3: float) -> Draw:
    return Draw(key, MIDNIGHT + timedelta(minutes=minute), volume_m3)


def day_of(tank: FlushTank, *draws: Draw, level_m3: float, hours_h: float = 24) -> TankDay:
    return run_tank(
        tank,
        draws,
        level_m3=level_m3,
        start_at=MIDNIGHT,
        end_at=MIDNIGHT + timedelta(hours=hours_h),
    )


def test_pumps_of_published_size_fill_a_tank_in_two_hours() -> None:
    # 20 to 100 gpm, sized to fill the tanks in about 2 to 4 h: Missouri Extension WQ308.
    # 100 gpm x 120 min = 12,000 gal.
    tank = FlushTank(volume_m3=12_000 * GAL_M3, refill_m3_h=100 * 60 * GAL_M3)
    assert day_of(tank, level_m3=0, hours_h=1.9).end_m3 < tank.volume_m3
    assert day_of(tank, level_m3=0, hours_h=2.0).end_m3 == pytest.approx(tank.volume_m3)


def test_levels_are_told_at_each_run() -> None:
    # 100 less 30 is 70; an hour at 20 m³/h makes 90; less 30 is 60; 23 h fill it.
    tank = FlushTank(volume_m3=100, refill_m3_h=20)
    day = day_of(tank, draw("a", 0, 30), draw("b", 60, 30), level_m3=100)
    assert [(s.run_key, s.before_m3, s.after_m3) for s in day.steps] == [
        ("a", 100, 70),
        ("b", 90, 60),
    ]
    assert day.end_m3 == 100
    assert day.first_starved is None
    assert (day.drawn_m3, day.refilled_m3) == (60, 60)


def test_the_first_run_without_its_water_is_named_with_what_it_lacks() -> None:
    # 50 - 30 = 20, + 10 in half an hour = 30, - 25 = 5, + 10 = 15 against 25.
    tank = FlushTank(volume_m3=50, refill_m3_h=20)
    draws = (draw("a", 0, 30), draw("b", 30, 25), draw("c", 60, 25), draw("d", 70, 25))
    day = day_of(tank, *draws, level_m3=50)
    assert day.first_starved is not None
    assert day.first_starved.run_key == "c"
    assert day.first_starved.at == MIDNIGHT + timedelta(minutes=60)
    assert day.first_starved.short_m3 == pytest.approx(10)


def test_the_reserve_is_not_drawn() -> None:
    tank = FlushTank(volume_m3=50, refill_m3_h=0, reserve_m3=15)
    (step,) = day_of(tank, draw("a", 0, 40), level_m3=50).steps
    assert (step.after_m3, step.short_m3) == (15, 5)


def test_a_level_below_the_reserve_gives_nothing_and_takes_nothing() -> None:
    tank = FlushTank(volume_m3=50, refill_m3_h=0, reserve_m3=15)
    (step,) = day_of(tank, draw("a", 0, 40), level_m3=10).steps
    assert (step.after_m3, step.short_m3) == (10, 40)


def test_a_full_tank_takes_no_more() -> None:
    day = day_of(FlushTank(volume_m3=50, refill_m3_h=20), level_m3=50)
    assert (day.end_m3, day.refilled_m3) == (50, 0)


def test_of_runs_that_start_together_the_one_given_first_draws_first() -> None:
    tank = FlushTank(volume_m3=50, refill_m3_h=0)
    day = day_of(tank, draw("late", 60, 1), draw("x", 0, 40), draw("y", 0, 40), level_m3=50)
    assert [step.run_key for step in day.steps] == ["x", "y", "late"]
    assert day.first_starved is not None
    assert day.first_starved.run_key == "y"


def test_the_night_of_the_autumn_fold_has_an_hour_more_to_refill() -> None:
    # tzdata, America/Denver: the clock shows 01:00 to 02:00 twice on 2026-11-01, so from
    # 00:00 to 03:00 by the clock four hours pass.
    denver = ZoneInfo("America/Denver")
    day = run_tank(
        FlushTank(volume_m3=500, refill_m3_h=10),
        [
            Draw("second", datetime(2026, 11, 1, 1, 10, fold=1, tzinfo=denver), 5),
            Draw("first", datetime(2026, 11, 1, 1, 50, fold=0, tzinfo=denver), 5),
        ],
        level_m3=100,
        start_at=datetime(2026, 11, 1, tzinfo=denver),
        end_at=datetime(2026, 11, 1, 3, tzinfo=denver),
    )
    assert day.refilled_m3 == pytest.approx(40)
    assert [step.run_key for step in day.steps] == ["first", "second"]


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ((0, 10, 0), "volume_m3 must be > 0"),
        ((50, -1, 0), "refill_m3_h must be 0 or more"),
        ((50, float("nan"), 0), "refill_m3_h must be 0 or more"),
        ((50, 10, 51), "reserve_m3 must be in"),
    ],
)
def test_a_tank_that_cannot_be_is_refused(values: tuple[float, float, float], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        FlushTank(*values)


@pytest.mark.parametrize("level_m3", [-1, 51])
def test_a_level_that_the_tank_cannot_have_is_refused(level_m3: float) -> None:
    with pytest.raises(ValueError, match="level_m3 must be in"):
        day_of(FlushTank(50, 10), level_m3=level_m3)


def test_a_day_that_ends_before_it_starts_is_refused() -> None:
    with pytest.raises(ValueError, match="before it starts"):
        day_of(FlushTank(50, 10), level_m3=5, hours_h=-1)


@pytest.mark.parametrize("minute", [-1, 1441])
def test_a_run_outside_of_the_day_is_refused(minute: float) -> None:
    with pytest.raises(ValueError, match=r"run a starts .* outside of the day"):
        day_of(FlushTank(50, 10), draw("a", minute, 5), level_m3=5)


def test_a_run_that_gives_water_back_is_refused() -> None:
    with pytest.raises(ValueError, match="run a: volume_m3 must be 0 or more"):
        draw("a", 0, -1)


@given(tanks, draw_lists, st.floats(0, 1))
def test_water_is_neither_made_nor_lost(
    tank: FlushTank, draws: list[Draw], full_frac: float
) -> None:
    level_m3 = full_frac * tank.volume_m3
    day = day_of(tank, *draws, level_m3=level_m3)
    # From the runs' own side, not from the day's sums.
    served_m3 = sum(d.volume_m3 for d in draws) - sum(s.short_m3 for s in day.steps)
    assert day.drawn_m3 == pytest.approx(served_m3, abs=1e-6)
    assert level_m3 + day.refilled_m3 - served_m3 == pytest.approx(day.end_m3, abs=1e-6)
    assert day.refilled_m3 <= tank.refill_m3_h * 24 + 1e-6


@given(tanks, draw_lists, st.floats(0, 1))
def test_the_level_stays_inside_the_tank(
    tank: FlushTank, draws: list[Draw], full_frac: float
) -> None:
    day = day_of(tank, *draws, level_m3=full_frac * tank.volume_m3)
    for step in day.steps:
        assert 0 <= step.after_m3 <= step.before_m3 <= tank.volume_m3
        assert step.short_m3 >= 0


@given(draw_lists, st.floats(0, 100), st.floats(0, 50))
def test_faster_pumps_never_starve_a_run_sooner(
    draws: list[Draw], refill_m3_h: float, more_m3_h: float
) -> None:
    slow, fast = (
        day_of(FlushTank(100, rate), *draws, level_m3=50).first_starved
        for rate in (refill_m3_h, refill_m3_h + more_m3_h)
    )
    assert fast is None or (slow is not None and slow.at <= fast.at)
