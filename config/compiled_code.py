"""Where compiled loops keep their machine code: in a folder named for the sources they came from.

Numba looks whether a function's own file has changed and not at what it calls in other files, so
that beside the sources old code would run after an upgrade.
"""

import hashlib
import os
import shutil
import tempfile
from pathlib import Path

from config.rooms import APPS, BASE_DIR


def choose_folder(base: Path = BASE_DIR) -> None:
    """Set NUMBA_CACHE_DIR for this process and its children; before numba is first imported."""
    if "NUMBA_CACHE_DIR" not in os.environ:
        os.environ["NUMBA_CACHE_DIR"] = str(_home(base) / digest_of_sources(base))


def digest_of_sources(base: Path) -> str:
    """Hash all that a compiled loop may be made of."""
    digest = hashlib.sha256()
    for app in APPS:
        for path in sorted((base / app).glob("**/calc/**/*.py")) + sorted(
            (base / app).glob("*/calc.py")
        ):
            digest.update(str(path.relative_to(base)).encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()[:16]


def _home(base: Path) -> Path:
    """Give the folder of all versions; a temporary one where the code lies in none of ours."""
    home = base / "var" / "compiled"
    if os.access(base, os.W_OK):
        return home
    return Path(tempfile.gettempdir()) / f"penround-compiled-{os.geteuid()}"


def forget_old(base: Path = BASE_DIR) -> None:
    """Delete what earlier sources left; for the start, when nothing else runs."""
    current = digest_of_sources(base)
    for folder in _home(base).glob("*"):
        if folder.name != current:
            shutil.rmtree(folder, ignore_errors=True)
