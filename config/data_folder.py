"""The folder that holds one farm's data, its secret and what is known of the running `up`."""

import fcntl
import json
import os
import secrets
import time
from pathlib import Path
from typing import IO, Any, cast

from config.rooms import BASE_DIR
from config.stores import Places

LAST_RUN_ENDS_WITHIN_S = 20.0  # the stores' own stop after `up` was killed


class InUseError(Exception):
    """Another `up` serves this folder."""


def default_root() -> Path:
    """Return PENROUND_DATA, else the system's place for root and `./var` for others."""
    if named := os.environ.get("PENROUND_DATA"):
        return Path(named)
    return BASE_DIR / "var" if os.geteuid() else Path("/var/lib/penround")


class DataFolder:
    def __init__(self, root: Path) -> None:
        self.root = root.absolute()
        self.places = Places(self.root)
        self.static = self.root / "static"
        self.media = self.root / "media"
        self.pids = self.root / "run" / "pids.json"
        self.environment = self.root / "run" / "environment.json"
        self.backup_record = self.root / "last-backup.json"

    def make(self) -> None:
        """Make the folders; root's are open for passing through, since the stores run as nobody."""
        self.root.mkdir(parents=True, exist_ok=True)
        self.root.chmod(0o700 if os.geteuid() else 0o711)
        self.pids.parent.mkdir(mode=0o700, exist_ok=True)

    def lock(self) -> IO[bytes]:
        """Take the folder. The stores inherit the handle, so it is free only when they are gone."""
        handle = (self.root / "up.lock").open("wb")
        deadline = time.monotonic() + LAST_RUN_ENDS_WITHIN_S
        while True:
            try:
                fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                if self._supervisor_lives() or time.monotonic() > deadline:
                    handle.close()
                    raise InUseError(self._who_uses_it()) from None
                time.sleep(0.1)
            else:
                return handle

    def _supervisor_lives(self) -> bool:
        pid = self.read_pids().get("supervisor")
        return pid is not None and Path(f"/proc/{pid}").exists()

    def _who_uses_it(self) -> str:
        known = self.read_pids()
        return (
            f"Penround already runs on {self.root}: process {known.get('supervisor', 'unknown')}, "
            f"{known.get('url', 'address unknown')}. "
            "Stop it first, or name another folder with --data."
        )

    def secret_key(self) -> str:
        """Return the key that signs cookies, made once and readable by its owner alone."""
        path = self.root / "secret_key"
        if not path.exists():
            handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(handle, "w") as file:
                file.write(secrets.token_urlsafe(64))
        return path.read_text()

    def key_files(self) -> list[str]:
        """Name the files, relative to the folder, that sign for the farm: cookies and TLS."""
        found = [self.root / "secret_key", *sorted((self.root / "tls").glob("*"))]
        return [str(path.relative_to(self.root)) for path in found if path.is_file()]

    def read_pids(self) -> dict[str, Any]:
        """Return `{"supervisor": pid, "url": address, "children": {name: pid}}`, or nothing."""
        try:
            return cast("dict[str, Any]", json.loads(self.pids.read_text()))
        except FileNotFoundError:
            return {}

    def write_pids(self, url: str, children: dict[str, int]) -> None:
        body = {"supervisor": os.getpid(), "url": url, "children": children}
        write_private(self.pids, json.dumps(body))

    def write_environment(self, environment: dict[str, str]) -> None:
        """Keep what the service runs on, for the commands of a second terminal."""
        write_private(self.environment, json.dumps(environment))

    def forget_run(self) -> None:
        self.pids.unlink(missing_ok=True)
        self.environment.unlink(missing_ok=True)


def write_private(path: Path, text: str) -> None:
    """Replace the file in one step; a reader sees the old text or the new."""
    part = path.with_suffix(".part")
    part.unlink(missing_ok=True)
    with os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
        file.write(text)
    part.replace(path)


def adopt_environment() -> None:
    """Let a command work on the farm that `up` serves now, unless the servers are named."""
    file = DataFolder(default_root()).environment
    if "DATABASE_URL" in os.environ or not file.exists():
        return
    for name, value in json.loads(file.read_text()).items():
        os.environ.setdefault(name, value)
