"""When a new machine would be cheaper than another year of the old one.

Money is a plain number in the site's currency here, and Decimal where it is stored and shown.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from equipment.machines.calc.costs import RepairRow, capital_recovery_frac, repair_total
from equipment.site.calc.refusal import RefusedValueError

_MAX_LIFE_Y = 25  # years a machine is looked at for being kept; common practice, no source


def equivalent_costs_y(
    worths: Sequence[float], running_costs: Sequence[float], interest_frac: float
) -> list[float]:
    """Compute the equivalent annual cost of keeping a machine 1, 2, ... n years.

    Parameters
    ----------
    worths : sequence of float, shape (n + 1,)
        What it would fetch now and at the end of each year. [money]
    running_costs : sequence of float, shape (n,)
        Cost of running it in each year, at its end. [money]
    interest_frac : float
        Interest a year. [y⁻¹]

    Returns
    -------
    list of float, shape (n,)
        Level yearly cost if it is kept so many years. [money y⁻¹]

    Raises
    ------
    RefusedValueError
        ``mismatch`` when the two do not fit together.

    Notes
    -----
    The present value of worth lost and running costs, times the capital recovery factor.

    Valid: before taxes on income; machines of the same use side by side.
    Checked: tests/equipment/machines/test_replacement.py::test_the_new_forklift_of_the_textbook,
    test_another_way_through_each_years_marginal_cost

    References
    ----------
    .. [1] W. G. Sullivan, E. M. Wicks, C. P. Koelling, "Engineering Economy", ch. 9, example 9-4
       and equation 9-2.
    """
    if len(worths) != len(running_costs) + 1:
        raise RefusedValueError("mismatch", "worths", len(worths))
    found, spent = [], 0.0
    for year, cost in enumerate(running_costs, start=1):
        discount = (1 + interest_frac) ** -year
        spent += cost * discount
        present = worths[0] + spent - worths[year] * discount
        found.append(present * capital_recovery_frac(interest_frac, year))
    return found


def next_year_cost(
    worth_now: float, worth_then: float, running_cost: float, interest_frac: float
) -> float:
    """Compute what one more year of a machine costs.

    Parameters
    ----------
    worth_now, worth_then : float
        What it would fetch now and in a year. [money]
    running_cost : float
        Cost of running it in that year. [money]
    interest_frac : float
        Interest a year. [y⁻¹]

    Returns
    -------
    float
        Worth lost, interest on the worth, and running cost. [money y⁻¹]

    Notes
    -----
    Valid: as `equivalent_costs_y`. While it is below the least equivalent cost of a new machine,
    the old one is kept another year.
    Checked: tests/equipment/machines/test_replacement.py::test_the_old_forklift_of_the_textbook

    References
    ----------
    .. [1] Sullivan, Wicks, Koelling, "Engineering Economy", equation 9-2.
    """
    return worth_now - worth_then + interest_frac * worth_now + running_cost


def worths_by_year(
    price: float, salvage: float, life_y: float, n_years: int, kept_at_once_frac: float = 1.0
) -> list[float]:
    """Compute what a machine would fetch each year: a drop at once, then one share lost a year.

    Parameters
    ----------
    price, salvage : float
        Now, and at the end of its life. [money]
    life_y : float
        Years between the two. [y]
    n_years : int
        Years wanted, past its life if need be. [y]
    kept_at_once_frac : float
        Share of its price that it keeps once it is no longer new. [-]

    Returns
    -------
    list of float, shape (n_years + 1,)
        From now on. [money]

    Raises
    ------
    RefusedValueError
        ``out_of_range`` for a price not above zero, a salvage above it or below zero, no life, or a
        share kept at once that is not above 0 and at most 1.

    Notes
    -----
    Valid: declining balance; a salvage of nothing is taken as a hundredth of the price.
    Checked: tests/equipment/machines/test_replacement.py::
    test_worth_falls_by_the_textbooks_quarter,
    test_worth_falls_as_the_standards_tractor

    References
    ----------
    .. [1] Sullivan, Wicks, Koelling, "Engineering Economy", ch. 7, declining balance method.
    .. [2] ASAE D497.4, table 5 (from memory): tractors keep 68 (0.920)^n per cent.
    """
    if not 0 < price < float("inf"):
        raise RefusedValueError("out_of_range", "price", price)
    if not 0 <= salvage <= price:
        raise RefusedValueError("out_of_range", "salvage", salvage)
    if not 0 < life_y < float("inf"):
        raise RefusedValueError("out_of_range", "life_y", life_y)
    if not 0 < kept_at_once_frac <= 1:
        raise RefusedValueError("out_of_range", "kept_at_once_frac", kept_at_once_frac)
    left_frac = max(salvage / price, 0.01)
    once_frac = max(kept_at_once_frac, left_frac)
    kept_frac = (left_frac / once_frac) ** (1 / life_y)
    return [price, *(price * once_frac * kept_frac**year for year in range(1, n_years + 1))]


@dataclass(frozen=True, slots=True)
class Replacement:
    """An old machine held against a new one of the same use.

    Parameters
    ----------
    keep_cost_y : float
        What one more year of the old one costs. [money y⁻¹]
    new_cost_y : float
        Least equivalent annual cost of the new one. [money y⁻¹]
    economic_life_y : int
        Years of the new one at that least. [y]
    """

    keep_cost_y: float
    new_cost_y: float
    economic_life_y: int

    @property
    def is_kept(self) -> bool:
        """Whether one more year of the old one is no dearer than the new one."""
        return self.keep_cost_y <= self.new_cost_y


@dataclass(frozen=True, slots=True)
class Wear:
    """How the worth of a kind of machine falls and its repairs rise.

    Parameters
    ----------
    list_price : float
        New, today. [money]
    salvage_frac : float
        Share of its price that is left at the end of its life. [-]
    life_y : float
        Years of that life. [y]
    run_h_y : float
        Hours run a year. [h y⁻¹]
    row : RepairRow
        Repair factors borrowed.
    kept_at_once_frac : float
        Share of the price that is kept once it is no longer new. [-]
    """

    list_price: float
    salvage_frac: float
    life_y: float
    run_h_y: float
    row: RepairRow
    kept_at_once_frac: float

    def repairs(self, from_h: float, n_years: int) -> list[float]:
        """Give what repairs cost in each of the years to come [money]."""
        marks = [from_h + year * self.run_h_y for year in range(n_years + 1)]
        totals = [repair_total(self.list_price, mark, self.row) for mark in marks]
        return [after - before for before, after in pairwise(totals)]


def keep_or_replace(
    wear: Wear, worth_now: float, run_h: float, interest_frac: float
) -> Replacement:
    """Hold one more year of an old machine against a new one like it.

    Parameters
    ----------
    wear : Wear
        Of both.
    worth_now : float
        What the old one would fetch today. [money]
    run_h : float
        Hours it has run. [h]
    interest_frac : float
        Interest a year. [y⁻¹]

    Returns
    -------
    Replacement
        Fuel, driver and what is the same for both are left out. [money y⁻¹]

    Notes
    -----
    Valid: for a new one that does the same work; a stop's cost to the herd is not in it.
    Checked: tests/equipment/machines/test_replacement.py::test_keep_or_replace_by_hand

    References
    ----------
    .. [1] Sullivan, Wicks, Koelling, "Engineering Economy", ch. 9, examples 9-4 and 9-5.
    """
    salvage = wear.salvage_frac * wear.list_price
    worths = worths_by_year(
        wear.list_price, salvage, wear.life_y, _MAX_LIFE_Y, wear.kept_at_once_frac
    )
    costs = equivalent_costs_y(worths, wear.repairs(0.0, _MAX_LIFE_Y), interest_frac)
    worth_then = worth_now * worths[2] / worths[1]  # its own drop is long past
    (repair,) = wear.repairs(run_h, 1)
    least = min(costs)
    return Replacement(
        next_year_cost(worth_now, worth_then, repair, interest_frac),
        least,
        costs.index(least) + 1,
    )
