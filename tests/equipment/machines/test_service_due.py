"""Services due.

The intervals (50, 250, 500 h; a first oil change at 50 h; hours or calendar, whichever comes first)
are common practice of makers' manuals, no single source; the dates are counted by hand.
"""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment.machines.calc.service_due import (
    DueBy,
    MadeDue,
    ServiceDue,
    ServiceItem,
    ServicePoint,
    ServiceState,
    made_due,
    service_due,
)
from equipment.machines.calc.use import DailyUse
from equipment.site.calc.refusal import RefusedValueError

TODAY = date(2026, 11, 25)
NEW = ServicePoint(date(2026, 10, 1), 0.0)
OIL = ServiceItem("oil", every_h=250)
OIL_OR_QUARTER = ServiceItem("oil", every_h=250, every_d=91)
EVEN = DailyUse(8.0, 0.0, 28)
IDLE = DailyUse(0.0, 0.0, 28)


def at(total_h: float, on: date = TODAY) -> ServicePoint:
    return ServicePoint(on, total_h)


def test_ten_hours_left_at_eight_a_day_are_due_tomorrow() -> None:
    found = service_due(ServiceState(OIL, NEW), at(240), EVEN)
    tomorrow = TODAY + timedelta(days=1)
    assert found == ServiceDue(1, 10.0, tomorrow, tomorrow, tomorrow, DueBy.HOURS)


@pytest.mark.parametrize(("total_h", "days"), [(243, 0), (242, 1), (236, 1), (234, 2)])
def test_it_is_due_on_the_day_in_which_the_hours_are_reached(total_h: float, days: int) -> None:
    found = service_due(ServiceState(OIL, NEW), at(total_h), EVEN)
    assert found.due_on == TODAY + timedelta(days=days)


def test_a_machine_that_stands_still_is_due_by_the_calendar() -> None:
    found = service_due(ServiceState(OIL_OR_QUARTER, NEW), at(240), IDLE)
    # 91 days from Thursday 1 October is Thursday 31 December
    assert (found.due_on, found.by) == (date(2026, 12, 31), DueBy.CALENDAR)
    assert found.latest_on == date(2026, 12, 31)


def test_a_machine_that_stands_still_without_calendar_is_not_in_sight() -> None:
    found = service_due(ServiceState(OIL, NEW), at(240), IDLE)
    assert (found.due_on, found.earliest_on, found.latest_on, found.by) == (None,) * 4
    assert found.left_h == 10.0


def test_the_range_widens_as_days_vary_and_the_rate_may_be_wrong() -> None:
    # by hand, scatter 4 h, 16 days counted, so the rate is wrong by 4 / 4 = 1 h a day. Normal table
    # (NIST/SEMATECH e-Handbook, 1.3.6.7.1): 90 % lie below 1.2816.
    # after 9 days: 72 + 1.2816 sqrt(16 x 9 + 81) = 91.2; after 10: 80 + 1.2816 sqrt(260) = 100.7
    # after 15: 120 - 1.2816 sqrt(16 x 15 + 225) = 92.4; after 16: 128 - 1.2816 sqrt(512) = 99.0;
    # after 17: 136 - 1.2816 x sqrt(561) = 105.6
    found = service_due(ServiceState(OIL, NEW), at(150), DailyUse(8.0, 4.0, 16))
    days = [(d - TODAY).days for d in (found.earliest_on, found.due_on, found.latest_on) if d]
    assert days == [9, 12, 16]


def test_the_weekly_pattern_puts_the_date_past_the_idle_days() -> None:
    # by hand: 10 h on each of five days, then two at rest; 52 h are reached on the eighth day
    week = DailyUse(50 / 7, 0.0, 28, next_days_frac=(*(1.4,) * 5, 0.0, 0.0))
    found = service_due(ServiceState(OIL, NEW), at(198), week)
    assert found.due_on == TODAY + timedelta(days=7)


def test_no_machine_runs_more_than_24_hours_a_day() -> None:
    found = service_due(ServiceState(OIL, NEW), at(154), DailyUse(20.0, 20.0, 4))
    assert found.earliest_on == TODAY + timedelta(days=4)  # 96 h / 24 h


def test_a_machine_of_which_little_is_known_may_have_no_latest_date() -> None:
    found = service_due(ServiceState(OIL, NEW), at(210), DailyUse(8.0, 8.0, 1))
    assert found.due_on == TODAY + timedelta(days=5)
    assert found.latest_on is None


@pytest.mark.parametrize("use", [None, IDLE, EVEN])
def test_an_overdue_service_is_due_now_whatever_the_use(use: DailyUse | None) -> None:
    found = service_due(ServiceState(OIL, NEW), at(262.5), use)
    assert (found.left_h, found.due_on, found.latest_on) == (-12.5, TODAY, TODAY)


def test_an_item_overdue_by_the_calendar_keeps_its_date() -> None:
    item = ServiceItem("extinguisher", every_d=30)
    found = service_due(ServiceState(item, NEW), at(240), EVEN)
    due_on = date(2026, 10, 31)
    assert found == ServiceDue(1, None, due_on, due_on, due_on, DueBy.CALENDAR)


def test_the_next_service_counts_from_the_last_one_done_not_from_when_it_was_due() -> None:
    state = ServiceState(OIL_OR_QUARTER, NEW, (at(263, date(2026, 11, 20)),))
    assert (state.cycle, state.due_at_h) == (2, 513)
    assert state.by_calendar_on == date(2027, 2, 19)


def test_records_in_any_order_count_from_the_latest() -> None:
    late, early = at(510, date(2026, 11, 20)), at(255, date(2026, 11, 1))
    assert ServiceState(OIL, NEW, (late, early)).due_at_h == 760
    assert ServiceState(OIL, NEW, (late, early)).cycle == 3


@pytest.mark.parametrize(
    ("began_h", "done_h", "due_at_h"),
    [(0, None, 50), (30, None, 50), (50, None, 300), (3_120, None, 3_370), (0, 52, 302)],
)
def test_a_new_machine_has_its_first_service_early_and_a_used_one_does_not(
    began_h: float, done_h: float | None, due_at_h: float
) -> None:
    item = ServiceItem("oil", every_h=250, first_at_h=50)
    done = () if done_h is None else (at(done_h),)
    assert ServiceState(item, ServicePoint(NEW.on, began_h), done).due_at_h == due_at_h


def test_a_reading_says_what_it_makes_due_and_what_was_due_before() -> None:
    states = [
        ServiceState(ServiceItem("grease", every_h=50), NEW, (at(200),)),
        ServiceState(OIL, NEW),
        ServiceState(ServiceItem("filters", every_h=500), NEW),
        ServiceState(ServiceItem("extinguisher", every_d=30), NEW),
        ServiceState(ServiceItem("edge", every_h=240), NEW),
    ]
    assert made_due(states, before_h=245.0, after_h=253.0) == [
        MadeDue("edge", 1, 13.0, is_new=False),
        MadeDue("grease", 2, 3.0, is_new=True),
        MadeDue("oil", 1, 3.0, is_new=True),
    ]
    assert [due.key for due in made_due(states, 240.0, 249.9)] == ["edge"]


@given(
    rate_h_d=st.floats(0, 20),
    scatter_h=st.floats(0, 10),
    more_h=st.floats(0, 4),
    total_h=st.floats(0, 400),
    every_d=st.one_of(st.none(), st.integers(1, 400)),
)
def test_more_use_never_makes_a_service_later(
    rate_h_d: float, scatter_h: float, more_h: float, total_h: float, every_d: int | None
) -> None:
    state = ServiceState(ServiceItem("oil", every_h=250, every_d=every_d), NEW)
    light = service_due(state, at(total_h), DailyUse(rate_h_d, scatter_h, 28))
    hard = service_due(state, at(total_h), DailyUse(rate_h_d + more_h, scatter_h, 28))
    never = date.max
    for name in ("earliest_on", "due_on", "latest_on"):
        assert (getattr(hard, name) or never) <= (getattr(light, name) or never)
    assert (light.earliest_on or never) <= (light.due_on or never) <= (light.latest_on or never)


@given(total_h=st.floats(0, 249), more_h=st.floats(0, 300))
def test_a_later_reading_never_makes_a_service_later(total_h: float, more_h: float) -> None:
    state = ServiceState(OIL, NEW)
    before, after = (service_due(state, at(h), EVEN) for h in (total_h, total_h + more_h))
    assert before.due_on is not None
    assert after.due_on is not None
    assert after.due_on <= before.due_on


@pytest.mark.parametrize(
    ("every_h", "every_d", "first_at_h", "code"),
    [
        (None, None, None, "missing"),
        (None, None, 50.0, "missing"),
        (0.0, None, None, "out_of_range"),
        (float("nan"), None, None, "out_of_range"),
        (250.0, 0, None, "out_of_range"),
        (250.0, None, -1.0, "out_of_range"),
    ],
)
def test_an_item_that_is_never_or_always_due_is_refused(
    every_h: float | None, every_d: int | None, first_at_h: float | None, code: str
) -> None:
    with pytest.raises(RefusedValueError) as refused:
        ServiceItem("oil", every_h, every_d, first_at_h)
    assert refused.value.code == code
