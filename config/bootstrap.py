"""Makes `.venv` from requirements.txt where it is missing or stale, then goes on inside it.

Standard library only: manage.py loads this file by its path, before `config` can be imported.
Refresh of uv.txt: `uv pip compile --universal --python-version 3.11 --generate-hashes`.
"""

from __future__ import annotations

import contextlib
import fcntl
import hashlib
import importlib.util
import os
import re
import subprocess
import sys
import time
import venv
from collections.abc import Iterator
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

OLDEST_PYTHON = (3, 11)
PIN = re.compile(r"^([A-Za-z0-9._-]+)==([^ ;\\]+) *(;?)", re.MULTILINE)


class BootstrapError(Exception):
    """The environment cannot be made; the message says what to type."""


class Environment:
    """The virtual environment of one copy of the project."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self.requirements = root / "requirements.txt"
        self.uv_requirements = root / "config" / "uv.txt"
        self.folder = root / ".venv"
        self.python = self.folder / "bin" / "python"
        self.stamp = self.folder / "penround-stamp"
        self.under_way = self.folder / "penround-under-way"

    def wanted(self) -> str:
        """Name what the environment must hold: the locked packages, for this Python."""
        minor = ".".join(map(str, sys.version_info[:2]))
        return hashlib.sha256(self.requirements.read_bytes() + minor.encode()).hexdigest()

    def is_current(self) -> bool:
        """Tell whether the stamp in .venv is that of the present requirements."""
        try:
            return self.python.exists() and self.stamp.read_text() == self.wanted()
        except FileNotFoundError:
            return False

    def is_inside(self) -> bool:
        """Tell whether the Python that runs this is the environment's own."""
        return Path(sys.prefix).resolve() == self.folder.resolve()

    def outer_python_has_all(self) -> bool:
        """Tell whether the Python that runs this has every locked package (a container).

        One importable package would prove too little: another Django may lie there.
        Pins with a marker are for other platforms or Pythons and are left out.
        """
        pins = PIN.findall(self.requirements.read_text())
        return all(installed(name) == pin for name, pin, marker in pins if not marker)

    def fits_this_python(self) -> bool:
        """Tell whether .venv was made by a Python of this version and was not left half made."""
        minor = ".".join(map(str, sys.version_info[:2]))
        try:
            about = (self.folder / "pyvenv.cfg").read_text()
        except FileNotFoundError:
            return False
        made_by = re.search(r"^version *= *(\d+\.\d+)", about, re.MULTILINE)
        same = made_by is not None and made_by.group(1) == minor
        return same and self.python.exists() and not self.under_way.exists()

    def make(self) -> None:
        """Create or complete .venv. One that fits is completed in place, any other made anew."""
        started = time.monotonic()
        if not self.fits_this_python():
            say("making .venv: only now and when the locked packages change")
            create_venv(self.folder)
        self.under_way.touch()
        say("installing the locked packages into .venv")
        self.install()
        self.under_way.unlink()
        self.stamp.write_text(self.wanted())
        say(f".venv is ready after {time.monotonic() - started:.0f} s")

    def install(self) -> None:
        """Install with uv, which is twice as fast; with pip where uv cannot do it."""
        try:
            self.install_with_uv()
        except (subprocess.CalledProcessError, OSError) as fault:
            say(f"uv could not do it ({fault}); trying again with pip")
            try:
                self.install_with_pip(self.requirements)
            except subprocess.CalledProcessError:
                raise BootstrapError("The packages cannot be installed: see above.") from None

    def install_with_pip(self, requirements: Path) -> None:
        """Let pip check each hash; the lock is complete, so nothing has to be resolved."""
        options = ["--require-hashes", "--no-deps", "--no-compile", "-q"]
        run([self.python, "-m", "pip", "install", *options, "-r", requirements])

    def install_with_uv(self) -> None:
        """Let uv check each hash."""
        uv = self.folder / "bin" / "uv"
        if not uv.exists():
            self.install_with_pip(self.uv_requirements)
        options = ["--require-hashes", "--no-deps", "--python", str(self.python)]
        quiet = [] if sys.stderr.isatty() else ["-q"]
        run([uv, "pip", "install", *options, *quiet, "-r", self.requirements])


def ensure(root: Path) -> None:
    """Return inside a Python that has the locked packages, or go on in one (exec)."""
    if sys.version_info < OLDEST_PYTHON:
        here = ".".join(map(str, sys.version_info[:3]))
        raise BootstrapError(f"Python 3.11 or later is needed; this is {here} ({sys.executable}).")
    keep_bytecode()
    environment = Environment(root)
    if environment.is_inside():
        if not environment.is_current():  # only an outer Python can make it anew
            go_on_in(base_python())
        return
    if environment.outer_python_has_all():
        return
    with locked(environment.requirements):  # `up` and `test` may be started together
        if not environment.is_current():
            environment.make()
    go_on_in(environment.python)


def keep_bytecode() -> None:
    """Compile each module once, when it is first imported, whatever the shell's settings say.

    Compiling all packages beforehand takes longer than making .venv; compiling the imported ones
    at every start makes each process seconds late.
    """
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    sys.dont_write_bytecode = False


def base_python() -> Path:
    """Return the Python that the running virtual environment was made from."""
    return Path(getattr(sys, "_base_executable", sys.executable))


def go_on_in(python: Path) -> None:
    """Replace this process by the same command in another Python."""
    sys.stdout.flush()
    sys.stderr.flush()
    os.execv(python, [str(python), *sys.argv])  # noqa: S606 - no shell is wanted


def installed(name: str) -> str | None:
    """Return the version of an installed package, None where there is none."""
    try:
        return version(name)
    except PackageNotFoundError:
        return None


def create_venv(folder: Path) -> None:
    """Make an empty environment with pip."""
    if importlib.util.find_spec("ensurepip") is None:
        raise BootstrapError(
            "This Python cannot make virtual environments. On Debian and Ubuntu: "
            "apt-get install python3-venv"
        )
    venv.create(folder, with_pip=True, clear=True, symlinks=True)


def run(argv: list[str | Path]) -> None:
    """Run one installer; it may not fetch a Python of its own, and talks on stderr."""
    environment = {
        **os.environ,
        "UV_PYTHON_DOWNLOADS": "never",
        "PIP_ROOT_USER_ACTION": "ignore",
        "PIP_DISABLE_PIP_VERSION_CHECK": "1",
    }
    subprocess.run(argv, check=True, stdout=sys.stderr, env=environment)


@contextlib.contextmanager
def locked(path: Path) -> Iterator[None]:
    """Let one process at a time through."""
    with path.open() as handle:
        fcntl.flock(handle, fcntl.LOCK_EX)
        yield


def say(words: str) -> None:
    """Tell on stderr what is going on."""
    print(f"penround: {words}", file=sys.stderr, flush=True)
