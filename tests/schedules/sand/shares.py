"""What tests ask of an uncertain date and no page does."""

from datetime import date

from schedules.sand.calc.dates import BEYOND, DateDistribution


def share_by(dates: DateDistribution, on: date) -> float:
    """Share of the weight no later than a date."""
    is_by = (dates.offset_d != BEYOND) & (dates.offset_d <= (on - dates.origin_on).days)
    return float(dates.weight[is_by].sum())
