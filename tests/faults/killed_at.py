"""Runs a command of ours and kills it with -9 at one point: as a function is called the n-th time.

python -m tests.faults.killed_at MODULE:FUNCTION:N [--without GUARD] COMMAND [ARGS]

`subprocess.run:PROGRAM` lets that program begin first, so that it is killed in its midst.
"""

import importlib
import os
import signal
import subprocess
import sys
from collections.abc import Callable
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from config import backup, disk
from config.commands import run_command


def die() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def die_at(module: str, function: str, n: int) -> None:
    """Let the n-th call of a function be the end."""
    owner = importlib.import_module(module)
    really, seen = getattr(owner, function), []

    def called(*given: Any, **named: Any) -> Any:
        seen.append(1)
        if len(seen) == n:
            die()
        return really(*given, **named)

    setattr(owner, function, called)


def die_while_running(program: str) -> None:
    """Let a program begin, and be killed with what it then does."""
    really = subprocess.run

    def begun(argv: list[Any], *given: Any, **named: Any) -> Any:
        if Path(argv[0]).name != program:
            return really(argv, *given, **named)
        silent: dict[str, Any] = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        dying = {key: value for key, value in named.items() if key in {"preexec_fn", "user"}}
        subprocess.Popen(argv, cwd="/", **silent, **dying)
        die()
        return None

    subprocess.run = begun  # type: ignore[assignment]


def without_temporary_name() -> None:
    """Take a guard out: the backup is written under its own name from the first byte."""

    @contextmanager
    def at_once(target: Path) -> Any:
        target.mkdir()
        yield target

    backup.half_made = at_once


def without_one_step() -> None:
    """Take a guard out: the old folder goes, and only then the new one comes."""

    def two_steps(one: Path, other: Path) -> None:
        other.rename(one.with_name("between"))
        disk.free_bytes(one)  # the second call in a restore: a point to be killed at
        one.rename(other)
        one.with_name("between").rename(one)

    disk.exchange = two_steps


GUARDS: dict[str, Callable[[], None]] = {
    "temporary_name": without_temporary_name,
    "one_step": without_one_step,
}


def main(argv: list[str]) -> int:
    point, *rest = argv
    if rest[0] == "--without":
        GUARDS[rest[1]]()
        rest = rest[2:]
    module, function, *n = point.split(":")
    if module == "subprocess.run":
        die_while_running(function)
    else:
        die_at(module, function, int(n[0]))
    return run_command(["manage.py", *rest])


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
