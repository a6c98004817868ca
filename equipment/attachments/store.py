"""Files of attachments on disk: found by what is in them, and there whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from django.conf import settings


def path_of(sha256: str) -> Path:
    """Say where the file of a digest is."""
    return Path(settings.MEDIA_ROOT) / sha256[:2] / sha256[2:4] / sha256


def keep(sha256: str, body: bytes) -> None:
    """Put a file in its place: written beside it, flushed to disk, then renamed in one step.

    Whoever finds it finds all of it, even after the power fails. The same file again is left.
    """
    target = path_of(sha256)
    if target.exists():
        return
    for folder in (target.parent.parent, target.parent):
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    handle, part = tempfile.mkstemp(dir=target.parent, prefix=".part-")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(body)
            file.flush()
            os.fsync(file.fileno())
        Path(part).replace(target)
    except OSError:
        Path(part).unlink(missing_ok=True)
        raise
    for folder in (target.parent, target.parent.parent, target.parent.parent.parent):
        _flush(folder)


def _flush(folder: Path) -> None:
    """Flush a folder's list of names, or a rename may be lost."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
