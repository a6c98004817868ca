"""A pad's own rate of drying, learned from the batches that dried on it."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

# Together 0.15: how far evaporation of one batch strays from kc · ET0. Common practice, no source
PAD_SD = 0.12  # from pad to pad: shade, wind, walls
BATCH_SD = 0.09  # from batch to batch on one pad


@dataclass(frozen=True, slots=True)
class PadRate:
    """What is known of a pad's rate: evaporation over kc · ET0, lognormal.

    Parameters
    ----------
    log_mean : float
        Mean of its logarithm; 0 is the farm's own kc.
    log_sd : float
        How sure that mean is, ≥ 0.
    n_batches : int
        Batches that told something of it, ≥ 0.
    batch_sd : float
        How far one batch strays from it, ≥ 0.

    Raises
    ------
    ValueError
        A negative spread or number.
    """

    log_mean: float = 0.0
    log_sd: float = PAD_SD
    n_batches: int = 0
    batch_sd: float = BATCH_SD

    def __post_init__(self) -> None:
        if min(self.log_sd, self.n_batches, self.batch_sd) < 0:
            raise ValueError("log_sd, n_batches and batch_sd cannot be negative")

    @property
    def batch_log_sd(self) -> float:
        """Spread of the next batch's rate: of the pad's, and of batches on it."""
        return math.hypot(self.log_sd, self.batch_sd)

    def range_frac(self) -> tuple[float, float, float]:
        """Give the pad's rate as 10 %, median and 90 % of its distribution [-]."""
        z = 1.2815515655446004  # 90 % point of the standard normal
        low, likely, high = (math.exp(self.log_mean + k * z * self.log_sd) for k in (-1, 0, 1))
        return low, likely, high


UNKNOWN_PAD = PadRate()


@dataclass(frozen=True, slots=True)
class SeenRate:
    """What one batch told of its rate, by itself.

    Parameters
    ----------
    log_rate : float
        Logarithm of its evaporation over kc · ET0.
    log_sd : float
        How sure that is, > 0.

    Raises
    ------
    ValueError
        A spread that is not above 0.
    """

    log_rate: float
    log_sd: float

    def __post_init__(self) -> None:
        if not self.log_sd > 0:
            raise ValueError(f"log_sd {self.log_sd} is not above 0")


def learn_rate(seen: Sequence[SeenRate], prior: PadRate = UNKNOWN_PAD) -> PadRate:
    """Learn a pad's rate from its past batches, shrunken to the farm's value.

    Parameters
    ----------
    seen : sequence of SeenRate
        What each batch told, in any order.
    prior : PadRate
        What is thought of a pad before: the farm's kc, give or take `PAD_SD`.

    Returns
    -------
    PadRate
        The prior where no batch told anything. [-]

    Notes
    -----
    The conjugate normal on the logarithm: each batch says log_rate with variance log_sd² +
    batch_sd²; precisions add, and the mean is weighed by them. Few or vague batches leave the
    farm's value nearly as it was.

    Valid: any number of batches; weights do not fade with time, so a pad that was rebuilt keeps
    the rate of the old one until new batches outweigh it.
    Checked: tests/schedules/sand/test_rate.py::test_one_batch_by_hand,
    test_many_batches_equal_least_squares_with_the_prior_as_a_row

    References
    ----------
    Gelman et al., "Bayesian Data Analysis", 3rd ed. 2013, eq. 2.12 (from memory).
    """
    precision = 1 / prior.log_sd**2
    weighed = prior.log_mean * precision
    for batch in seen:
        each = 1 / (batch.log_sd**2 + prior.batch_sd**2)
        precision += each
        weighed += each * batch.log_rate
    n_batches = prior.n_batches + len(seen)
    return PadRate(weighed / precision, precision**-0.5, n_batches, prior.batch_sd)


def without_prior(mean: float, sd: float, prior_mean: float, prior_sd: float) -> SeenRate | None:
    """Take a prior out of a posterior, so that what is left is the data's alone.

    Parameters
    ----------
    mean, sd : float
        Of the posterior; sd > 0. [-]
    prior_mean, prior_sd : float
        Of the prior; sd > 0. [-]

    Returns
    -------
    SeenRate or None
        None where the posterior is no narrower than the prior (by a fiftieth): the data said
        nothing. [-]

    Raises
    ------
    ValueError
        A spread that is not above 0.

    Notes
    -----
    For normals precisions subtract: 1/s² = 1/sd² − 1/prior_sd², and means likewise by weight.

    Valid: distributions near to normal.
    Checked: tests/schedules/sand/test_rate.py::test_taking_the_prior_out_undoes_putting_it_in

    References
    ----------
    Arithmetic of normal densities, as in `learn_rate`.
    """
    if not min(sd, prior_sd) > 0:
        raise ValueError("sd and prior_sd must be above 0")
    if sd > 0.98 * prior_sd:
        return None
    precision = sd**-2 - prior_sd**-2
    return SeenRate((mean * sd**-2 - prior_mean * prior_sd**-2) / precision, precision**-0.5)
