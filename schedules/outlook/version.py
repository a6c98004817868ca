"""What code reckons a year ahead, so that a result can be told from one of other code."""

from __future__ import annotations

import hashlib
from functools import cache
from importlib import import_module
from importlib.metadata import version
from pathlib import Path

SOURCES = (
    "equipment.basins.calc.balance",
    "equipment.sandyard.calc.moisture",
    "equipment.site.calc.compiled",
    "equipment.weather.calc.members",
    "equipment.weather.calc.subdaily",
    "equipment.weather.calc.years",
    "schedules.outlook.calc.day",
    "schedules.outlook.calc.members",
    "schedules.outlook.calc.scenario",
    "schedules.outlook.calc.sensitivity",
    "schedules.outlook.calc.simulate",
    "schedules.outlook.calc.state",
    "schedules.outlook.calc.summary",
    "schedules.sand.calc.drying",
    "schedules.sand.calc.layer",
    "schedules.sand.calc.step",
)
LIBRARIES = ("numpy", "numba", "llvmlite")


@cache
def code_version() -> str:
    """Give the hash of the sources that a year's bits rest on."""
    found = hashlib.sha256()
    for name in SOURCES:
        file = import_module(name).__file__
        assert file is not None
        found.update(Path(file).read_bytes())
    return found.hexdigest()


def library_versions() -> dict[str, str]:
    """Give the versions of the libraries that compile and draw."""
    return {name: version(name) for name in LIBRARIES}
