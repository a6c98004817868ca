"""`python -m tests.benchmarks [ROOM]`: time the cases of bench_ROOM.py, or all; print one table."""

import os
import sys
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path

from config import compiled_code
from tests.benchmarks.cases import Case, Timing, measure

ROW = "{:<58} {:>9} {:>9} {:>7} {:>8}  {:<12} {}"


def main(room: str = "*") -> int:
    compiled_code.choose_folder()
    print(f"{os.cpu_count()} cores; ratios are medians of paired rounds")
    print(ROW.format("case", "ours s", "ref. s", "ratio", "at most", "ref. hash", ""))
    timings = []
    for case in _cases(room):
        timings.append(measure(case))
        print(_row(timings[-1]), flush=True)
    return 0 if all(t.is_met for t in timings) else 1


def _cases(room: str) -> Iterator[Case]:
    for path in sorted(Path(__file__).parent.glob(f"bench_{room}.py")):
        yield from import_module(f"tests.benchmarks.{path.stem}").cases()


def _row(timing: Timing) -> str:
    case = timing.case
    return ROW.format(
        case.name,
        f"{min(timing.ours_s):.4f}",
        f"{min(timing.reference_s):.4f}",
        f"{timing.ratio:.2f}",
        f"{case.at_most:.2f}",
        case.reference_hash,
        "" if timing.is_met else "MISSED",
    )


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:2]))
