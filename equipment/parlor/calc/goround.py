"""Who is not milked out after one turn: what a faster deck costs in cows that go round again."""

from math import exp, log, log1p, sqrt

from scipy.special import ndtr, ndtri

from equipment.parlor.calc.rotary import S_PER_MIN


def _lognormal(mean_s: float, sd_s: float) -> tuple[float, float]:
    if not 0 < mean_s < float("inf"):
        raise ValueError(f"mean_s must be > 0, got {mean_s}")
    if not 0 < sd_s < float("inf"):
        raise ValueError(f"sd_s must be > 0, got {sd_s}")
    variance = log1p((sd_s / mean_s) ** 2)
    return log(mean_s) - variance / 2, sqrt(variance)


def go_round_frac(rotation_min: float, *, mean_s: float, sd_s: float) -> float:
    """Compute the share of cows that are still milking when the deck has turned once.

    Parameters
    ----------
    rotation_min : float
        Time of one turn, above 0. [min]
    mean_s, sd_s : float
        Mean and standard deviation of milking times, each above 0. [s]

    Returns
    -------
    float
        Share of cows, milking times being lognormal. [-]

    Raises
    ------
    ValueError
        If a value is not above 0.

    Notes
    -----
    Valid: entry to attachment and the exit take no part of the turn, so the true share is
    somewhat higher; any positive values.
    Checked: tests/equipment/parlor/test_goround.py::test_a_fifth_goes_round_at_eight_minutes

    References
    ----------
    Edwards, J. P., et al., "Optimal milking routine of rotary parlours" (383 s, sd 129 s, 62
    herds), Animal Production Science 52:969-973, 2012; lognormal arithmetic.
    """
    if not 0 < rotation_min < float("inf"):
        raise ValueError(f"rotation_min must be > 0, got {rotation_min}")
    mu, sigma = _lognormal(mean_s, sd_s)
    return float(ndtr((mu - log(rotation_min * S_PER_MIN)) / sigma))


def rotation_for_go_round_min(go_round: float, *, mean_s: float, sd_s: float) -> float:
    """Compute the time of one turn at which a share of cows would go round again.

    Parameters
    ----------
    go_round : float
        Share that the farm accepts, between 0 and 1. [-]
    mean_s, sd_s : float
        Mean and standard deviation of milking times, each above 0. [s]

    Returns
    -------
    float
        Time of one turn. [min]

    Raises
    ------
    ValueError
        If a value is out of range.

    Notes
    -----
    Valid: as `go_round_frac`, of which it is the inverse.
    Checked: tests/equipment/parlor/test_goround.py::test_a_tenth_needs_a_slower_deck

    References
    ----------
    Edwards, J. P., et al., as `go_round_frac`, 2012; lognormal arithmetic.
    """
    if not 0 < go_round < 1:
        raise ValueError(f"go_round must be between 0 and 1, got {go_round}")
    mu, sigma = _lognormal(mean_s, sd_s)
    return exp(mu - sigma * float(ndtri(go_round))) / S_PER_MIN
