"""Places of sand: how many a steady day keeps in use, and which sand goes where."""

from __future__ import annotations

import numpy as np

from schedules.sand.calc.layer import Floats


def n_in_residence(arrivals_per_d: Floats, residence_d: Floats) -> Floats:
    """Reckon how many are in a stage at a time: bays with a layer, places with a pile.

    Parameters
    ----------
    arrivals_per_d : float or ndarray
        How many come in a day, ≥ 0. [d⁻¹]
    residence_d : float or ndarray
        How long each stays, ≥ 0. [d]

    Returns
    -------
    ndarray
        Mean number. [-]

    Raises
    ------
    ValueError
        A negative argument.

    Notes
    -----
    L = λ W; none where none come, however long they would stay.

    Valid: a steady farm: as many come as go.
    Checked: tests/schedules/sand/test_places.py::test_little_s_law_is_what_a_counted_yard_shows

    References
    ----------
    Little, "A Proof for the Queuing Formula: L = λW", Operations Research 9(3), 1961, 383-387
    (from memory).
    """
    if np.any(np.asarray(arrivals_per_d) < 0) or np.any(np.asarray(residence_d) < 0):
        raise ValueError("arrivals_per_d and residence_d cannot be negative")
    come, stay = np.broadcast_arrays(arrivals_per_d, residence_d)
    number: Floats = np.multiply(come, stay, where=come > 0, out=np.zeros(come.shape))
    return number


def pile_residence_d(
    inflow_kg_d: Floats, use_kg_d: Floats, *, place_kg: float, close_d: int, cure_d: int
) -> tuple[Floats, Floats]:
    """Tell how often a pile is begun, and how long it holds its place.

    Parameters
    ----------
    inflow_kg_d, use_kg_d : ndarray
        What is picked up and what beds take in a day, ≥ 0. [kg d⁻¹]
    place_kg : float
        Room of a place, above 0. [kg]
    close_d, cure_d : int
        Days for which a pile takes sand, ≥ 1, and for which it lies then, ≥ 0. [d]

    Returns
    -------
    piles_per_d, residence_d : ndarray
        Piles begun in a day [d⁻¹], and days from the first load to the last bucket [d].

    Raises
    ------
    ValueError
        An argument out of range; it is named.

    Notes
    -----
    A pile is closed when its days are over or its place is full, whichever is first; it cures, and
    is then bedded at the rate of use. Nothing comes where nothing is picked up; without use the
    pile is never bedded.

    Valid: one pile taking sand at a time; bought sand needs places beside these.
    Checked: tests/schedules/sand/test_places.py::test_a_pile_fills_cures_and_is_bedded

    References
    ----------
    Arithmetic of the farm's settings.
    """
    if np.any(inflow_kg_d < 0) or np.any(use_kg_d < 0):
        raise ValueError("inflow_kg_d and use_kg_d cannot be negative")
    if place_kg <= 0 or close_d < 1 or cure_d < 0:
        raise ValueError("place_kg, close_d or cure_d is out of range")
    pile_kg = np.minimum(inflow_kg_d * close_d, place_kg)
    with np.errstate(divide="ignore", invalid="ignore"):
        fill_d = np.where(pile_kg > 0, pile_kg / inflow_kg_d, 0.0)
        draw_d = np.where(pile_kg > 0, pile_kg / use_kg_d, 0.0)
        per_d = np.where(pile_kg > 0, inflow_kg_d / pile_kg, 0.0)
    return per_d, fill_d + cure_d + draw_d


def share_out(need_kg: Floats, batch_kg: Floats) -> Floats:
    """Give each need its sand from the first batch that still has some.

    Parameters
    ----------
    need_kg : ndarray, shape (n_needs,)
        In the order in which they are served, ≥ 0. [kg]
    batch_kg : ndarray, shape (n_batches,)
        In the order in which they are used up: the oldest released first, ≥ 0. [kg]

    Returns
    -------
    ndarray, shape (n_needs, n_batches)
        What each takes of each; less than its need once all is given out. [kg]

    Raises
    ------
    ValueError
        A negative mass.

    Notes
    -----
    Needs and batches are laid end to end along one line; each takes what lies beside it.

    Valid: any batch may go to any pen.
    Checked: tests/schedules/sand/test_places.py::test_pens_are_served_from_the_oldest_on

    References
    ----------
    First in, first out: common practice, no source; the farm's rule for released sand.
    """
    if np.any(need_kg < 0) or np.any(batch_kg < 0):
        raise ValueError("need_kg and batch_kg cannot be negative")
    need_to, batch_to = np.cumsum(need_kg)[:, None], np.cumsum(batch_kg)[None, :]
    begins = np.maximum(need_to - need_kg[:, None], batch_to - batch_kg)
    taken: Floats = np.maximum(np.minimum(need_to, batch_to) - begins, 0.0)
    return taken
