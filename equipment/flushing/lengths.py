"""How long a timer's run takes: valve open, wave through the alley, drained."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from itertools import accumulate
from math import ceil

from . import calc
from .models import FlushTimer


@dataclass(frozen=True, slots=True)
class RunLength:
    """A run of one timer: how long its valve is open, how long until the alley is drained."""

    open: timedelta
    total: timedelta
    volume_m3: float


def flush_of(timer: FlushTimer) -> calc.AlleyFlush:
    """Give a timer's flush as the equations see it."""
    return calc.AlleyFlush(
        length_m=timer.alley.length_m,
        width_m=timer.alley.width_m,
        slope_frac=timer.alley.slope_frac,
        flow_m3_s=timer.flow_m3_s,
        open_s=timer.open_s,
    )


def length_of(timer: FlushTimer) -> RunLength:
    """Give a timer's run in whole seconds, rounded up."""
    flush = flush_of(timer)
    return RunLength(
        open=timedelta(seconds=ceil(flush.open_s)),
        total=timedelta(seconds=ceil(flush.duration_s)),
        volume_m3=flush.volume_m3,
    )


def waits_in_set(lengths: Sequence[RunLength]) -> list[timedelta]:
    """How long each run of a set on one tank waits for the valves before it."""
    return list(accumulate((length.open for length in lengths[:-1]), initial=timedelta(0)))


def set_length(lengths: Sequence[RunLength]) -> timedelta:
    """From the first valve's opening until all alleys of a set on one tank are drained."""
    waits = waits_in_set(lengths)
    return max(wait + length.total for wait, length in zip(waits, lengths, strict=True))
