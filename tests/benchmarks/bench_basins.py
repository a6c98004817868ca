"""Four basins in two stages, a thousand members, a year by the day, against bare numpy."""

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from equipment.basins.calc.manure import DailyInflow
from equipment.basins.calc.project import BasinNow, project_basins
from equipment.basins.calc.storage import sloped_storage
from tests.benchmarks import reference_basins
from tests.benchmarks.cases import Case

Floats = NDArray[np.float64]

N_MEMBERS, N_DAYS, SEED = 1_000, 365, 20261126
INFLOW = DailyInflow(
    settled_m3=25,
    liquid_m3=900,
    wash_m3=60,
    late_settled_m3=5,
    settled_kg_m3=1100,
    returned_m3=850,
)
CELL = sloped_storage(length_m=90, width_m=15, depth_m=2.5)
POND = sloped_storage(length_m=220, width_m=110, depth_m=4)
BASINS = (
    BasinNow(CELL, 900, 50, weep_frac=0.9, open_frac=0.3, gets_frac=0.5),
    BasinNow(CELL, 2400, 50, weep_frac=0.8, open_frac=0.0, gets_frac=0.5),
    BasinNow(POND, 30_000, 4000, weep_frac=0.0, open_frac=1.0, gets_frac=0.6, is_second=True),
    BasinNow(POND, 60_000, 4000, weep_frac=0.01, open_frac=0.8, gets_frac=0.4, is_second=True),
)


class Weather:
    """Rain on three days of ten, more evaporation in summer."""

    def __init__(self) -> None:
        rng = np.random.default_rng(SEED)
        shape = (N_MEMBERS, N_DAYS)
        self.rain_mm = np.where(rng.random(shape) < 0.3, rng.gamma(0.7, 12, shape), 0.0)
        season = 3.5 - 3 * np.cos(2 * np.pi * np.arange(N_DAYS) / 365)
        self.evaporation_mm = season * rng.uniform(0.5, 1.5, shape)


def ours(weather: Weather) -> Floats:
    return project_basins(BASINS, INFLOW, weather.rain_mm, weather.evaporation_mm).volume_m3


def reference(weather: Weather) -> Floats:
    liquid_m3 = np.array([basin.liquid_m3(INFLOW) for basin in BASINS])
    return reference_basins.volumes_by_day(
        liquid_m3,
        np.array([b.contents_m3 for b in BASINS]) - liquid_m3,
        capacity_m3=np.array([b.storage.full_m3 for b in BASINS]),
        rim_m2=np.array([b.storage.rim_m2 for b in BASINS]),
        open_m2=np.array([b.storage.rim_m2 * b.open_frac for b in BASINS]),
        weep_frac=np.array([b.weep_frac for b in BASINS]),
        gets_frac=np.array([b.gets_frac for b in BASINS]),
        n_first=sum(not b.is_second for b in BASINS),
        settled_m3=INFLOW.settled_m3,
        passing_m3=INFLOW.liquid_m3,
        wash_m3=INFLOW.wash_m3,
        late_m3=INFLOW.late_settled_m3,
        returned_m3=INFLOW.returned_m3,
        rain_mm=weather.rain_mm,
        evaporation_mm=weather.evaporation_mm,
    )


def cases() -> list[Case]:
    weather = Weather()
    if not np.allclose(ours(weather), reference(weather), rtol=1e-9, atol=1e-6):
        raise AssertionError("the two give different volumes")
    return [
        Case(
            name=f"basins, {len(BASINS)} x {N_MEMBERS} members x {N_DAYS} days / numpy",
            ours=lambda: ours(weather),
            reference=lambda: reference(weather),
            at_most=0.25,
            reference_file=Path(reference_basins.__file__),
        )
    ]
