"""Keeps children running, merges their lines into one log, stops them in reverse order."""

import contextlib
import os
import selectors
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Generator, Iterator
from dataclasses import dataclass
from types import FrameType

from config.processes import Program, kill_group, spawn

Condition = Callable[[], bool]
Plan = Iterator[Condition]
Stuck = Callable[[float], bool]  # given for how many seconds the process has run

FIRST_PAUSE_S = 0.5
LONGEST_PAUSE_S = 30.0
STEADY_AFTER_S = 30.0
READY_TIMEOUT_S = 60.0


class StartError(Exception):
    """What cannot be started; the message is for people."""


class Log:
    """One readable log: clock, name, line."""

    def write(self, name: str, line: str) -> None:
        try:
            print(f"{time.strftime('%H:%M:%S')} {name:<8}| {line}", flush=True)
        except OSError:  # who read the log is gone: stop, as for any other closed terminal
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            os.kill(os.getpid(), signal.SIGTERM)


@dataclass(slots=True)
class Child:
    """One program with its present process."""

    program: Program
    process: subprocess.Popen[bytes]
    started_at: float
    is_kept: bool
    is_stuck: Stuck
    fails: int = 0
    restart_at: float | None = None
    rest: bytes = b""  # of a line whose end is still to come

    def is_running(self) -> bool:
        return self.process.poll() is None


class Supervisor:
    """Runs a plan: a generator that starts children and yields what to wait for next.

    Single-threaded on purpose: the kernel's death signal follows the thread that started a child.
    """

    def __init__(self, log: Log, publish: Callable[[dict[str, int]], None]) -> None:
        self._log = log
        self._publish = publish
        self._children: dict[str, Child] = {}  # in order of start
        self._selector = selectors.DefaultSelector()
        self._stop_requests = 0
        self.inherited: tuple[int, ...] = ()

    # Start ------------------------------------------------------------------------------------
    def keep(
        self, program: Program, is_ready: Condition, is_stuck: Stuck = lambda running_s: False
    ) -> Plan:
        """Start a program that is restarted when it ends or is stuck; wait until it is ready."""
        child = self._start(program, is_stuck, is_kept=True)
        deadline = time.monotonic() + READY_TIMEOUT_S

        def ready_in_time() -> bool:
            if time.monotonic() > deadline:
                raise StartError(f"{program.name} is not ready after {READY_TIMEOUT_S:g} s")
            return child.is_running() and is_ready()

        yield ready_in_time

    def run_once(self, program: Program) -> Generator[Condition, None, int]:
        """Run a program to its end; return its exit code."""
        return (yield from self.finish(self.begin(program)))

    def begin(self, program: Program) -> Child:
        """Start a program that ends by itself beside what comes next; `finish` waits for it."""
        return self._start(program, lambda running_s: False, is_kept=False)

    def finish(self, child: Child) -> Generator[Condition, None, int]:
        """Wait for the end of a program that was begun; return its exit code."""
        yield lambda: not child.is_running()
        self._drain(child)
        del self._children[child.program.name]
        self._publish_children()
        return child.process.returncode

    def _start(self, program: Program, is_stuck: Stuck, *, is_kept: bool) -> Child:
        process = spawn(program, subprocess.PIPE, self.inherited)
        child = Child(program, process, time.monotonic(), is_kept, is_stuck)
        self._children[program.name] = child
        self._watch(child)
        return child

    def _watch(self, child: Child) -> None:
        assert child.process.stdout is not None
        os.set_blocking(child.process.stdout.fileno(), False)
        self._selector.register(child.process.stdout, selectors.EVENT_READ, child)
        self._publish_children()

    def _publish_children(self) -> None:
        self._publish({name: each.process.pid for name, each in self._children.items()})

    # Run --------------------------------------------------------------------------------------
    def run(self, plan: Plan) -> int:
        """Follow the plan, then keep watch until a signal comes; stop all; return the exit code."""
        with self._signals():
            try:
                self._follow(plan)
            except StartError as fault:
                self._log.write("up", f"cannot start: {fault}")
                return 1
            finally:
                self._stop_all()
        return 0

    def _follow(self, plan: Plan) -> None:
        waiting = next(plan, None)
        while not self._stop_requests:
            self._pump(0.05 if waiting else 1.0)
            self._tend()
            if waiting and waiting():
                waiting = next(plan, None)

    @contextlib.contextmanager
    def _signals(self) -> Iterator[None]:
        """Let SIGINT, SIGTERM, SIGHUP and a child's death wake the loop through a pipe."""
        reader, writer = os.pipe2(os.O_NONBLOCK | os.O_CLOEXEC)
        self._selector.register(reader, selectors.EVENT_READ, None)
        before = signal.set_wakeup_fd(writer, warn_on_full_buffer=False)
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            signal.signal(number, self._request_stop)
        signal.signal(signal.SIGCHLD, lambda number, frame: None)
        try:
            yield
        finally:
            signal.set_wakeup_fd(before)
            self._selector.close()
            os.close(reader)
            os.close(writer)

    def _request_stop(self, number: int, frame: FrameType | None) -> None:
        self._stop_requests += 1

    def _pump(self, timeout_s: float) -> None:
        """Pass on what the children wrote; return at the latest after the timeout."""
        for key, _ in self._selector.select(timeout_s):
            if isinstance(key.data, Child):
                self._read(key.data)
            else:
                os.read(key.fd, 4096)

    def _read(self, child: Child) -> bool:
        """Print the lines that are there; tell whether more may come."""
        assert child.process.stdout is not None
        try:
            chunk = os.read(child.process.stdout.fileno(), 65536)
        except BlockingIOError:
            return False
        *lines, child.rest = (child.rest + chunk).split(b"\n")
        for line in lines:
            self._pass_on(child.program, line.decode(errors="replace").rstrip())
        if not chunk:
            self._selector.unregister(child.process.stdout)
            child.process.stdout.close()
        return bool(chunk)

    def _pass_on(self, program: Program, line: str) -> None:
        if line and not (program.harmless and program.harmless in line):
            self._log.write(program.name, line)

    def _drain(self, child: Child) -> None:
        """Take the last lines of an ended child and end what is left of its group."""
        kill_group(child.process)
        pipe = child.process.stdout
        while pipe is not None and not pipe.closed and self._read(child):
            pass
        if pipe is not None and not pipe.closed:
            self._selector.unregister(pipe)
            pipe.close()

    def _tend(self) -> None:
        """Give each dead child a time to come back, and start those whose time has come."""
        now = time.monotonic()
        for child in self._children.values():
            if not child.is_kept:
                continue
            if child.is_running():
                self._end_if_stuck(child)
            elif child.restart_at is None:
                self._note_death(child, now)
            elif now >= child.restart_at:
                self._restart(child, now)

    def _end_if_stuck(self, child: Child) -> None:
        if child.is_stuck(time.monotonic() - child.started_at):
            self._log.write("up", f"{child.program.name} shows no sign of life; ended")
            kill_group(child.process)

    def _note_death(self, child: Child, now: float) -> None:
        self._drain(child)
        child.fails = 0 if now - child.started_at >= STEADY_AFTER_S else child.fails + 1
        pause_s = min(LONGEST_PAUSE_S, FIRST_PAUSE_S * 2 ** max(0, child.fails - 1))
        child.restart_at = now + pause_s
        code = child.process.returncode
        self._log.write("up", f"{child.program.name} ended ({code}); again in {pause_s:g} s")

    def _restart(self, child: Child, now: float) -> None:
        child.process = spawn(child.program, subprocess.PIPE, self.inherited)
        child.started_at, child.restart_at, child.rest = now, None, b""
        self._watch(child)

    # Stop -------------------------------------------------------------------------------------
    def _stop_all(self) -> None:
        """Stop in reverse order of start, the stores last; a second signal cuts the graces."""
        asked = self._stop_requests
        for child in reversed(list(self._children.values())):
            if child.is_running():
                child.process.send_signal(child.program.stop_signal)
            deadline = time.monotonic() + child.program.grace_s
            while child.is_running() and time.monotonic() < deadline:
                if self._stop_requests > max(asked, 1):
                    break
                self._pump(0.05)
            kill_group(child.process)
            child.process.wait()
            self._drain(child)
