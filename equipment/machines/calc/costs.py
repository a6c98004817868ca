"""What an hour of a machine costs, part by part.

Money is a plain number in the site's currency here, and Decimal where it is stored and shown.
"""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from equipment.site.calc.refusal import RefusedValueError

FUEL_L_KWH = 0.223  # diesel over a year's mixed work: 0.73 x 0.305, ASAE EP496 (from memory)


def capital_recovery_frac(interest_frac: float, years: float) -> float:
    """Compute the capital recovery factor: the level payment for one unit lent.

    Parameters
    ----------
    interest_frac : float
        Interest a year. [y⁻¹]
    years : float
        Number of payments, one a year. [y]

    Returns
    -------
    float
        Share of the sum paid each year; 1/n without interest. [y⁻¹]

    Raises
    ------
    RefusedValueError
        ``out_of_range`` for interest below zero or years not above zero.

    Notes
    -----
    Valid: payments at the end of each year.
    Checked: tests/equipment/machines/test_costs.py::test_factors_of_the_table

    References
    ----------
    .. [1] W. Edwards, "Estimating Farm Machinery Costs", Iowa State University Extension, Ag
       Decision Maker A3-29 (PM 710), table 2.
    """
    if not 0 <= interest_frac < float("inf"):
        raise RefusedValueError("out_of_range", "interest_frac", interest_frac)
    if not 0 < years < float("inf"):
        raise RefusedValueError("out_of_range", "years", years)
    if interest_frac == 0:
        return 1 / years
    return float(interest_frac / -np.expm1(-years * np.log1p(interest_frac)))


def capital_cost_y(price: float, salvage: float, interest_frac: float, life_y: float) -> float:
    """Compute what a machine's capital costs each year.

    Parameters
    ----------
    price, salvage : float
        Paid for it, and got for it at its end. [money]
    interest_frac : float
        Interest a year. [y⁻¹]
    life_y : float
        Years until its end. [y]

    Returns
    -------
    float
        Recovery of what is lost, and interest on what comes back. [money y⁻¹]

    Raises
    ------
    RefusedValueError
        ``out_of_range`` for money below zero; as `capital_recovery_frac`.

    Notes
    -----
    Valid: before taxes on income; inflation is in the interest or in neither.
    Checked: tests/equipment/machines/test_costs.py::test_the_bulletins_tractor_has_its_capital_cost

    References
    ----------
    .. [1] Iowa State A3-29, "Capital recovery".
    """
    _require_money(price=price, salvage=salvage)
    factor = capital_recovery_frac(interest_frac, life_y)
    return factor * (price - salvage) + interest_frac * salvage


def fuel_l_h(power_kw: float) -> float:
    """Compute the mean diesel a machine burns in an hour.

    Parameters
    ----------
    power_kw : float
        Power of its engine at the shaft. [kW]

    Returns
    -------
    float
        0.223 litres for each kW. [L h⁻¹]

    Raises
    ------
    RefusedValueError
        ``out_of_range`` for a power that is not above zero.

    Notes
    -----
    Valid: tractors over a year of mixed work; a loader that idles much burns less, one that digs
    all day more. Tank records of the machine are better.
    Checked: tests/equipment/machines/test_costs.py::test_the_bulletins_tractor_burns_its_gallons

    References
    ----------
    .. [1] Iowa State A3-29, "Fuel": 0.044 gal/h of diesel for each PTO horsepower.
    """
    if not 0 < power_kw < float("inf"):
        raise RefusedValueError("out_of_range", "power_kw", power_kw)
    return FUEL_L_KWH * power_kw


class RepairRow(StrEnum):
    """A row of the standard's table of repair factors; it has none for loaders."""

    TRACTOR_2WD = "tractor_2wd"
    TRACTOR_4WD = "tractor_4wd"


_REPAIR = {RepairRow.TRACTOR_2WD: (0.007, 2.0), RepairRow.TRACTOR_4WD: (0.003, 2.0)}


def repair_total(list_price: float, total_h: float, row: RepairRow) -> float:
    """Compute what repairs have cost by so many hours of a machine's life.

    Parameters
    ----------
    list_price : float
        New, of one like it, today. [money]
    total_h : float
        Hours run in its life. [h]
    row : RepairRow
        The row borrowed.

    Returns
    -------
    float
        RF1 × price × (hours / 1000) ^ RF2. [money]

    Raises
    ------
    RefusedValueError
        ``out_of_range`` for money or hours below zero.

    Notes
    -----
    Valid: typical of many machines, for the row it is of; a single machine may cost half or twice.
    A loader's row is borrowed. The rows end at 12,000 and 16,000 h.
    Checked: tests/equipment/machines/test_costs.py::test_repairs_by_6000_hours_of_both_rows

    References
    ----------
    .. [1] ASAE D497, "Agricultural Machinery Management Data", table 3, factors RF1 and RF2 (from
       memory).
    """
    _require_money(list_price=list_price)
    if not 0 <= total_h < float("inf"):
        raise RefusedValueError("out_of_range", "total_h", total_h)
    first, power = _REPAIR[row]
    return float(first * list_price * (total_h / 1000) ** power)


@dataclass(frozen=True, slots=True)
class CostYear:
    """What the next year of a machine costs, part by part: money a year.

    Parameters
    ----------
    run_h : float
        Hours run in it.
    capital, ownership, fuel, lubricants, repair : float or None
        None where what it takes is not known.
    """

    run_h: float
    capital: float | None
    ownership: float | None
    fuel: float | None
    lubricants: float | None
    repair: float | None

    @property
    def parts(self) -> dict[str, float | None]:
        """The parts by name, in the order they are told."""
        names = ("capital", "ownership", "fuel", "lubricants", "repair")
        return {name: getattr(self, name) for name in names}

    @property
    def per_h(self) -> float | None:
        """All of an hour; None while a part is not known or no hour is run [money h⁻¹]."""
        known = [part for part in self.parts.values() if part is not None]
        if len(known) < len(self.parts) or self.run_h <= 0:
            return None
        return sum(known) / self.run_h


def _require_money(**values: float) -> None:
    for name, value in values.items():
        if not 0 <= value < float("inf"):
            raise RefusedValueError("out_of_range", name, value)
