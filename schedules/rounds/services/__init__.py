"""Verbs of the day's clock: plan milkings ahead, start, report, end; the rest follows by calc."""

from .ordering import set_milking_order
from .planning import PlanCounts, plan_milkings
from .reports import end_milking, foretell_visit, record_visit_time, start_milking

__all__ = [
    "PlanCounts",
    "end_milking",
    "foretell_visit",
    "plan_milkings",
    "record_visit_time",
    "set_milking_order",
    "start_milking",
]
