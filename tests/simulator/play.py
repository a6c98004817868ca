"""Plays histories: node runs the phones' program, this process is the server."""

from __future__ import annotations

import gc
import json
import os
import subprocess
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from schedules.phone.program import FILES
from tests.nodes import node_tools

from .remembered import reads_remembered
from .server import SABOTAGES, Server, line_of

HERE = Path(__file__).parent


@dataclass(frozen=True, slots=True)
class Found:
    """What came of one history; without a fault all that must hold held."""

    seed: int
    hash: str | None
    n_steps: int
    counts: dict[str, int]
    fault: str | None
    trace: list[str] = field(default_factory=list)


def play(
    server: Server,
    seeds: Sequence[int],
    *,
    n_phones: int = 3,
    sabotage: str | None = None,
    trace: bool = False,
    plain: bool = False,
) -> Iterator[Found]:
    """Play one history a seed, in a database transaction that the caller undoes.

    `plain` reads everything anew at each look, which changes nothing but the time it takes.
    """
    given = {"seeds": list(seeds), "n_phones": n_phones, "sabotage": sabotage, "trace": trace}
    command = ["node", "--experimental-vm-modules", "--no-warnings", str(HERE / "run.mjs")]
    environment = {
        **os.environ,
        "NODE_TOOLS": str(node_tools()),
        "PHONE_FILES": str(FILES),
    }
    switched_off: Any = SABOTAGES.get(sabotage or "", nullcontext)
    with (
        switched_off(),
        nullcontext() if plain else reads_remembered(),
        _rarely_collected(),
        subprocess.Popen(
            [*command, json.dumps(given)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            env=environment,
        ) as node,
    ):
        assert node.stdin is not None
        assert node.stdout is not None
        try:
            for line in node.stdout:
                op = json.loads(line)
                if op["op"] == "found":
                    yield Found(**{k: v for k, v in op.items() if k != "op"})
                elif op["op"] != "over":
                    node.stdin.write(line_of(server.answer(op)) + "\n")
                    node.stdin.flush()
        finally:
            node.kill()


@contextmanager
def _rarely_collected() -> Iterator[None]:
    """Leave what was there before out of the search for garbage, and search seldom."""
    gc.collect()
    gc.freeze()
    before = gc.get_threshold()
    gc.set_threshold(100_000, 20, 50)
    try:
        yield
    finally:
        gc.set_threshold(*before)
        gc.unfreeze()
