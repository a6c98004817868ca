"""What differs between the members of a year ahead: weather, and figures that nobody knows well."""

from dataclasses import dataclass

import numpy as np

from equipment.weather.calc.members import ClimateHistory
from equipment.weather.calc.subdaily import Storms, draw_storms, sun_shares
from equipment.weather.calc.years import year_members
from schedules.outlook.calc.scenario import Scenario
from schedules.sand.calc.layer import Floats

CAPACITY_SD_FRAC = 0.015  # of field capacity, as the forecast of a batch varies it
RATE_SD = 0.1  # of the logarithm of a pad's rate; common practice, no source


@dataclass(frozen=True, slots=True)
class Draws:
    """One row for each member; days along the second axis.

    Parameters
    ----------
    et0_mm, rain_mm : ndarray, shape (n_members, n_days)
        Weather. [mm]
    shares : ndarray, shape (n_days, 24) or (n_days, 1)
        Of each day's ET0, by hour, or 1 where the day is one step. [-]
    storms : Storms
        When it rains in each day, where it has hours.
    use_factor, recovery_frac, capacity_frac, rate_factor : ndarray, shape (n_members,)
        Of the use of sand; what the lane gives back; field capacity; the pads' rate. [-]
    """

    et0_mm: Floats
    rain_mm: Floats
    shares: Floats
    storms: Storms
    use_factor: Floats
    recovery_frac: Floats
    capacity_frac: Floats
    rate_factor: Floats

    @property
    def n_members(self) -> int:
        """How many members there are."""
        return int(self.et0_mm.shape[0])

    @property
    def n_days(self) -> int:
        """How many days each has."""
        return int(self.et0_mm.shape[1])


def draw_members(
    scenario: Scenario,
    history: ClimateHistory,
    *,
    n_days: int,
    seed: int,
    members: range,
    is_hourly: bool = False,
) -> Draws:
    """Draw members by their numbers; a member is the same with whichever others it is drawn.

    Parameters
    ----------
    scenario : Scenario
        Its start, place and figures with their spread. Two scenarios get the same weather and the
        same places in each spread for a seed, so that their difference is not chance.
    history : ClimateHistory
        Past days of the place.
    n_days : int
        1 or more. [d]
    seed : int
        Of the whole run, ≥ 0.
    members : range
        Numbers of the members.
    is_hourly : bool
        Draw the hours of rain too; without them days have one step.

    Returns
    -------
    Draws
        Their weather and figures.

    Raises
    ------
    ValueError
        From `year_members`: no past day, or a season that nobody recorded.

    Notes
    -----
    Each member has a generator of its own, from the seed and its number; it is asked for the same
    numbers in the same order whatever the scenario holds.
    """
    rngs = [np.random.default_rng([seed, member]) for member in members]
    normal = np.array([rng.standard_normal(4) for rng in rngs]).reshape(-1, 4)
    weather = year_members(history, scenario.start_on, n_days, rngs)
    shares, storms = np.ones((n_days, 1)), _no_storms(weather.rain_mm.shape)
    if is_hourly:
        shares = sun_shares(scenario.start_on, n_days, scenario.latitude_deg)
        each = [draw_storms((n_days,), rng) for rng in rngs]
        storms = Storms(np.stack([s.begin_h for s in each]), np.stack([s.length_h for s in each]))
    use, layer = scenario.use, scenario.yard.layer
    low_frac, high_frac = layer.theta_wp_frac + 1e-3, layer.theta_sat_frac - 1e-3
    return Draws(
        et0_mm=weather.et0_mm,
        rain_mm=scenario.rain_factor * weather.rain_mm,
        shares=shares,
        storms=storms,
        use_factor=np.maximum(1 + use.use_sd_frac * normal[:, 0], 0.0),
        recovery_frac=np.clip(
            use.recovery_frac * (1 + use.recovery_sd_frac * normal[:, 1]), 0.0, 1.0
        ),
        capacity_frac=np.clip(
            layer.theta_fc_frac + CAPACITY_SD_FRAC * normal[:, 2], low_frac, high_frac
        ),
        rate_factor=np.exp(RATE_SD * normal[:, 3]),
    )


def _no_storms(shape: tuple[int, ...]) -> Storms:
    return Storms(np.zeros(shape, dtype=np.int8), np.ones(shape, dtype=np.int8))
