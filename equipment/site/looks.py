"""One look at the farm: what several parts of a page read alike is read once."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import wraps
from typing import Any, ParamSpec, TypeVar

P = ParamSpec("P")
R = TypeVar("R")
_look: ContextVar[dict[Any, Any] | None] = ContextVar("look", default=None)


@contextmanager
def one_look() -> Iterator[None]:
    """Remember within this block what functions marked `once_a_look` give. Nothing may be written.

    One look in another is a part of it.
    """
    token = _look.set({}) if _look.get() is None else None
    try:
        yield
    finally:
        if token is not None:
            _look.reset(token)


@contextmanager
def aside() -> Iterator[None]:
    """Read anew within this block, whatever look it is in: for what is written and undone again."""
    token = _look.set(None)
    try:
        yield
    finally:
        _look.reset(token)


def once_a_look(read: Callable[P, R]) -> Callable[P, R]:
    """Mark a read whose result nobody changes, so that one look makes it once.

    Its arguments must be hashable. Outside of a look it is made anew each time.
    """

    @wraps(read)
    def remembered(*args: P.args, **kwargs: P.kwargs) -> R:
        known = _look.get()
        if known is None:
            return read(*args, **kwargs)
        question = (read, args, tuple(sorted(kwargs.items())))
        if question not in known:
            known[question] = read(*args, **kwargs)
        return known[question]  # type: ignore[no-any-return]

    return remembered


def know(read: Callable[..., R], value: R, *args: Any) -> None:
    """Tell the look what a marked read would give for some arguments, since it is at hand."""
    known = _look.get()
    if known is not None:
        known[read.__wrapped__, args, ()] = value  # type: ignore[attr-defined]
