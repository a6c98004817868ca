"""Arithmetic on spans of whole seconds, start inside and end outside, for the search."""

from __future__ import annotations

from collections.abc import Iterable

NEVER = 1 << 60

Span = tuple[int, int]
SlowSpan = tuple[int, int, int]
"""A span, and the work seconds that 60 s in it yield (60: no rest is owed)."""


def cut(spans: Iterable[Span], holes: Iterable[Span]) -> list[Span]:
    """Return what is left of each span without the holes, in order of start."""
    left = list(spans)
    for hole in holes:
        left = [piece for span in left for piece in _without(span, hole)]
    return sorted(left)


def _without(span: Span, hole: Span) -> Iterable[Span]:
    (start, end), (a, b) = span, hole
    if end <= a or b <= start:
        return (span,)
    return tuple(piece for piece in ((start, a), (b, end)) if piece[0] < piece[1])


def common(spans: Iterable[Span], others: Iterable[Span]) -> list[Span]:
    """Return the parts of each span that lie in one of the others, in order of start."""
    others = list(others)
    parts = ((max(s, a), min(e, b)) for s, e in spans for a, b in others)
    return sorted((s, e) for s, e in parts if s < e)


def merged(spans: Iterable[Span]) -> list[Span]:
    """Return the union of spans as spans that neither overlap nor touch."""
    union: list[Span] = []
    for start, end in sorted(spans):
        if union and start <= union[-1][1]:
            union[-1] = (union[-1][0], max(end, union[-1][1]))
        else:
            union.append((start, end))
    return union


def end_of_work(start: int, work: int, slow: list[SlowSpan]) -> int:
    """Return when work begun at `start` is done, rests in the slow spans counted, rounded up.

    The end never moves back when the start moves on: the search rests on that.
    """
    left, at = work * 60, start
    for a, b, rate in slow:
        if b <= at:
            continue
        if a > at:
            if left <= (a - at) * 60:
                break
            left -= (a - at) * 60
            at = a
        if left <= (b - at) * rate:
            return at - (-left // rate)
        left -= (b - at) * rate
        at = b
    return at - (-left // 60)


def is_no_slower(one: list[SlowSpan], other: list[SlowSpan]) -> bool:
    """Whether work under `one` is at no moment slower than under `other`."""
    edges = {edge for a, b, _ in (*one, *other) for edge in (a, b)}
    return all(_rate_at(one, edge) >= _rate_at(other, edge) for edge in edges)


def _rate_at(slow: list[SlowSpan], at: int) -> int:
    return next((rate for a, b, rate in slow if a <= at < b), 60)
