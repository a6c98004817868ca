"""Child processes that never outlive their parent (Linux)."""

import ctypes
import os
import pwd
import signal
import subprocess
import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any

PR_SET_PDEATHSIG = 1  # linux/prctl.h
LIBC = ctypes.CDLL(None, use_errno=True)


@dataclass(frozen=True, slots=True)
class Program:
    """One program: how it starts, how it is asked to stop, how long that may take.

    `keeps_lock`: it inherits the handle of the data folder's lock, and so holds it while it lives.
    """

    name: str
    argv: tuple[str, ...]
    stop_signal: signal.Signals = signal.SIGTERM
    grace_s: float = 10.0
    as_account: bool = False
    keeps_lock: bool = False
    cwd: str = "/"
    env: Mapping[str, str] = field(default_factory=dict)
    harmless: str = ""  # lines that hold these words are left out of the log


def account() -> dict[str, Any]:
    """Return Popen's arguments for the servers' account: PostgreSQL refuses to run as root."""
    if os.geteuid():
        return {}
    nobody = pwd.getpwnam("nobody")
    return {"user": nobody.pw_uid, "group": nobody.pw_gid, "extra_groups": []}


def own(folder: Path) -> None:
    """Make `folder` for the servers' account alone."""
    folder.mkdir(parents=True, exist_ok=True)
    if who := account():
        os.chown(folder, who["user"], who["group"])
    folder.chmod(0o700)


def die_with_parent(stop_signal: signal.Signals) -> Callable[[], None]:
    """Return a preexec_fn: the child gets its stop signal when the parent dies, even by kill -9.

    It must run after the change of user, which clears the request (prctl(2)); Popen does so.
    """
    parent = os.getpid()

    def ask_kernel() -> None:
        LIBC.prctl(PR_SET_PDEATHSIG, int(stop_signal))
        if os.getppid() != parent:  # it died between fork and prctl
            os._exit(1)

    return ask_kernel


def spawn(
    program: Program, output: IO[bytes] | int, inherited: tuple[int, ...] = ()
) -> subprocess.Popen[bytes]:
    """Start the program in a group of its own. Main thread only: the death signal follows threads.

    Without the group a Ctrl-C in the terminal would reach all at once, the database before its
    clients.
    """
    return subprocess.Popen(
        program.argv,
        stdin=subprocess.DEVNULL,
        stdout=output,
        stderr=subprocess.STDOUT,
        cwd=program.cwd,
        env={**os.environ, "PYTHONUNBUFFERED": "1", **program.env},
        process_group=0,
        pass_fds=inherited if program.keeps_lock else (),
        preexec_fn=die_with_parent(program.stop_signal),  # noqa: PLW1509 - no threads here
        **(account() if program.as_account else {}),
    )


def stop(program: Program, child: subprocess.Popen[bytes]) -> None:
    """Ask, wait the grace, then end the whole group."""
    if child.poll() is None:
        child.send_signal(program.stop_signal)
        try:
            child.wait(program.grace_s)
        except subprocess.TimeoutExpired:
            print(f"{program.name} did not stop in {program.grace_s:g} s", file=sys.stderr)
    kill_group(child)
    child.wait()


def kill_group(child: subprocess.Popen[bytes]) -> None:
    """End what is left of the child's group."""
    try:
        os.killpg(child.pid, signal.SIGKILL)
    except ProcessLookupError:
        return
