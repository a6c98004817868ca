"""All that is stored of who does the work."""

from .devices.models import Device, PairingCode, PairingTry
from .people.models import Crew, Leave, Skill, Worker, WorkerSkill
from .roster.models import CrewPens, Rotation, Shift, ShiftPattern

__all__ = [
    "Crew",
    "CrewPens",
    "Device",
    "Leave",
    "PairingCode",
    "PairingTry",
    "Rotation",
    "Shift",
    "ShiftPattern",
    "Skill",
    "Worker",
    "WorkerSkill",
]
