"""Where compiled loops keep their machine code: in a folder named for the sources they came from.

Numba looks whether a function's own file has changed and not at what it calls in other files, so
that beside the sources old code would run after an upgrade.
"""

import ast
import hashlib
import os
import shutil
import tempfile
from collections.abc import Iterable, Iterator
from pathlib import Path

from config.rooms import APPS, BASE_DIR

COMPILED = "import compiled"  # what a file with a compiled loop has
OPTIMIZED = "1"  # NUMBA_OPT: 3 compiles a third longer, and the day's search runs no faster


def choose_folder(base: Path = BASE_DIR) -> None:
    """Set NUMBA_CACHE_DIR for this process and its children; before numba is first imported."""
    os.environ.setdefault("NUMBA_OPT", OPTIMIZED)
    if "NUMBA_CACHE_DIR" not in os.environ:
        os.environ["NUMBA_CACHE_DIR"] = str(_home(base) / digest_of_sources(base))


def digest_of_sources(base: Path = BASE_DIR) -> str:
    """Hash all that a compiled loop may be made of: its own file and what that one imports."""
    digest = hashlib.sha256(OPTIMIZED.encode())
    for path in sorted(_with_imports(base, _compiled_files(base))):
        digest.update(str(path.relative_to(base)).encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()[:16]


def _compiled_files(base: Path) -> Iterator[Path]:
    for app in APPS:
        for pattern in ("**/calc/**/*.py", "*/calc.py"):
            yield from (x for x in (base / app).glob(pattern) if COMPILED in x.read_text("utf-8"))


def _with_imports(base: Path, files: Iterable[Path]) -> set[Path]:
    found: set[Path] = set()
    waiting = set(files)
    while waiting:
        found |= waiting
        waiting = {to for path in waiting for to in _imports(base, path)} - found
    return found


def _imports(base: Path, path: Path) -> Iterator[Path]:
    """Give the files of ours that one imports from; all imports here are `from ... import ...`."""
    for node in ast.walk(ast.parse(path.read_bytes())):
        if isinstance(node, ast.ImportFrom):
            module = [part for part in (node.module or "").split(".") if part]
            folder = path.parents[node.level - 1] if node.level else base
            for name in (module, *([*module, alias.name] for alias in node.names)):
                to = folder.joinpath(*name).with_suffix(".py") if name else folder
                if to.is_file():
                    yield to


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
