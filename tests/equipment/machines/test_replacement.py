"""Keep or replace against a textbook, by hand and by a second way."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from equipment.machines.calc.costs import RepairRow
from equipment.machines.calc.replacement import (
    Wear,
    equivalent_costs_y,
    keep_or_replace,
    next_year_cost,
    worths_by_year,
)
from equipment.site.calc.refusal import RefusedValueError

NEW_WORTHS = [30_000, 22_500, 16_875, 12_750, 9_750, 7_125]
NEW_COSTS = [3_000, 4_500, 7_000, 10_000, 13_000]
OLD_WORTHS = [7_500, 6_000, 4_500, 3_000, 1_500]
OLD_COSTS = [8_250, 9_900, 11_700, 13_200]


def test_the_new_forklift_of_the_textbook() -> None:
    # Sullivan, Wicks, Koelling, "Engineering Economy", table 9-2 (example 9-4), interest 10 %:
    # least at three years
    found = equivalent_costs_y(NEW_WORTHS, NEW_COSTS, 0.10)
    assert found == pytest.approx([13_500, 12_964, 12_918, 13_211, 13_766], abs=1.5)
    assert found.index(min(found)) == 2


def test_the_old_forklift_of_the_textbook() -> None:
    # the same, example 9-5: the truck of today against 12,918; by hand 1,500 + 750 + 8,250 =
    # 10,500; 1,500 + 600 + 9,900 = 12,000; 13,650; 15,000: kept for two years
    found = [
        next_year_cost(now, then, cost, 0.10)
        for (now, then), cost in zip(pairwise(OLD_WORTHS), OLD_COSTS, strict=True)
    ]
    assert found == pytest.approx([10_500, 12_000, 13_650, 15_000])
    assert [cost <= 12_918 for cost in found] == [True, True, False, False]


money = st.floats(0, 1e5)


@given(st.lists(st.tuples(money, money), min_size=1, max_size=8), money, st.floats(0.001, 0.3))
def test_another_way_through_each_years_marginal_cost(
    years: list[tuple[float, float]], now: float, interest_frac: float
) -> None:
    # equation 9-2 and the level payment that numerically has the same present value
    worths = [now, *(worth for worth, _cost in years)]
    costs = [cost for _worth, cost in years]
    marginal = [
        next_year_cost(a, b, cost, interest_frac)
        for (a, b), cost in zip(pairwise(worths), costs, strict=True)
    ]
    rates = (1 + interest_frac) ** -np.arange(1, len(costs) + 1)
    present = float(np.dot(marginal, rates))
    level = brentq(lambda pay: float((pay * rates).sum()) - present, -1e7, 1e7, xtol=1e-9)
    found = equivalent_costs_y(worths, costs, interest_frac)[-1]
    assert found == pytest.approx(level, rel=1e-6, abs=1e-3)


def test_worth_falls_by_the_textbooks_quarter() -> None:
    # Sullivan's forklift: 30,000 to 16,875 in two years is a quarter lost each year
    assert worths_by_year(30_000, 16_875, 2, 3) == pytest.approx(
        [30_000, 22_500, 16_875, 12_656.25]
    )


def test_worth_falls_as_the_standards_tractor() -> None:
    # ASAE D497.4, table 5 (from memory): 68 (0.920)^n per cent: 62.56, then 57.56
    found = worths_by_year(100, 68 * 0.92**10, 10, 3, kept_at_once_frac=0.68)
    assert found[:3] == pytest.approx([100, 62.56, 57.5552])


def test_keep_or_replace_by_hand() -> None:
    # list 100,000, half left after one year, without interest, 1,000 h a year, 4WD row: repairs
    # 300, 900, 1,500 ... New: year 1 50,000 + 300; two years (75,000 + 1,200) / 2 = 38,100; ...
    # 25 years: (100,000 (1 - 2^-25) + 0.003 x 25² x 100,000) / 25 = 11,500, least at 18 years:
    # (100,000 (1 - 2^-18) + 97,200) / 18 = 10,955.5 (at 17: 10,982.3, at 19: 10,963.2)
    wear = Wear(100_000, 0.5, 1, 1_000, RepairRow.TRACTOR_4WD, kept_at_once_frac=1.0)
    found = keep_or_replace(wear, 8_000, 10_000, 0.0)
    # old: 4,000 lost, repairs 300 x (11² - 10²) = 6,300
    assert found.keep_cost_y == pytest.approx(10_300)
    assert found.new_cost_y == pytest.approx(10_955.5, abs=0.1)
    assert (found.economic_life_y, found.is_kept) == (18, True)
    assert not keep_or_replace(wear, 12_000, 10_000, 0.0).is_kept


@given(st.floats(0, 20_000), st.floats(0, 20_000))
def test_an_older_machine_never_costs_less_to_keep(run_h: float, more_h: float) -> None:
    wear = Wear(100_000, 0.25, 10, 1_500, RepairRow.TRACTOR_4WD, kept_at_once_frac=0.68)
    young, old = (keep_or_replace(wear, 20_000, h, 0.08) for h in (run_h, run_h + more_h))
    assert young.keep_cost_y <= old.keep_cost_y + 1e-6
    assert young.new_cost_y == old.new_cost_y


def test_nonsense_is_refused_by_name() -> None:
    with pytest.raises(RefusedValueError, match="worths: mismatch"):
        equivalent_costs_y([1, 2], [1, 2], 0.1)
    for name, worth in (("price", (0, 0, 5)), ("salvage", (5, 6, 5)), ("life_y", (5, 1, 0))):
        with pytest.raises(RefusedValueError, match=f"{name}: out_of_range"):
            worths_by_year(*worth, 3)


@pytest.mark.parametrize("kept_at_once_frac", [0, -0.1, 1.01, float("nan")])
def test_a_machine_that_keeps_no_share_or_more_than_all_is_refused(
    kept_at_once_frac: float,
) -> None:
    with pytest.raises(RefusedValueError, match="kept_at_once_frac"):
        worths_by_year(100, 20, 10, 3, kept_at_once_frac)
