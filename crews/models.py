"""All that is stored of who does the work."""

from .devices.models import Device, PairingCode, PairingTry
from .people.models import Crew, Leave, Skill, Worker, WorkerSkill
from .roster.models import (
    CrewPens,
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
    "Device",
    "Leave",
    "PairingCode",
    "PairingTry",
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
