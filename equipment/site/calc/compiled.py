"""Loops over members, days and places, compiled: what no array expression can say."""

from collections.abc import Callable
from typing import Any, ParamSpec, TypeVar, cast

import numba
import numba.types

P = ParamSpec("P")
R = TypeVar("R")

_NO_ARRAYS: dict[str, Any] = {"_nrt": False}  # not in numba's own type hints


def compiled(function: Callable[P, R]) -> Callable[P, R]:
    """Compile a loop over numbers and arrays of numbers on its first call.

    Parameters
    ----------
    function : callable
        Takes floats, integers, booleans, tuples and arrays of them, and gives them back but for
        arrays of its own: it fills those that it is given. Calls only the like.

    Returns
    -------
    callable
        The same, compiled. Floating point keeps IEEE 754's order of operations, so that the same
        input gives the same bits; dividing by zero gives infinity or NaN and raises nothing: who
        calls refuses nonsense first.

    Notes
    -----
    The machine code is kept beside the source, or where NUMBA_CACHE_DIR says. Since no array is
    made inside, nothing counts who holds one (numba's `_nrt`, which refuses what makes an array),
    and small functions are laid into their callers: the year ahead takes a third of the time.
    """
    return _compiled(function, forceinline=True)


def compiled_apart(function: Callable[P, R]) -> Callable[P, R]:
    """Compile a loop as `compiled` does, but leave it a function of its own where it is called.

    For what is long or called from many places: laid into each, it would be compiled each time.
    """
    return _compiled(function)


def _compiled(function: Callable[P, R], **options: Any) -> Callable[P, R]:
    jit = numba.njit(cache=True, error_model="numpy", nogil=True, **_NO_ARRAYS, **options)(function)
    ask = jit.get_call_template

    def ask_plainly(args: Any, kws: Any) -> Any:
        """Take a written number as any number, or numba compiles anew for each that is written."""
        plain: Any = numba.types.unliteral
        return ask(tuple(plain(kind) for kind in args), {k: plain(kind) for k, kind in kws.items()})

    jit.get_call_template = ask_plainly
    return cast("Callable[P, R]", jit)
