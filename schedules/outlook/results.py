"""What is kept of a year ahead for pages, API and command: codes and numbers, no sentences."""

from __future__ import annotations

from dataclasses import asdict
from datetime import timedelta
from typing import Any

import numpy as np

from .calc.scenario import Scenario
from .calc.sensitivity import SPREADS, neighbours
from .calc.simulate import BASIN_FRAC, FREE_BAYS, LOADER_H, PEOPLE_H, RELEASED_KG, WET_KG, YearRun
from .calc.summary import (
    Event,
    Outcome,
    bands,
    chance,
    chance_by,
    mean,
    month_ends,
    outcomes,
    short_seasons,
)
from .chunks import OUTCOMES, Part, scenarios_of

PATHS = {
    "released_kg": RELEASED_KG,
    "wet_kg": WET_KG,
    "free_bays": FREE_BAYS,
    "basin_frac": BASIN_FRAC,
    "people_h": PEOPLE_H,
    "loader_h": LOADER_H,
}
WEEK_D = 7


def result_of(inputs: dict[str, Any], part: Part) -> dict[str, Any]:
    """Sum a run up."""
    scenarios = scenarios_of(inputs)
    base, run = scenarios[0], part.runs[0]
    base_outcomes = outcomes(run, base)
    ends = month_ends(base.start_on, run.path.shape[1])
    return {
        "n_members": run.path.shape[0],
        "month_ends": [(base.start_on + timedelta(days=d)).isoformat() for d in ends],
        "chances": {
            event.value: [asdict(one) for one in chance_by(run, event, ends)] for event in Event
        },
        "seasons": _seasons(run, base),
        "week_ends": _week_days(base, run.path.shape[1]),
        "paths": {name: _bands(run, column) for name, column in PATHS.items()},
        "compared": [
            {
                "name": one["name"],
                "outcomes": _against(outcomes(part.runs[k], scenarios[k]), base_outcomes),
                "chances": {
                    event.value: [asdict(c) for c in chance_by(part.runs[k], event, ends)]
                    for event in (Event.NO_SAND, Event.PADS_FULL, Event.BASIN_OVER)
                },
            }
            for k, one in enumerate(inputs["compared"])
        ],
        "settings": _settings(base, part, base_outcomes),
        "gaps": {
            name: float(run.total[:, column].max())
            for name, column in (("sand_kg", 5), ("water_mm", 6), ("basin_m3", 7))
        },
    }


def _seasons(run: YearRun, base: Scenario) -> list[dict[str, Any]]:
    found = []
    for season, shares in short_seasons(run, base).items():
        line: dict[str, Any] = {"season": season.value}
        for name, share in zip(("people", "loaders"), shares, strict=True):
            quantiles = [round(float(q), 4) for q in np.quantile(share, (0.1, 0.5, 0.9))]
            line[name] = {"short": asdict(chance(share > 1)), "need_frac": quantiles}
        found.append(line)
    return found


def _week_days(base: Scenario, n_days: int) -> list[str]:
    return [
        (base.start_on + timedelta(days=d)).isoformat() for d in range(WEEK_D - 1, n_days, WEEK_D)
    ]


def _bands(run: YearRun, column: int) -> list[list[float]]:
    weekly = run.path[:, WEEK_D - 1 :: WEEK_D, column]
    return [[round(float(value), 3) for value in band] for band in bands(weekly)]


def _against(
    found: dict[Outcome, np.ndarray[Any, Any]], base: dict[Outcome, np.ndarray[Any, Any]]
) -> dict[str, dict[str, float]]:
    """Give each outcome's mean, and its difference to the farm as it is, member by member."""
    told = {}
    for code in OUTCOMES:
        own, more = mean(found[code]), mean(found[code] - base[code])
        told[code.value] = {
            "mean": own.mean,
            "se": own.se,
            "difference": more.mean,
            "difference_se": more.se,
        }
    return told


def _settings(
    base: Scenario, part: Part, base_outcomes: dict[Outcome, np.ndarray[Any, Any]]
) -> list[dict[str, Any]]:
    """Rank the settings by how far they move the sand that must come from outside."""
    n = part.moved.shape[1]
    lines: list[dict[str, Any]] = []
    around = neighbours(base)
    for index, (setting, (spread, _move)) in enumerate(SPREADS.items()):
        line: dict[str, Any] = {"setting": setting.value, "spread": spread, "n_members": n}
        for name, k in (("low", 2 * index), ("high", 2 * index + 1)):
            line[name] = {"value": around[k].value}
            for column, code in enumerate(OUTCOMES):
                moved = mean(part.moved[k, :, column] - base_outcomes[code][:n])
                line[name][code.value] = {"difference": moved.mean, "se": moved.se}
        lines.append(line)
    return sorted(lines, key=lambda line: -_swing(line))


def _swing(line: dict[str, Any]) -> float:
    return max(
        abs(float(line[side][Outcome.MISSING_T.value]["difference"])) for side in ("low", "high")
    )
