"""Spans of minutes, and when work in them is over."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Spans = list[tuple[float, float]]
Floats = NDArray[np.float64]
_LEAST_RATE = 1e-9
_FAR_MIN = 1e8


def union(spans: Iterable[tuple[float, float]]) -> Spans:
    """Return the union of spans, in order."""
    joined: Spans = []
    for a, b in sorted(spans):
        if joined and a <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(b, joined[-1][1]))
        else:
            joined.append((a, b))
    return joined


def common(spans: Iterable[tuple[float, float]], others: Spans) -> Spans:
    """Return what lies in a span and in another, in order."""
    both = ((max(a, c), min(b, d)) for a, b in spans for c, d in others)
    return sorted((a, b) for a, b in both if a < b)


def cut(spans: Iterable[tuple[float, float]], holes: Iterable[tuple[float, float]]) -> Spans:
    """Return what is left of spans without the holes, in order."""
    left = list(spans)
    for c, d in holes:
        if c < d:
            pieces = [piece for a, b in left for piece in ((a, min(b, c)), (max(a, d), b))]
            left = [(a, b) for a, b in pieces if a < b]
    return sorted(left)


def first_ends(
    from_min: Floats,
    work_min: float,
    spans: Spans,
    rests: Sequence[tuple[float, float, float]],
    last_start_min: float,
) -> Floats:
    """Return when work is over that begins as early as it goes, whole inside one span.

    Parameters
    ----------
    from_min : ndarray, shape (n,)
        Instants from which on it may begin. [min]
    work_min : float
        [min]
    spans : list of (start, end)
        In order; those that overlap count each for itself. [min]
    rests : sequence of (start, end, rate)
        When a minute yields only so much work; [min, min, -]

    Returns
    -------
    ndarray, shape (n,)
        Infinite where it cannot be. [min]
    """
    clock, done = _clock(rests)
    ends = np.full(len(from_min), np.inf)
    for a, b in spans:
        starts = np.maximum(from_min, a)
        over = np.interp(np.interp(starts, clock, done) + work_min, done, clock)
        fits = (over <= b + 1e-9) & (starts <= last_start_min + 1e-9)
        ends = np.minimum(ends, np.where(fits, over, np.inf))
    return ends


def _clock(rests: Sequence[tuple[float, float, float]]) -> tuple[Floats, Floats]:
    """Return instants, and the work that one can have done by them."""
    edges = sorted({-_FAR_MIN, _FAR_MIN, *(e for a, b, _ in rests for e in (a, b))})
    done = [0.0]
    for a, b in pairwise(edges):
        rates = [rate for c, d, rate in rests if c <= a and b <= d]
        done.append(done[-1] + (b - a) * max(_LEAST_RATE, min(rates, default=1.0)))
    return np.array(edges), np.array(done)
