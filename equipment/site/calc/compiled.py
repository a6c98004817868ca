"""Loops over members, days and places, compiled: what no array expression can say."""

from collections.abc import Callable
from typing import ParamSpec, TypeVar, cast

import numba

P = ParamSpec("P")
R = TypeVar("R")


def compiled(function: Callable[P, R]) -> Callable[P, R]:
    """Compile a loop over numbers and arrays of numbers on its first call.

    Parameters
    ----------
    function : callable
        Takes and gives floats, integers, booleans, tuples and arrays of them; calls only the like.

    Returns
    -------
    callable
        The same, compiled. Floating point keeps IEEE 754's order of operations, so that the same
        input gives the same bits; dividing by zero gives infinity or NaN and raises nothing: who
        calls refuses nonsense first.

    Notes
    -----
    The machine code is kept beside the source, or where NUMBA_CACHE_DIR says.
    """
    jit = numba.njit(cache=True, error_model="numpy", nogil=True)
    return cast("Callable[P, R]", jit(function))
