"""All that is stored of who does the work."""

from .devices.models import Device, PairingCode, PairingTry, Pin
from .people.models import Crew, Leave, Skill, Worker, WorkerSkill
from .roster.models import (
    CrewPens,
    DayByHand,
    RosterPractice,
    RosterRun,
    Rotation,
    Shift,
    ShiftDemand,
    ShiftPattern,
    ShiftWish,
    SwapRequest,
    WorkerRules,
)

__all__ = [
    "Crew",
    "CrewPens",
    "DayByHand",
    "Device",
    "Leave",
    "PairingCode",
    "PairingTry",
    "Pin",
    "RosterPractice",
    "RosterRun",
    "Rotation",
    "Shift",
    "ShiftDemand",
    "ShiftPattern",
    "ShiftWish",
    "Skill",
    "SwapRequest",
    "Worker",
    "WorkerRules",
    "WorkerSkill",
]
