"""Node and the locked packages that some tests need, put in place once. They are marked `node`."""

from __future__ import annotations

import hashlib
import shutil
import subprocess
import tempfile
from pathlib import Path

from config.rooms import BASE_DIR

LISTED = ("package.json", "package-lock.json", ".npmrc")
INSTALL_NODE = "needs node and npm: apt-get install --no-install-recommends nodejs npm"


def has_node() -> bool:
    """Whether this machine has node and npm."""
    return shutil.which("node") is not None and shutil.which("npm") is not None


def node_tools(of: Path = BASE_DIR / "tests") -> Path:
    """Give the folder whose `node_modules` holds what the lock file in `of` names."""
    files = [of / name for name in LISTED if (of / name).exists()]
    digest = hashlib.sha256(b"".join(file.read_bytes() for file in files)).hexdigest()[:16]
    folder = BASE_DIR / "var" / "test-tools" / digest
    if not folder.exists():
        _install(files, folder)
    return folder


def _install(files: list[Path], folder: Path) -> None:
    """Install beside it and move it there in one step: several test processes may begin at once."""
    folder.parent.mkdir(parents=True, exist_ok=True)
    made = Path(tempfile.mkdtemp(dir=folder.parent))
    for file in files:
        shutil.copy(file, made)
    command = ["npm", "ci", "--ignore-scripts", "--no-audit", "--no-fund"]
    done = subprocess.run(command, cwd=made, capture_output=True, text=True, check=False)
    if done.returncode:
        shutil.rmtree(made)
        raise RuntimeError(f"npm ci: {done.stderr}")
    try:
        made.rename(folder)
    except OSError:  # another process was faster
        shutil.rmtree(made)
