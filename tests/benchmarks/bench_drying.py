"""Ten bays, a thousand members, fourteen days by the hour, against a bare numpy recurrence."""

from pathlib import Path

import numpy as np

from schedules.sand.calc.drying import DryingRun, Turning, simulate_drying
from schedules.sand.calc.layer import Floats, Layer
from tests.benchmarks import reference_drying
from tests.benchmarks.cases import Case

N_BAYS, N_MEMBERS, N_DAYS, SEED = 10, 1_000, 14, 20261125
LAYER = Layer()
TURNING = Turning((2,) * N_DAYS, depth_m=LAYER.thickness_m)


class Facts:
    """Weather and sand of the case: days of summer without night's sun, a storm now and then."""

    def __init__(self) -> None:
        rng = np.random.default_rng(SEED)
        sun = np.maximum(np.sin((np.arange(24) - 6) / 24 * 2 * np.pi), 0)
        day_et0_mm = rng.uniform(1, 8, (N_MEMBERS, N_DAYS))
        self.et0_mm = (day_et0_mm[:, :, None] * sun / sun.sum()).reshape(N_MEMBERS, -1)
        is_wet = rng.random((N_MEMBERS, N_DAYS)) < 0.2
        rain_mm = np.zeros((N_MEMBERS, N_DAYS, 24))
        hour = rng.integers(0, 24, is_wet.sum())
        rain_mm[(*np.nonzero(is_wet), hour)] = rng.gamma(0.7, 12, is_wet.sum())
        self.rain_mm = rain_mm.reshape(N_MEMBERS, -1)
        shape = (N_BAYS, N_MEMBERS)
        self.start_wb_frac = rng.uniform(0.06, 0.12, shape)
        self.capacity_frac = rng.uniform(0.09, 0.15, shape)
        self.rate_frac = np.exp(0.15 * rng.standard_normal(shape))
        # the reference walks hour by hour, ours member by member: each finds its rows in a piece
        self.et0_by_hour_mm = np.ascontiguousarray(self.et0_mm.T)
        self.rain_by_hour_mm = np.ascontiguousarray(self.rain_mm.T)


def ours(facts: Facts) -> list[DryingRun]:
    return [
        simulate_drying(
            LAYER,
            initial_moisture_wb_frac=facts.start_wb_frac[bay],
            et0_mm=facts.et0_mm,
            rain_mm=facts.rain_mm,
            turning=TURNING,
            theta_fc_frac=facts.capacity_frac[bay],
            rate_frac=facts.rate_frac[bay],
            step_h=1,
        )
        for bay in range(N_BAYS)
    ]


def reference(facts: Facts) -> Floats:
    share = LAYER.surface_m / LAYER.thickness_m
    initial_mm = LAYER.water_mm(facts.start_wb_frac)
    capacity_mm = 1000 * facts.capacity_frac
    day_rain_mm = facts.rain_mm.reshape(N_MEMBERS, N_DAYS, 24).sum(axis=2)
    is_worked = np.repeat(day_rain_mm < TURNING.skip_rain_mm, 24, axis=1)
    return reference_drying.water_by_hour(
        initial_mm * share,
        initial_mm * (1 - share),
        et0_mm=facts.et0_by_hour_mm,
        rain_mm=facts.rain_by_hour_mm,
        is_turned=(is_worked & (TURNING.by_step(1) > 0)).T,
        factor=LAYER.kc_bare * facts.rate_frac,
        top_capacity_mm=capacity_mm * LAYER.surface_m,
        low_capacity_mm=capacity_mm * (LAYER.thickness_m - LAYER.surface_m),
        top_full_mm=1000 * LAYER.theta_sat_frac * LAYER.surface_m,
        floor_mm=LAYER.floor_mm,
        falling_mm=LAYER.falling_mm(facts.capacity_frac),
        drained_frac=LAYER.drained_frac(1),
        top_share_frac=share,
    )


def cases() -> list[Case]:
    facts = Facts()
    compiled = np.stack([run.water_mm for run in ours(facts)])
    plain = reference(facts)[23::24].transpose(1, 2, 0)
    if np.abs(compiled - plain).max() > 1e-9:
        raise AssertionError("the two give different water")
    return [
        Case(
            name=f"drying, {N_BAYS} bays x {N_MEMBERS} members x {N_DAYS} days hourly",
            ours=lambda: ours(facts),
            reference=lambda: reference(facts),
            at_most=1.5,
            reference_file=Path(reference_drying.__file__),
        )
    ]
