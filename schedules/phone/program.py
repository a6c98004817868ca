"""The phone's program: its files as they are served, without what is written for people alone.

They have plain addresses and not hashed ones: they name each other by those, and the service
worker sees to it that all are of one version.
"""

import hashlib
import re
from functools import cache
from pathlib import Path

FILES = Path(__file__).parent / "client"
TYPES = {
    ".css": "text/css",
    ".js": "text/javascript",
    ".png": "image/png",
    ".svg": "image/svg+xml",
    ".webmanifest": "application/manifest+json",
}
WORKER = "sw.js"  # has an address of its own, above the pages that it keeps
# Comments of whole lines, those of types anywhere, and blanks at both ends of a line.
UNSAID = re.compile(r"^[ \t]*//[^\n]*|/\*\*.*?\*/ ?|^[ \t]+|[ \t]+$", re.MULTILINE | re.DOTALL)


def bare(source: str) -> str:
    """Give a module without its comments and leading blanks, each line where it was."""
    return UNSAID.sub(lambda found: "\n" * found[0].count("\n"), source)


@cache
def served() -> dict[str, bytes]:
    """Give every file of the program by its name, as phones get it; not the service worker."""
    kept = (f for f in sorted(FILES.iterdir()) if f.suffix in TYPES and f.name != WORKER)
    return {file.name: _served(file) for file in kept}


def _served(file: Path) -> bytes:
    return bare(file.read_text()).encode() if file.suffix == ".js" else file.read_bytes()


@cache
def worker() -> str:
    """Give the service worker's own text."""
    return bare((FILES / WORKER).read_text())


@cache
def digests() -> dict[str, str]:
    """Give what each file must hold (SHA-256), by its name."""
    return {name: hashlib.sha256(found).hexdigest() for name, found in served().items()}
