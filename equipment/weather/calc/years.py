"""A year of weather that never was: past weeks of the same season strung together."""

from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from equipment.weather.calc.members import (
    SHIFT_MAX_D,
    ClimateHistory,
    WeatherMembers,
    on_every_day,
    windows_by_year,
)

BLOCK_D = 30  # longer than weather remembers, shorter than a season; common practice, no source


def year_members(
    history: ClimateHistory,
    start_on: date,
    horizon_d: int,
    rngs: Sequence[np.random.Generator],
    *,
    block_d: int = BLOCK_D,
) -> WeatherMembers:
    """Draw long members: each strings blocks of the right season from past years drawn at random.

    Parameters
    ----------
    history : ClimateHistory
        Only blocks that end before `start_on` and miss no value are used.
    start_on : date
        First day.
    horizon_d : int
        Days, 1 or more. [d]
    rngs : sequence of numpy.random.Generator
        One for each member, so that a member does not depend on how many others are drawn with it.
    block_d : int
        Length of a block, 1 or more. [d]

    Returns
    -------
    WeatherMembers
        As many runs as generators; two may share blocks. [mm]

    Raises
    ------
    ValueError
        A length below 1, no member, or a season of which no past year has a complete block.

    Notes
    -----
    Blocks keep the run of days within weeks and the link between rain and ET0. A wet spring says
    nothing of the summer after it, so that a whole year's sums vary less than years did where they
    are linked.

    Valid: a history of one year or more; with few years the spread is theirs alone.
    Checked: tests/equipment/weather/test_years.py::
    test_sums_of_drawn_months_have_mean_and_spread_of_the_open_record

    References
    ----------
    Künsch, "The jackknife and the bootstrap for general stationary observations", Annals of
    Statistics 17, 1989 (blocks); resampling by season as in `resample_years`.
    """
    if horizon_d < 1 or block_d < 1:
        raise ValueError("horizon_d and block_d must be 1 or more")
    if not rngs:
        raise ValueError("rngs must have a generator for one member at least")
    past = history.before(start_on)
    if past is None:
        raise ValueError(f"no day before {start_on} in the history")
    first_day, et0_mm, rain_mm = on_every_day(past)
    n_blocks = -(-horizon_d // block_d)
    starts = np.empty((len(rngs), n_blocks), dtype=np.int64)
    pools = [
        _block_starts(past, start_on, n * block_d, block_d) - first_day for n in range(n_blocks)
    ]
    for member, rng in enumerate(rngs):
        share = rng.random(n_blocks)
        starts[member] = [
            pool[int(u * pool.size)].astype(np.int64) for pool, u in zip(pools, share, strict=True)
        ]
    columns = (starts[:, :, None] + np.arange(block_d)).reshape(len(rngs), -1)[:, :horizon_d]
    return WeatherMembers(start_on, et0_mm[columns], rain_mm[columns], first_day + starts[:, 0])


def _block_starts(
    past: ClimateHistory, start_on: date, after_d: int, block_d: int
) -> NDArray[np.datetime64]:
    """List where past blocks of the season begin that lies so many days after the start."""
    begins_on = start_on + timedelta(days=after_d)
    by_year = windows_by_year(past, begins_on, block_d, SHIFT_MAX_D)
    if not by_year:
        raise ValueError(f"no past year has the {block_d} days from {begins_on:%d %B} complete")
    return np.concatenate(by_year)
