"""How long a machine was down, and what an hour of its running cost in service and repair."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from decimal import ROUND_HALF_EVEN, Decimal

from equipment.machines.calc.meter import MeterSeries
from equipment.site.calc.local_time import elapsed_h, require_aware
from equipment.site.calc.refusal import RefusedValueError

_CENT = Decimal("0.01")


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of time.

    Parameters
    ----------
    start : datetime
        Aware.
    end : datetime or None
        Aware, exclusive; None while it lasts.
    """

    start: datetime
    end: datetime | None

    def __post_init__(self) -> None:
        """Refuse a span that ends before it starts."""
        require_aware(self.start, "start")
        if self.end is not None and elapsed_h(self.start, self.end) < 0:
            raise RefusedValueError("not_positive", "span", self.start)


def down_spans(
    repairs: Iterable[Span], start: datetime, end: datetime
) -> list[tuple[datetime, datetime]]:
    """Merge the times a machine was down within a period.

    Parameters
    ----------
    repairs : iterable of Span
        In any order; they may overlap. One that still lasts counts to the end of the period.
    start, end : datetime
        Aware; the period. Give now as its end when it is not over.

    Returns
    -------
    list of tuple of datetime
        Start and exclusive end of each stretch, in UTC, in order, apart from each other. [instant]

    Notes
    -----
    Valid: any spans.
    Checked: tests/equipment/machines/test_downtime.py::
    test_downtime_is_every_minute_that_some_repair_covers

    References
    ----------
    .. [1] Arithmetic.
    """
    start, end = require_aware(start, "start"), require_aware(end, "end")
    clipped = sorted(
        (max(start, require_aware(span.start)), min(end, require_aware(span.end or end)))
        for span in repairs
    )
    merged: list[tuple[datetime, datetime]] = []
    for down_from, down_until in clipped:
        if down_until <= down_from:
            continue
        if merged and down_from <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(merged[-1][1], down_until))
        else:
            merged.append((down_from, down_until))
    return merged


def down_share_frac(repairs: Iterable[Span], start: datetime, end: datetime) -> float:
    """Compute the share of a period in which a machine was down.

    Parameters
    ----------
    repairs : iterable of Span
        As in `down_spans`.
    start, end : datetime
        Aware; the period.

    Returns
    -------
    float
        0 to 1. [-]

    Raises
    ------
    RefusedValueError
        ``not_positive`` for a period without length.

    Notes
    -----
    Valid: by elapsed hours, those of the night included.
    Checked: tests/equipment/machines/test_downtime.py::
    test_the_share_of_the_long_night_counts_the_hours_that_pass

    References
    ----------
    .. [1] Arithmetic.
    """
    period_h = elapsed_h(start, end)
    if period_h <= 0:
        raise RefusedValueError("not_positive", "period", start)
    return sum(elapsed_h(*span) for span in down_spans(repairs, start, end)) / period_h


@dataclass(frozen=True, slots=True)
class HourlyCost:
    """What a machine's services and repairs cost over a period.

    Parameters
    ----------
    total : Decimal
        In the site's currency.
    run_h : float
        Hours run in the period, as far as readings show. [h]
    per_h : Decimal or None
        Cost of an hour run, to the cent; None when no hour was run.
    """

    total: Decimal
    run_h: float
    per_h: Decimal | None


def hourly_cost(
    costs: Iterable[tuple[datetime, Decimal]], series: MeterSeries, start: datetime, end: datetime
) -> HourlyCost:
    """Compute what an hour of running cost in services and repairs.

    Parameters
    ----------
    costs : iterable of (datetime, Decimal)
        When each was incurred, aware, and its amount in the site's currency.
    series : MeterSeries
        The machine's readings, at least one.
    start, end : datetime
        Aware; the period, its end exclusive.

    Returns
    -------
    HourlyCost
        Fuel, capital and the driver are not in it. [money], [h], [money h⁻¹]

    Raises
    ------
    RefusedValueError
        ``no_readings``.

    Notes
    -----
    Valid: as far as costs were written down.
    Checked: tests/equipment/machines/test_downtime.py::
    test_an_hour_costs_what_services_and_repairs_of_the_period_cost_over_the_hours_run

    References
    ----------
    .. [1] Arithmetic.
    """
    start, end = require_aware(start, "start"), require_aware(end, "end")
    total = sum((amount for at, amount in costs if start <= at < end), Decimal(0))
    run_h = series.total_h_at(end) - series.total_h_at(start)
    if run_h <= 0:
        return HourlyCost(total, 0.0, None)
    per_h = (total / Decimal(run_h)).quantize(_CENT, ROUND_HALF_EVEN)
    return HourlyCost(total, run_h, per_h)
