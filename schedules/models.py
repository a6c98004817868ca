"""All that is stored of what must be done, when, and by whom."""

from .dayplan.models import Assignment, Claim, PlanRun, Unassigned
from .farmfile.models import LoadedEntry
from .outlook.models import OutlookChunk, OutlookPractice, OutlookRun
from .rounds.models import BedWindow, Milking, PenVisit
from .sand.models import (
    Batch,
    BatchParent,
    BatchStep,
    DryForecast,
    DryRate,
    DryScore,
    MoistureTest,
    SandAccount,
    SandMove,
)
from .work.models import Dependency, Problem, Report, StandingOrder, WorkOrder

__all__ = [
    "Assignment",
    "Batch",
    "BatchParent",
    "BatchStep",
    "BedWindow",
    "Claim",
    "Dependency",
    "DryForecast",
    "DryRate",
    "DryScore",
    "LoadedEntry",
    "Milking",
    "MoistureTest",
    "OutlookChunk",
    "OutlookPractice",
    "OutlookRun",
    "PenVisit",
    "PlanRun",
    "Problem",
    "Report",
    "SandAccount",
    "SandMove",
    "StandingOrder",
    "Unassigned",
    "WorkOrder",
]
