"""The first start on a machine with nothing but Python: real virtual environments, no network.

The packages are tiny wheels made here (PEP 427), found in a folder instead of a registry.
"""

import base64
import hashlib
import json
import os
import shutil
import subprocess
import sys
import zipfile
from importlib.metadata import version
from pathlib import Path

import pytest

from config import bootstrap
from config.bootstrap import BootstrapError, Environment
from config.rooms import BASE_DIR

MINOR = ".".join(map(str, sys.version_info[:2]))
ENTRY = """
import importlib.metadata, importlib.util, json, pathlib, sys
root = pathlib.Path(__file__).resolve().parent
spec = importlib.util.spec_from_file_location("bootstrap", root / "config" / "bootstrap.py")
bootstrap = importlib.util.module_from_spec(spec)
spec.loader.exec_module(bootstrap)
try:
    bootstrap.ensure(root)
except bootstrap.BootstrapError as fault:
    sys.exit(str(fault))
print(json.dumps([sys.prefix, importlib.metadata.version("tinything"), sys.argv[1:]]))
"""


def make_wheel(folder: Path, number: str) -> str:
    """Make a wheel with one module; return its line for a lock file, hash included."""
    wheel = folder / f"tinything-{number}-py3-none-any.whl"
    about = f"tinything-{number}.dist-info"
    files = {
        "tinything.py": f"number = {number!r}\n",
        f"{about}/METADATA": f"Metadata-Version: 2.1\nName: tinything\nVersion: {number}\n",
        f"{about}/WHEEL": "Wheel-Version: 1.0\nRoot-Is-Purelib: true\nTag: py3-none-any\n",
    }
    digests = {
        name: base64.urlsafe_b64encode(hashlib.sha256(text.encode()).digest()).rstrip(b"=").decode()
        for name, text in files.items()
    }
    record = [f"{name},sha256={digests[name]},{len(text)}\n" for name, text in files.items()]
    files[f"{about}/RECORD"] = "".join([*record, f"{about}/RECORD,,\n"])
    with zipfile.ZipFile(wheel, "w") as archive:
        for name, text in files.items():
            archive.writestr(name, text)
    digest = hashlib.sha256(wheel.read_bytes()).hexdigest()
    return f"tinything=={number} --hash=sha256:{digest}\n"


class Project:
    """A project of two files around the real bootstrap."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self.wheels = root / "wheels"
        self.wheels.mkdir()
        (root / "config").mkdir()
        for name in ("bootstrap.py", "uv.txt"):
            shutil.copy(BASE_DIR / "config" / name, root / "config")
        (root / "entry.py").write_text(ENTRY)

    def require(self, line: str) -> None:
        (self.root / "requirements.txt").write_text(line)

    def start(self, python: str | Path, *words: str) -> subprocess.CompletedProcess[str]:
        environment = {
            **{name: value for name, value in os.environ.items() if not name.startswith("PIP_")},
            "PIP_CONFIG_FILE": os.devnull,
            "PIP_FIND_LINKS": str(self.wheels),
            "PIP_NO_INDEX": "1",
        }
        return subprocess.run(
            [python, str(self.root / "entry.py"), *words],
            check=False,
            env=environment,
            capture_output=True,
            text=True,
            timeout=120,
        )


@pytest.fixture
def project(tmp_path: Path) -> Project:
    return Project(tmp_path)


@pytest.fixture
def environment(tmp_path: Path) -> Environment:
    """Return a folder that looks like an environment of this Python, without a stamp."""
    (tmp_path / "requirements.txt").write_text("")
    (tmp_path / ".venv" / "bin").mkdir(parents=True)
    (tmp_path / ".venv" / "bin" / "python").symlink_to(sys.executable)
    (tmp_path / ".venv" / "pyvenv.cfg").write_text(f"home = /usr/bin\nversion = {MINOR}.7\n")
    return Environment(tmp_path)


OUTER_PYTHON = bootstrap.base_python()


def test_first_start_makes_all_and_a_changed_lock_is_installed_from_inside(
    project: Project,
) -> None:
    inner = project.root / ".venv" / "bin" / "python"
    project.require(make_wheel(project.wheels, "1.0"))
    first = project.start(OUTER_PYTHON, "a word", "--option")
    assert json.loads(first.stdout or "[]") == [
        str(project.root / ".venv"),
        "1.0",
        ["a word", "--option"],
    ], first.stderr
    assert "making .venv" in first.stderr

    again = project.start(OUTER_PYTHON)
    assert json.loads(again.stdout)[1] == "1.0"
    assert again.stderr == ""

    project.require(make_wheel(project.wheels, "2.0"))
    changed = project.start(inner)
    assert json.loads(changed.stdout or "[]")[1] == "2.0", changed.stderr
    assert "making .venv" not in changed.stderr


def test_falsified_package_is_not_installed(project: Project) -> None:
    line = make_wheel(project.wheels, "1.0")
    project.require(line[:-9] + "deadbeef\n")

    first = project.start(OUTER_PYTHON)

    assert first.returncode == 1
    assert "THESE PACKAGES DO NOT MATCH THE HASHES" in first.stderr
    assert not (project.root / ".venv" / "penround-stamp").exists()
    assert (project.root / ".venv" / "penround-under-way").exists()


def test_hand_made_environment_is_completed_and_a_half_made_one_is_not(
    environment: Environment,
) -> None:
    assert not environment.is_current()
    assert environment.fits_this_python()

    environment.under_way.touch()

    assert not environment.fits_this_python()


def test_environment_of_another_python_is_made_anew(environment: Environment) -> None:
    (environment.folder / "pyvenv.cfg").write_text("home = /usr/bin\nversion = 3.9.2\n")

    assert not environment.fits_this_python()


def test_environment_whose_python_was_removed_is_not_current(environment: Environment) -> None:
    environment.stamp.write_text(environment.wanted())
    assert environment.is_current()

    environment.python.unlink()
    environment.python.symlink_to("/nonexistent/python3")

    assert not environment.is_current()
    assert not environment.fits_this_python()


def test_changed_lock_makes_the_environment_stale(environment: Environment) -> None:
    environment.stamp.write_text(environment.wanted())

    environment.requirements.write_text("django==5.2.19\n")

    assert not environment.is_current()


@pytest.mark.parametrize(
    ("lock", "has_all"),
    [
        (f"django=={version('django')} \\\n    --hash=sha256:00\n", True),
        (f"django=={version('django')}\ncolorama==0.0.1 ; sys_platform == 'win32'\n", True),
        ("django==4.2\n", False),  # another Django of the machine
        (f"django=={version('django')}\nno-such-package==1.0\n", False),
    ],
)
def test_outer_python_counts_only_with_every_locked_package(
    environment: Environment, lock: str, has_all: bool
) -> None:
    environment.requirements.write_text(lock)

    assert environment.outer_python_has_all() is has_all


def test_old_python_is_told_what_is_needed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bootstrap, "OLDEST_PYTHON", (99, 0))

    with pytest.raises(BootstrapError, match=r"Python 3\.11 or later is needed; this is 3\."):
        bootstrap.ensure(tmp_path)


def test_missing_venv_package_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "ensurepip", None)

    with pytest.raises(BootstrapError, match="apt-get install python3-venv"):
        bootstrap.create_venv(tmp_path / ".venv")
