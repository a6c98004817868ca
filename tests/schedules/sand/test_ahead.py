"""The dated balance of sand, what to buy and the places a day needs, against worked figures."""

import math
from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from schedules.sand.calc.ahead import (
    SandAhead,
    arrivals_kg,
    draw_supply,
    middle_eight,
    offsets_at,
    plan_buying,
    use_by_day_kg,
)
from schedules.sand.calc.dates import BEYOND, DateDistribution

LB_KG = 0.45359237  # exact, by definition of the pound
MAR_30 = date(2026, 3, 30)
EVEN = (1.0,) * 12


def ahead(
    opening_kg: float, use_kg: list[list[float]], arrive_kg: Any = 0.0, safety_kg: float = 0.0
) -> SandAhead:
    use = np.array(use_kg, dtype=float)
    return SandAhead(MAR_30, opening_kg, safety_kg, np.zeros_like(use) + arrive_kg, use)


@st.composite
def balances(draw: st.DrawFn) -> SandAhead:
    n_members, n_days = draw(st.integers(1, 30)), draw(st.integers(1, 20))
    rng = np.random.default_rng(draw(st.integers(0, 10_000)))
    arrive = rng.uniform(0, 50, (n_members, n_days)) * (rng.random((n_members, n_days)) < 0.3)
    use = rng.uniform(0, 20, (n_members, n_days))
    return SandAhead(
        MAR_30, draw(st.floats(0, 300)), draw(st.floats(0, 50)), np.asarray(arrive), use
    )


def test_4000_stalls_at_50_lb_take_200_000_lb_a_day() -> None:
    # 50 lb a stall and day: N. Cook (University of Wisconsin), Hoard's Dairyman, article 35691
    use = use_by_day_kg(4000 * 50 * LB_KG, EVEN, MAR_30, 3, use_sd_frac=0.05, use_z=np.zeros(2))
    assert use == pytest.approx(np.full((2, 3), 200_000 * LB_KG))
    # a million pounds above the safety stock are five days of it
    days = ahead(1e6 * LB_KG, [[200_000 * LB_KG] * 9]).days_d
    assert days == pytest.approx([5])


def test_the_month_decides_the_use_of_its_days() -> None:
    season = [1.0] * 12
    season[3] = 1.5  # April
    use = use_by_day_kg(100, season, MAR_30, 4, use_sd_frac=0.1, use_z=np.array([0.0, 1.0, -20.0]))
    assert use[0] == pytest.approx([100, 100, 150, 150])
    assert use[1] == pytest.approx(use[0] * 1.1)
    assert (use[2] == 0).all()


def test_members_cover_each_unknown_evenly() -> None:
    members = draw_supply(400, np.random.default_rng(1))
    for z in (members.use_z, members.recovery_z):
        # one and 1.2816 standard deviations of the normal: 84.13 % and 90 % lie below
        assert (z < 1).mean() == pytest.approx(0.8413, abs=0.005)
        assert (z < 1.2816).mean() == pytest.approx(0.9, abs=0.005)
    assert np.sort(members.rank_frac) == pytest.approx((np.arange(400) + 0.5) / 400)
    assert abs(np.corrcoef(members.use_z, members.rank_frac)[0, 1]) < 0.15


def test_each_dot_of_a_date_falls_to_as_many_members() -> None:
    offsets = np.array([4, BEYOND, 2, 9])
    dates = DateDistribution(MAR_30, offsets, np.full(4, 0.25))
    found = offsets_at(dates, (np.arange(8) + 0.5) / 8)
    assert found.tolist() == [2, 2, 4, 4, 9, 9, BEYOND, BEYOND]


def test_a_batch_arrives_on_its_member_s_day_or_not_at_all() -> None:
    ready_d = np.array([[0, 2], [1, BEYOND], [5, 0]])
    found = arrivals_kg(np.array([10.0, 7.0]), ready_d, 3)
    assert found.tolist() == [[10, 0, 7], [0, 10, 0], [7, 0, 0]]


@given(balance=balances())
def test_mass_closes_every_day(balance: SandAhead) -> None:
    before = np.column_stack([np.full(len(balance.stock_kg), balance.opening_kg), balance.stock_kg])
    gap = before[:, :-1] + balance.arrive_kg - balance.use_kg - balance.stock_kg
    assert np.abs(gap).max() < 1e-6


@given(balance=balances(), factor=st.floats(1, 3), more_kg=st.floats(0, 40))
def test_more_stalls_shorten_and_more_sand_lengthens(
    balance: SandAhead, factor: float, more_kg: float
) -> None:
    thirsty = SandAhead(
        MAR_30, balance.opening_kg, balance.safety_kg, balance.arrive_kg, factor * balance.use_kg
    )
    richer = SandAhead(
        MAR_30, balance.opening_kg, balance.safety_kg, balance.arrive_kg + more_kg, balance.use_kg
    )
    assert (thirsty.days_d <= balance.days_d).all()
    assert (richer.days_d >= balance.days_d).all()


def test_without_stalls_sand_lasts_and_without_sand_there_is_none() -> None:
    assert ahead(10, [[0.0] * 5]).days_d.tolist() == [math.inf]
    assert plan_buying(ahead(10, [[0.0] * 5]), truck_kg=5, lead_d=1).first_d is None
    assert ahead(0, [[1.0] * 5]).days_d.tolist() == [0]


def test_the_middle_eight_of_a_hundred_are_counted() -> None:
    found = middle_eight(np.arange(1, 101).astype(float))
    assert (found.low, found.likely, found.high) == (10, 50, 90)
    assert middle_eight(np.array([3.0, math.inf, math.inf])).likely == math.inf


def test_the_bands_of_a_day_are_counted_and_owed_sand_is_none() -> None:
    balance = ahead(10, [[float(n)] for n in range(1, 21)])
    assert balance.bands_kg[:, 0].tolist() == [0, 0, 7]


def test_a_purchase_worked_by_hand() -> None:
    # 100 kg, 10 a day, 35 kept back: six whole days; then 5, 15, 25 and 35 kg are lacking
    # at the ends of days 6 to 9, which 1, 1, 2 and 3 trucks of 15 kg cover
    bought = plan_buying(ahead(100, [[10.0] * 10], safety_kg=35), truck_kg=15, lead_d=4)
    assert bought.n_trucks.tolist() == [0, 0, 0, 0, 0, 0, 1, 0, 1, 1]
    assert (bought.first_d, bought.order_d) == (6, 2)
    assert (bought.below_frac, bought.below_unbought_frac) == (0, 1)


def test_an_order_that_comes_too_late_comes_as_soon_as_it_can_and_says_so() -> None:
    bought = plan_buying(ahead(20, [[10.0] * 6]), truck_kg=10, lead_d=4)
    assert bought.n_trucks.tolist() == [0, 0, 0, 0, 3, 1]
    assert bought.order_d == 0
    assert bought.below_frac == 1


def test_the_one_in_ten_that_lacks_most_is_left_out() -> None:
    uses = [[1.0] * 10] * 9 + [[50.0] * 10]
    bought = plan_buying(ahead(10, uses), truck_kg=10, lead_d=1)
    assert bought.first_d is None
    assert (bought.below_frac, bought.below_unbought_frac) == (0.1, 0.1)


@given(balance=balances(), truck_kg=st.floats(1, 100))
def test_after_buying_at_most_one_in_ten_falls_below(balance: SandAhead, truck_kg: float) -> None:
    bought = plan_buying(balance, truck_kg=truck_kg, lead_d=0)
    with_it = balance.stock_kg + np.cumsum(bought.n_trucks) * truck_kg
    below_frac = (with_it < balance.safety_kg - 1e-6).any(axis=1).mean()
    assert below_frac == pytest.approx(bought.below_frac)
    assert below_frac <= 0.1
    assert bought.below_unbought_frac >= below_frac


@pytest.mark.parametrize(
    ("call", "named"),
    [
        (lambda: draw_supply(0, np.random.default_rng(1)), "n_members"),
        (lambda: use_by_day_kg(-1, EVEN, MAR_30, 1, use_sd_frac=0, use_z=np.zeros(1)), "use_kg_d"),
        (
            lambda: use_by_day_kg(1, EVEN[:3], MAR_30, 1, use_sd_frac=0, use_z=np.zeros(1)),
            "season_frac",
        ),
        (lambda: arrivals_kg(np.array([-1.0]), np.array([[0]]), 3), "dry_kg"),
        (lambda: arrivals_kg(np.array([1.0]), np.array([[-2]]), 3), "ready_d"),
        (lambda: ahead(-1, [[1.0]]), "opening_kg"),
        (lambda: ahead(1, [[-1.0]]), "use_kg"),
        (
            lambda: SandAhead(MAR_30, 1.0, 0.0, np.zeros((2, 3)), np.zeros((2, 4))),
            "arrive_kg and use_kg must be of one shape",
        ),
        (lambda: middle_eight(np.array([])), "values"),
        (lambda: plan_buying(ahead(1, [[1.0]]), truck_kg=0, lead_d=1), "truck_kg"),
        (lambda: plan_buying(ahead(1, [[1.0]]), truck_kg=1, lead_d=-1), "lead_d"),
    ],
)
def test_what_cannot_be_is_refused_by_name(call: Any, named: str) -> None:
    with pytest.raises(ValueError, match=named):
        call()


def test_it_looks_no_further_than_its_days() -> None:
    balance = ahead(25, [[10.0] * 5])
    assert (balance.n_days, balance.start_on + timedelta(days=int(balance.days_d[0]))) == (
        5,
        date(2026, 4, 1),
    )
