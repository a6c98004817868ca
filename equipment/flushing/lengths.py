"""How long a timer's run takes: valve open, wave through the alley, drained."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from itertools import accumulate

from .models import FlushTimer

WAVE_M_S = 1.524  # 5 ft/s: University of Missouri Extension WQ313, flushing systems
DRAIN = timedelta(minutes=3)  # until the alley is drained; common practice, no source


@dataclass(frozen=True, slots=True)
class RunLength:
    """A run of one timer: how long its valve is open, how long until the alley is drained."""

    open: timedelta
    total: timedelta
    volume_m3: float


def length_of(timer: FlushTimer) -> RunLength:
    open_for = timedelta(seconds=timer.open_s)
    runs_down = timedelta(seconds=timer.alley.length_m / WAVE_M_S)
    return RunLength(
        open=open_for,
        total=open_for + runs_down + DRAIN,
        volume_m3=timer.open_s * timer.flow_m3_s,
    )


def waits_in_set(lengths: Sequence[RunLength]) -> list[timedelta]:
    """How long each run of a set on one tank waits for the valves before it."""
    return list(accumulate((length.open for length in lengths[:-1]), initial=timedelta(0)))


def set_length(lengths: Sequence[RunLength]) -> timedelta:
    """From the first valve's opening until all alleys of a set on one tank are drained."""
    waits = waits_in_set(lengths)
    return max(wait + length.total for wait, length in zip(waits, lengths, strict=True))
