"""How fast a parlor takes cows: a turning deck or groups side by side, and who goes round again."""

from equipment.parlor.calc.batch import BatchParlor
from equipment.parlor.calc.goround import go_round_frac, rotation_for_go_round_min
from equipment.parlor.calc.rotary import RotaryParlor

AnyParlor = RotaryParlor | BatchParlor

__all__ = [
    "AnyParlor",
    "BatchParlor",
    "RotaryParlor",
    "go_round_frac",
    "rotation_for_go_round_min",
]
