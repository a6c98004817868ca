"""Many histories on several processes, each with its own database and node; a seed decides all.

What is done is appended to a state file, a line a chunk, so that a long run may be stopped at any
time and goes on where it stopped.
"""

from __future__ import annotations

import hashlib
import json
import logging
import multiprocessing
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import connection, connections, transaction

from schedules.phone.program import FILES

from .play import HERE, play
from .server import Server

CHUNK = 25  # seeds


@dataclass(frozen=True, slots=True)
class Chunk:
    """What came of some seeds: sums of counts, the hash of all hashes, and each fault."""

    seeds: list[int]
    hash: str
    counts: dict[str, int]
    faults: list[tuple[int, str]]


class OtherProgramError(Exception):
    """A state file of another program or simulation."""


def play_chunk(seeds: Sequence[int], n_phones: int) -> Chunk:
    """Play some seeds on a site that is made for them and undone."""
    counts: dict[str, int] = {}
    faults: list[tuple[int, str]] = []
    digest = hashlib.sha256()
    with transaction.atomic():
        for found in play(Server(n_phones), seeds, n_phones=n_phones):
            digest.update(f"{found.hash}".encode())
            for name, n in found.counts.items():
                counts[name] = counts.get(name, 0) + n
            if found.fault:
                faults.append((found.seed, found.fault))
        transaction.set_rollback(True)
    return Chunk(list(seeds), digest.hexdigest(), counts, faults)


def play_many(
    seeds: Sequence[int], n_phones: int, *, n_processes: int, state: Path | None = None
) -> Iterator[Chunk]:
    """Give each chunk as it is done, those that a state file has first."""
    chunks = [tuple(seeds[at : at + CHUNK]) for at in range(0, len(seeds), CHUNK)]
    known = _known(state, n_phones)
    left = [chunk for chunk in chunks if chunk not in known]
    yield from (known[chunk] for chunk in chunks if chunk in known)
    for done in _played(left, n_phones, n_processes):
        if state is not None:
            with state.open("a") as file:
                file.write(json.dumps(asdict(done)) + "\n")
        yield done


def _played(left: list[tuple[int, ...]], n_phones: int, n_processes: int) -> Iterator[Chunk]:
    if n_processes == 1:
        yield from (play_chunk(chunk, n_phones) for chunk in left)
        return
    for number in range(n_processes):
        connection.creation.clone_test_db(suffix=str(number), verbosity=0)
    connections.close_all()
    fork = multiprocessing.get_context("fork")
    numbers = fork.Queue()
    for number in range(n_processes):
        numbers.put(number)
    with fork.Pool(n_processes, _begin, (numbers,)) as pool:
        yield from pool.imap_unordered(_play, [(chunk, n_phones) for chunk in left])


def _begin(numbers: Any) -> None:
    """Take a database of one's own."""
    logging.disable(logging.ERROR)
    name = connection.creation.get_test_db_clone_settings(str(numbers.get()))["NAME"]
    connection.settings_dict["NAME"] = name
    settings.MEDIA_ROOT = Path(tempfile.mkdtemp(dir=settings.MEDIA_ROOT))


def _play(given: tuple[tuple[int, ...], int]) -> Chunk:
    return play_chunk(*given)


def _known(state: Path | None, n_phones: int) -> dict[tuple[int, ...], Chunk]:
    """Read what is done; a file of another program says nothing of this one and is refused."""
    if state is None:
        return {}
    head = json.dumps({"program": _program(), "n_phones": n_phones})
    if not state.exists():
        state.write_text(f"{head}\n")
    first, *lines = state.read_text().splitlines()
    if first != head:
        raise OtherProgramError(f"{state} is of another program: name another file, or delete it.")
    done = [Chunk(**json.loads(line)) for line in lines]
    return {tuple(chunk.seeds): chunk for chunk in done}


def _program() -> str:
    """Tell programs apart: the phone's, the server's side of it, and the simulation's."""
    files = [
        *FILES.glob("*.js"),
        *FILES.parent.glob("*.py"),
        *HERE.glob("*.py"),
        *HERE.glob("*.mjs"),
    ]
    digest = hashlib.sha256()
    for file in sorted(files):
        digest.update(file.read_bytes())
    return digest.hexdigest()[:16]
