"""A real `manage.py up` in a folder of its own, for tests that watch and kill it."""

import http.client
import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from config.data_folder import DataFolder
from config.rooms import BASE_DIR
from tests.config.waiting import wait_for

OURS = (
    "TEST_SESSION",
    "STATIC_ROOT",
    "DATABASE_URL",
    "REDIS_URL",
    "SECRET_KEY",
    "SITE_URL",
    "DJANGO_SETTINGS_MODULE",
)


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def processes_of(root: Path) -> dict[int, str]:
    """Return every process but this one that names a folder, with its command."""
    found = {}
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit() and int(entry.name) != os.getpid():
            try:
                command = (entry / "cmdline").read_bytes()
                environment = (entry / "environ").read_bytes()
            except (FileNotFoundError, ProcessLookupError, PermissionError):
                continue
            if str(root).encode() in command + environment:
                found[int(entry.name)] = command.replace(b"\0", b" ").decode()
    return found


class Service:
    """Started on a free port; its log is a file. The folder is open for passing, as root's must."""

    def __init__(self, *options: str) -> None:
        self.options = options
        self.root = Path(tempfile.mkdtemp(prefix="penround-up-"))
        self.root.chmod(0o711)
        self.folder = DataFolder(self.root / "data")
        self.log_file = self.root / "log"
        self.port = free_port()
        self.process = self.start()

    def ensure_running(self) -> None:
        if self.process.poll() is not None:
            self.log_file.unlink()
            self.process = self.start()
        self.wait_until_ready()

    def command(self, *options: str) -> list[str]:
        place = ("--data", str(self.folder.root), "--port", str(self.port), "--no-demo")
        command = [sys.executable, str(BASE_DIR / "manage.py"), "up", *place]
        return [*command, *self.options, *options]

    def environment(self) -> dict[str, str]:
        return {name: value for name, value in os.environ.items() if name not in OURS}

    def start(self) -> subprocess.Popen[bytes]:
        with self.log_file.open("ab") as log:
            return subprocess.Popen(
                self.command(), stdout=log, stderr=log, env=self.environment(), process_group=0
            )

    def get(self, path: str, host: str = "localhost") -> tuple[int, dict[str, Any]]:
        """Return status and JSON body; status 0 where nobody answers."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=10)
        try:
            connection.request("GET", path, headers={"Host": host})
            answer = connection.getresponse()
            return answer.status, json.loads(answer.read())
        except OSError:
            return 0, {}
        finally:
            connection.close()

    def log(self) -> str:
        return self.log_file.read_text()

    def has_logged(self, words: str) -> bool:
        assert self.process.poll() is None, f"`up` ended:\n{self.log()}"
        return words in self.log()

    def wait(self, condition: Callable[[], bool], what: str, within_s: float = 60.0) -> None:
        """Wait for the condition; where it does not hold in time, show the log's last lines."""
        try:
            wait_for(condition, what, within_s)
        except AssertionError as fault:
            raise AssertionError(f"{fault}\n{self.log()[-6000:]}") from None

    def wait_until_ready(self) -> None:
        self.wait(lambda: self.has_logged("| ready after"), "`up` says ready", 120)

    def children(self) -> dict[str, int]:
        return dict(self.folder.read_pids().get("children", {}))

    def living(self) -> dict[int, str]:
        """Return every process, child or grandchild, that names our folder."""
        return processes_of(self.root)

    def end(self) -> None:
        """Leave nothing behind, whatever a test did."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGTERM)
            self.process.wait(60)
        for pid in self.living():
            os.kill(pid, signal.SIGKILL)
        shutil.rmtree(self.root)
