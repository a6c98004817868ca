"""Verbs of the sand loop: every move of a batch is a person's event, written once with its mass."""

from .common import find_batch, practice_of
from .lane import bay_load_kg, close_draining, scoop
from .pad import add_moisture_test, spread, turn
from .pile import close_pile, mark_cured, pile, release
from .stock import bed, bed_pens, count, dispose, measure, receive_delivery

__all__ = [
    "add_moisture_test",
    "bay_load_kg",
    "bed",
    "bed_pens",
    "close_draining",
    "close_pile",
    "count",
    "dispose",
    "find_batch",
    "mark_cured",
    "measure",
    "pile",
    "practice_of",
    "receive_delivery",
    "release",
    "scoop",
    "spread",
    "turn",
]
