"""Histories in two test files, since a file goes to one process of the suite."""

import logging

from .many import CHUNK, play_chunk

N_SEEDS = 500
N_PHONES = 3


def chunks_of(seeds: range) -> list[range]:
    """Part seeds into rows, each a test with a site and a program of its own."""
    return [seeds[at : at + CHUNK] for at in range(0, len(seeds), CHUNK)]


def hold_what_must_hold(seeds: range) -> None:
    """Play; no history may have a fault, and together they must have met every kind of trouble."""
    logging.disable(logging.ERROR)  # requests that are cut end as errors
    try:
        chunk = play_chunk(seeds, N_PHONES)
    finally:
        logging.disable(logging.NOTSET)

    assert chunk.faults == []
    assert {name for name, n in chunk.counts.items() if n == 0} == set()
    assert chunk.counts["crashes"] > len(seeds)
