"""What a benchmark is: two ways to the same answer, and how their times may differ."""

import hashlib
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from statistics import median


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One comparison; `ours` and `reference` do the whole work each time they are called.

    `at_most` bounds the median of ours over reference; `reference_file`, written before ours was
    made fast, stands with its hash in the table.
    """

    name: str
    ours: Callable[[], object]
    reference: Callable[[], object]
    at_most: float
    reference_file: Path
    rounds: int = 7

    @property
    def reference_hash(self) -> str:
        return hashlib.sha256(self.reference_file.read_bytes()).hexdigest()[:12]


@dataclass(frozen=True, slots=True)
class Timing:
    """Seconds of one case, round by round, the two taking turns."""

    case: Case
    ours_s: list[float]
    reference_s: list[float]

    @property
    def ratio(self) -> float:
        return median(a / b for a, b in zip(self.ours_s, self.reference_s, strict=True))

    @property
    def is_met(self) -> bool:
        return self.ratio <= self.case.at_most


def measure(case: Case) -> Timing:
    """Run both once to warm up, then in turns."""
    case.ours(), case.reference()
    pairs = [(_seconds(case.ours), _seconds(case.reference)) for _ in range(case.rounds)]
    return Timing(case, [a for a, _ in pairs], [b for _, b in pairs])


def _seconds(run: Callable[[], object]) -> float:
    begun = time.perf_counter()
    run()
    return time.perf_counter() - begun
