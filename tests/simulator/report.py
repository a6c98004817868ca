"""Prints what histories came to."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

from .many import play_many
from .play import Found, play
from .server import SABOTAGES, Server

IN_PROGRAM = (
    "no overlay",
    "let go once sent",
    "a restore goes unnoticed",
    "cursor before its documents",
    "a photo counts as sent unanswered",
    "photos sent before a restore are not sent again",
    "taken back though it is being sent",
    "what is taken back leaves a hole",
    "a photo about nothing goes out",
    "a photo goes before its word",
)
ALL_SABOTAGES = (*SABOTAGES, *IN_PROGRAM)


def play_and_tell(
    seeds: Sequence[int], n_phones: int, *, n_processes: int, state: Path | None
) -> int:
    """Play, print each chunk and fault with its seed, and a summary; 1 where there was a fault."""
    started = time.monotonic()
    sums: Counter[str] = Counter()
    n_done = n_faults = 0
    for chunk in play_many(seeds, n_phones, n_processes=n_processes, state=state):
        sums.update(chunk.counts)
        n_done += len(chunk.seeds)
        n_faults += len(chunk.faults)
        for seed, fault in chunk.faults:
            print(f"seed {seed}: {fault}")
        took_s = time.monotonic() - started
        told = f"seeds {chunk.seeds[0]}..{chunk.seeds[-1]} {chunk.hash[:12]}"
        print(
            f"{told}: {n_done} of {len(seeds)} done, {n_faults} faults, {took_s:.0f} s", flush=True
        )
    facts = ", ".join(f"{n} {name}" for name, n in sums.items())
    print(f"{n_done} histories of {n_phones} phones: {facts}; {n_faults} with a fault")
    return 1 if n_faults else 0


def trace(seeds: Sequence[int], n_phones: int, sabotage: str | None) -> int:
    """Print every step of each history; 1 where something that must hold did not."""
    n_faults = 0
    for found in play(Server(n_phones), seeds, n_phones=n_phones, sabotage=sabotage, trace=True):
        print("\n".join(found.trace))
        print(f"seed {found.seed}: {found.fault or found.hash}")
        n_faults += found.fault is not None
    return 1 if n_faults else 0


def first_fault(server: Server, seeds: Sequence[int], n_phones: int, sabotage: str) -> Found | None:
    """Give the first history in which a sabotage is found out."""
    histories = play(server, seeds, n_phones=n_phones, sabotage=sabotage)
    return next((found for found in histories if found.fault), None)


def tell_sabotages(seeds: Sequence[int], n_phones: int, names: Sequence[str]) -> int:
    """Print a table: what was switched off, and by which seed and fault it was found out."""
    n_missed = 0
    server = Server(n_phones)
    for name in names:
        found = first_fault(server, seeds, n_phones, name)
        n_missed += found is None
        words = f"seed {found.seed}: {found.fault}" if found else "NOT FOUND OUT"
        print(f"{name:50} {words.splitlines()[0][:120]}", flush=True)
    return 1 if n_missed else 0
