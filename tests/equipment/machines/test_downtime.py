"""Downtime against a minute-by-minute count, and cost of an hour by hand."""

from datetime import datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment.machines.calc.downtime import (
    HourlyCost,
    Span,
    down_share_frac,
    down_spans,
    hourly_cost,
)
from equipment.machines.calc.meter import MeterSeries, Reading
from equipment.site.calc.local_time import parse_instant
from equipment.site.calc.refusal import RefusedValueError

START = parse_instant("2026-11-01T00:00-06:00")  # the night the clocks go back in Denver
PERIOD_MIN = 300


def minute(n: float) -> datetime:
    return START + timedelta(minutes=n)


def span(start_min: int, end_min: int | None) -> Span:
    return Span(minute(start_min), None if end_min is None else minute(end_min))


spans = st.tuples(st.integers(-100, 400), st.one_of(st.none(), st.integers(0, 200))).map(
    lambda pair: span(pair[0], None if pair[1] is None else pair[0] + pair[1])
)


@given(st.lists(spans, max_size=6))
def test_downtime_is_every_minute_that_some_repair_covers(repairs: list[Span]) -> None:
    end = minute(PERIOD_MIN)
    down = {
        n for n in range(PERIOD_MIN) if any(r.start <= minute(n) < (r.end or end) for r in repairs)
    }
    found = down_spans(repairs, START, end)
    edges = [edge for stretch in found for edge in stretch]
    assert edges == sorted(set(edges))  # in order, with length, and nowhere touching
    assert {n for n in range(PERIOD_MIN) if any(a <= minute(n) < b for a, b in found)} == down
    share_frac = down_share_frac(repairs, START, end)
    assert share_frac == pytest.approx(len(down) / PERIOD_MIN)


def test_overlapping_repairs_are_counted_once_and_one_that_lasts_to_the_end() -> None:
    repairs = [span(0, 60), span(30, 90), span(270, None)]
    assert down_share_frac(repairs, START, minute(300)) == pytest.approx(120 / 300)


def test_repairs_that_touch_are_one_stretch() -> None:
    found = down_spans([span(30, 90), span(0, 30), span(100, 120)], START, minute(300))
    assert found == [(minute(0), minute(90)), (minute(100), minute(120))]


def test_the_share_of_the_long_night_counts_the_hours_that_pass() -> None:
    # America/Denver, IANA time zone database 2026f: 1 November 2026 has 25 hours
    day_end = parse_instant("2026-11-02T00:00-07:00")
    six_am = parse_instant("2026-11-01T06:00-07:00")
    assert down_share_frac([Span(START, six_am)], START, day_end) == pytest.approx(7 / 25)


def test_a_period_without_length_is_refused() -> None:
    with pytest.raises(RefusedValueError, match="not_positive"):
        down_share_frac([], START, START)


def test_a_repair_that_ends_before_it_starts_is_refused() -> None:
    with pytest.raises(RefusedValueError, match="not_positive"):
        span(10, 5)


SERIES = MeterSeries(tuple(Reading(START + timedelta(days=n), 1_000 + 8.0 * n) for n in range(31)))


def test_an_hour_costs_what_services_and_repairs_of_the_period_cost_over_the_hours_run() -> None:
    # by hand: 30 days of 8 h are 240 h; 450.00 + 249.40 = 699.40; 699.40 / 240 = 2.914...
    end = START + timedelta(days=30)
    costs = [
        (START, Decimal("450.00")),
        (START + timedelta(days=12), Decimal("249.40")),
        (START - timedelta(seconds=1), Decimal("999")),
        (end, Decimal("999")),
    ]
    found = hourly_cost(costs, SERIES, START, end)
    assert found == HourlyCost(Decimal("699.40"), 240.0, Decimal("2.91"))


def test_a_machine_that_did_not_run_has_no_cost_an_hour() -> None:
    later = START + timedelta(days=60)
    costs = [(later, Decimal("80"))]
    found = hourly_cost(costs, SERIES, later, later + timedelta(days=5))
    assert found == HourlyCost(Decimal("80"), 0.0, None)
