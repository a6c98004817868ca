"""How good forecasts were: scores of an ensemble against what came true."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def crps(members: Floats, truth: float) -> float:
    """Compute the continuous ranked probability score of an ensemble.

    Parameters
    ----------
    members : ndarray, shape (n_members,)
        Equally likely values; at least one, none of them NaN.
    truth : float
        What came true, in the same unit.

    Returns
    -------
    float
        0 for a certain and right forecast; larger is worse. Of one member it is the absolute error.
        [unit of the members]

    Raises
    ------
    ValueError
        No members, or a value that is not a number.

    Notes
    -----
    CRPS = E|X - y| - E|X - X'| / 2, with both expectations over the empirical distribution of the
    members.

    Valid: any ensemble of one member or more; a value beyond a horizon must be put at its end.

    Checked: tests/equipment/site/test_scores.py::test_crps_equals_the_integral_it_is_defined_by,
    test_crps_of_many_normal_members_nears_the_closed_form

    References
    ----------
    Gneiting and Raftery, "Strictly proper scoring rules, prediction, and estimation", J. American
    Statistical Association 102, 2007, eq. 21; Hersbach, "Decomposition of the CRPS for ensemble
    prediction systems", Weather and Forecasting 15, 2000.
    """
    ordered = np.sort(np.asarray(members, dtype=float).ravel())
    n = ordered.size
    if n == 0 or not (np.all(np.isfinite(ordered)) and np.isfinite(truth)):
        raise ValueError("members and truth must be numbers, and members one at least")
    weight = 2 * np.arange(1, n + 1) - n - 1
    spread = float((weight * ordered).sum()) / n**2  # E|X - X'| / 2, of values in order
    return float(np.abs(ordered - truth).mean()) - spread


def rank_pit(members: Floats, truth: float, rng: np.random.Generator) -> float:
    """Place the truth among the members as a probability; ties are parted at random.

    Parameters
    ----------
    members : ndarray, shape (n_members,)
        Equally likely values.
    truth : float
        What came true.
    rng : numpy.random.Generator
        Parts ties, without which dates, being whole days, would pile up at the ends of a range.

    Returns
    -------
    float
        Between 0 and 1; evenly spread over many forecasts whose spread is right. [-]

    Raises
    ------
    ValueError
        No members.

    Notes
    -----
    (number below + u · (number equal + 1)) / (n + 1) with u uniform: of n + 1 values that are
    alike in every way, the rank of one is uniform.

    Valid: any ensemble; the truth must not have been used to make it.

    Checked: tests/equipment/site/test_scores.py::
    test_the_rank_of_a_truth_drawn_like_its_members_is_even

    References
    ----------
    Hamill, "Interpretation of rank histograms for verifying ensemble forecasts", Monthly Weather
    Review 129, 2001; the parting of ties after Czado, Gneiting and Held, "Predictive model
    assessment for count data", Biometrics 65, 2009.
    """
    values = np.asarray(members, dtype=float).ravel()
    if values.size == 0:
        raise ValueError("members must be one at least")
    below, equal = int((values < truth).sum()), int((values == truth).sum())
    return float((below + rng.random() * (equal + 1)) / (values.size + 1))


def hit_share(pits: Floats, level_frac: float = 0.8) -> float:
    """Tell how often the truth lay in the middle range of its forecast.

    Parameters
    ----------
    pits : ndarray, shape (n_forecasts,)
        From `rank_pit`.
    level_frac : float
        Width of the range, above 0 and below 1.

    Returns
    -------
    float
        Share of hits; near `level_frac` where the forecasts' spread is right. [-]

    Raises
    ------
    ValueError
        No forecast, or a level out of range.

    Notes
    -----
    Valid: one forecast or more; with n of them its standard error is √(level (1 - level) / n).

    Checked: tests/equipment/site/test_scores.py::
    test_the_rank_of_a_truth_drawn_like_its_members_is_even

    References
    ----------
    Gneiting and Raftery 2007 (see `crps`), section 6.
    """
    if not 0 < level_frac < 1:
        raise ValueError(f"level_frac {level_frac} is not between 0 and 1")
    pits = np.asarray(pits, dtype=float)
    if pits.size == 0:
        raise ValueError("pits must be one at least")
    tail = (1 - level_frac) / 2
    return float(((pits >= tail) & (pits <= 1 - tail)).mean())


def bias(expected: Floats, came: Floats) -> float:
    """Tell how far forecasts lay above what came, on average.

    Parameters
    ----------
    expected : ndarray, shape (n_forecasts,)
        Means of the forecasts; one at least.
    came : ndarray, shape (n_forecasts,)
        What came true.

    Returns
    -------
    float
        Above 0 where too much was foretold. [unit of the values]

    Raises
    ------
    ValueError
        No forecast, or shapes that differ.

    Notes
    -----
    Valid: one forecast or more.

    Checked: tests/equipment/site/test_scores.py::test_bias_is_the_mean_error

    References
    ----------
    Arithmetic.
    """
    expected, came = np.asarray(expected, dtype=float), np.asarray(came, dtype=float)
    if expected.size == 0 or expected.shape != came.shape:
        raise ValueError("expected and came must be alike in shape, and one at least")
    return float((expected - came).mean())
