"""The balance of flush water closes to zero."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment.flushing.calc import WaterBalance, WaterDay, WaterStore, balance_days

STORE = WaterStore(capacity_m3=4000, area_m2=2000)
amounts = st.floats(0, 3000)
days = st.builds(
    lambda flush, sand, solids, rain, et0, fresh: WaterDay(
        flush, flush * sand / 2, flush * solids / 2, rain, et0, fresh
    ),
    amounts,
    st.floats(0, 1),
    st.floats(0, 1),
    st.floats(0, 150),
    st.floats(0, 15),
    amounts,
)
stores = st.builds(WaterStore, st.floats(100, 10_000), st.floats(0, 50_000))
weeks = st.lists(days, min_size=7, max_size=7)


def test_a_week_worked_by_hand() -> None:
    # A day: 10 mm on 2,000 m² is 20 m³, 5 mm of ET0 take 1.05 · 5 · 2 = 10.5 m³, sand 8 and solids
    # 30 m³, fresh 12 m³: 16.5 m³ less each day, 2,000 becomes 1,884.5 in seven.
    day = WaterDay(1000, 8, 30, rain_mm=10, et0_mm=5, fresh_m3=12)
    week = balance_days(STORE, 2000, [day] * 7)
    assert week[0].end_m3 == pytest.approx(1983.5)
    assert week[-1].end_m3 == pytest.approx(1884.5)
    total = sum(week[1:], start=week[0])
    assert (total.start_m3, total.flush_m3, total.sand_m3) == (2000, 7000, 56)
    assert total.rest_m3 == pytest.approx(0, abs=1e-9)


def test_what_the_store_cannot_hold_spills() -> None:
    (found,) = balance_days(STORE, 4000, [WaterDay(0, 0, 0, rain_mm=10, et0_mm=0, fresh_m3=0)])
    assert (found.end_m3, found.spilled_m3) == (4000, 20)


def test_a_flush_without_water_is_cut_and_told_as_short() -> None:
    # 10 m³ there, 20 would be lost: half of the flush
    (found,) = balance_days(WaterStore(100, 0), 10, [WaterDay(200, 5, 15, 0, 0, 0)])
    assert (found.flush_m3, found.short_m3, found.end_m3) == (100, 100, 0)


def test_a_dry_store_flushes_nothing() -> None:
    (found,) = balance_days(STORE, 0, [WaterDay(100, 0, 0, 0, 0, 0)])
    assert (found.flush_m3, found.short_m3) == (0, 100)


@given(stores, st.floats(0, 1), weeks)
def test_every_day_closes_to_zero(
    store: WaterStore, full_frac: float, week: list[WaterDay]
) -> None:
    found = balance_days(store, full_frac * store.capacity_m3, week)
    for day, asked in zip(found, week, strict=True):
        # From the day's own rows, not by the property that the code checks itself by.
        out_m3 = day.sand_m3 + day.solids_m3 + day.evaporation_m3 + day.spilled_m3
        in_m3 = asked.rain_mm / 1000 * store.area_m2 + asked.fresh_m3
        assert day.start_m3 + in_m3 - out_m3 == pytest.approx(day.end_m3, abs=1e-6)
        assert day.flush_m3 + day.short_m3 == pytest.approx(asked.flush_m3)
        assert 0 <= day.end_m3 <= store.capacity_m3
    total: WaterBalance = sum(found[1:], start=found[0])
    assert total.rest_m3 == pytest.approx(0, abs=1e-6)


@given(stores, weeks, st.floats(0, 50))
def test_more_rain_never_leaves_less(store: WaterStore, week: list[WaterDay], mm: float) -> None:
    wetter = [
        WaterDay(d.flush_m3, d.sand_m3, d.solids_m3, d.rain_mm + mm, d.et0_mm, d.fresh_m3)
        for d in week
    ]
    least, most = (balance_days(store, 0, days)[-1].end_m3 for days in (week, wetter))
    assert most >= least - 1e-6


@pytest.mark.parametrize("name", ["flush_m3", "sand_m3", "rain_mm", "et0_mm", "fresh_m3"])
def test_negative_amounts_are_refused_by_name(name: str) -> None:
    good = {"flush_m3": 9, "sand_m3": 1, "solids_m3": 1, "rain_mm": 0, "et0_mm": 0, "fresh_m3": 0}
    with pytest.raises(ValueError, match=f"{name} must be 0 or more"):
        WaterDay(**{**good, name: -1})


def test_a_store_or_level_that_cannot_be_is_refused() -> None:
    with pytest.raises(ValueError, match="capacity_m3"):
        WaterStore(0, 1)
    with pytest.raises(ValueError, match="area_m2"):
        WaterStore(1, -1)
    with pytest.raises(ValueError, match="level_m3"):
        balance_days(STORE, 4001, [])
    with pytest.raises(ValueError, match="carry off more"):
        WaterDay(10, 6, 6, 0, 0, 0)
