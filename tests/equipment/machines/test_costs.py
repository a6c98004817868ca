"""Cost of an hour against an extension bulletin and tables."""

import pytest

from equipment.machines.calc.costs import (
    CostYear,
    RepairRow,
    capital_cost_y,
    capital_recovery_frac,
    fuel_l_h,
    repair_total,
)
from equipment.machines.models import RepairRow as StoredRow
from equipment.site.calc.refusal import RefusedValueError

HP_KW = 0.7456998715822702  # NIST SP 811, appendix B.8: horsepower (550 ft lbf/s)
GAL_L = 3.785411784  # NIST SP 811, appendix B.8: US gallon


@pytest.mark.parametrize(
    ("interest_frac", "years", "factor"),
    [(0.05, 10, 0.12950), (0.08, 10, 0.14903), (0.08, 15, 0.11683), (0.0, 8, 0.125)],
)
def test_factors_of_the_table(interest_frac: float, years: int, factor: float) -> None:
    # standard capital recovery table; Iowa State A3-29 prints 0.117 for 8 %, 15 years
    found = capital_recovery_frac(interest_frac, years)
    assert found == pytest.approx(factor, abs=5e-6)
    # a second way: the payments' present value is what was lent
    assert sum(found / (1 + interest_frac) ** n for n in range(1, years + 1)) == pytest.approx(1)


def test_the_bulletins_tractor_has_its_capital_cost() -> None:
    # Iowa State A3-29: 180 hp, list 150,000, paid 130,000, salvage 23 % of list, 15 years, 8 %:
    # 0.117 x 95,500 + 0.08 x 34,500 = 13,934; with the exact factor 13,917
    assert capital_cost_y(130_000, 34_500, 0.08, 15) == pytest.approx(13_917, abs=0.5)
    assert capital_cost_y(130_000, 34_500, 0.08, 15) == pytest.approx(13_934, rel=0.002)


def test_the_bulletins_tractor_burns_its_gallons() -> None:
    # Iowa State A3-29: 0.044 x 180 = 7.92 gal/h
    assert fuel_l_h(180 * HP_KW) / GAL_L == pytest.approx(7.92, rel=0.005)


def test_repairs_by_6000_hours_of_both_rows() -> None:
    # ASAE D497 (from memory), by hand: 0.007 x 6² = 25.2 %; 0.003 x 6² = 10.8 % of the list price.
    # Iowa State A3-29 has 25 % of 150,000 = 37,500 by 6,000 h
    by_2wd = repair_total(150_000, 6_000, RepairRow.TRACTOR_2WD)
    assert by_2wd == pytest.approx(0.252 * 150_000)
    assert by_2wd == pytest.approx(37_500, rel=0.01)
    assert repair_total(100_000, 6_000, RepairRow.TRACTOR_4WD) == pytest.approx(10_800)


def test_what_is_stored_names_rows_that_are_reckoned_with() -> None:
    assert set(StoredRow.values) == {row.value for row in RepairRow}


def test_an_hour_is_the_year_over_its_hours_and_unknown_while_a_part_is() -> None:
    # Iowa State A3-29's tractor at 400 h a year, by hand: (13,917 + 1,300 + 4,000 + 600 + 2,500)
    # / 400 = 55.79
    year = CostYear(400, 13_917, 1_300, 4_000, 600, 2_500)
    assert year.per_h == pytest.approx(55.7925)
    assert CostYear(400, None, 1_300, 4_000, 600, 2_500).per_h is None
    assert CostYear(0, 1, 1, 1, 1, 1).per_h is None


def test_nonsense_is_refused_by_name() -> None:
    for name, bad in (("interest_frac", (-0.1, 5)), ("years", (0.1, 0))):
        with pytest.raises(RefusedValueError, match=f"{name}: out_of_range"):
            capital_recovery_frac(*bad)
    with pytest.raises(RefusedValueError, match="price"):
        capital_cost_y(-1, 0, 0.1, 5)
    with pytest.raises(RefusedValueError, match="power_kw"):
        fuel_l_h(0)
    with pytest.raises(RefusedValueError, match="total_h"):
        repair_total(1, -1, RepairRow.TRACTOR_2WD)
