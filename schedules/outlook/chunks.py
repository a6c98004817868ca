"""Reckons some members of a run, and packs what came of them."""

from __future__ import annotations

import hashlib
import io
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from equipment.weather.calc.members import ClimateHistory

from .calc.members import draw_years
from .calc.scenario import Scenario, scenario_of
from .calc.sensitivity import neighbours
from .calc.simulate import YearRun, simulate_year
from .calc.state import Floats
from .calc.summary import Outcome, outcomes

SETTING_MEMBERS = 200  # of the first ones, on which settings are moved
OUTCOMES = tuple(Outcome)


@dataclass(frozen=True, slots=True)
class Part:
    """Runs of each scenario compared, and outcomes (members by outcomes) of each neighbour."""

    runs: list[YearRun]
    moved: Floats

    def pack(self) -> bytes:
        """Give it as bytes for the database."""
        arrays: dict[str, NDArray[Any]] = {"moved": self.moved}
        for index, run in enumerate(self.runs):
            arrays |= {
                f"path{index}": run.path,
                f"flag{index}": run.flag,
                f"total{index}": run.total,
            }
        file = io.BytesIO()
        np.savez_compressed(file, allow_pickle=False, **arrays)
        return file.getvalue()


def unpack(payload: bytes, n_runs: int) -> Part:
    """Take it from bytes again."""
    with np.load(io.BytesIO(payload)) as arrays:
        runs = [
            YearRun(arrays[f"path{k}"], arrays[f"flag{k}"], arrays[f"total{k}"])
            for k in range(n_runs)
        ]
        return Part(runs, arrays["moved"])


def scenarios_of(inputs: dict[str, Any]) -> list[Scenario]:
    """Give the scenarios of a run, the farm as it is first."""
    return [scenario_of(one["scenario"]) for one in inputs["compared"]]


def reckon_part(
    inputs: dict[str, Any], history: ClimateHistory, *, seed: int, first: int, n_members: int
) -> Part:
    """Reckon members from number `first` on; the same bits whatever else is reckoned."""
    scenarios = scenarios_of(inputs)
    base = scenarios[0]
    members = draw_years(history, base.start_on, seed=seed, first=first, n_members=n_members)
    runs = [simulate_year(scenario, members) for scenario in scenarios]
    moved = [
        _numbers(simulate_year(one.scenario, members), one.scenario)
        for one in (neighbours(base) if first < SETTING_MEMBERS else [])
    ]
    shape = (0, n_members, len(OUTCOMES))
    return Part(runs, np.array(moved) if moved else np.zeros(shape))


def _numbers(run: YearRun, scenario: Scenario) -> Floats:
    found = outcomes(run, scenario)
    return np.column_stack([found[code] for code in OUTCOMES])


def join(parts: list[Part]) -> Part:
    """Put the parts of all members together, in their order."""
    runs = [
        YearRun(
            np.concatenate([part.runs[k].path for part in parts]),
            np.concatenate([part.runs[k].flag for part in parts]),
            np.concatenate([part.runs[k].total for part in parts]),
        )
        for k in range(len(parts[0].runs))
    ]
    moved = np.concatenate([part.moved for part in parts if len(part.moved)], axis=1)
    return Part(runs, moved)


def digest_of(part: Part) -> str:
    """Hash every bit of every member, so that two runs can be told equal."""
    found = hashlib.sha256()
    for run in part.runs:
        for array in (run.path, run.flag, run.total):
            found.update(np.ascontiguousarray(array).tobytes())
    found.update(np.ascontiguousarray(part.moved).tobytes())
    return found.hexdigest()
