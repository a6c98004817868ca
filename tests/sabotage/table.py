"""What a guard is: a promise, a piece of the source that keeps it, and the tests that miss it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Guard:
    """One guard; `on` stands exactly once in `file`, and with `off` in its place it is gone.

    Each of `tests` (pytest's own names; of a test with cases at least one of them) fails then.
    """

    name: str
    promise: str
    file: str
    on: str
    off: str
    tests: tuple[str, ...]


class NotThereError(Exception):
    """A guard whose text is not in its file, or more than once."""


def switched_off(guard: Guard, text: str) -> str:
    """Give the file's text with the guard off."""
    if (n := text.count(guard.on)) != 1:
        raise NotThereError(f"{guard.file} has this {n} times and not once: {guard.on}")
    return text.replace(guard.on, guard.off)
