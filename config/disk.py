"""Files and folders that a power cut leaves whole: flushed before they count (fsync(2))."""

import ctypes
import errno
import fcntl
import hashlib
import os
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

from config.processes import LIBC

CHUNK_BYTES = 1 << 20
AT_FDCWD = -100  # fcntl.h
RENAME_EXCHANGE = 2  # renameat2(2)
LAST_ONE_ENDS_WITHIN_S = 20.0  # what a killed command has left running


class HeldError(Exception):
    """Another process works in this folder."""


def flush(path: Path) -> None:
    """Flush a file's bytes, or a folder's list of names."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def flush_folders(root: Path) -> None:
    """Flush the lists of names of a folder and of all below it; the files are flushed already."""
    for folder, _names, _files in os.walk(root, topdown=False):
        flush(Path(folder))


def make_folders(folder: Path) -> None:
    """Make a folder and those above it that are missing, each for its owner alone."""
    if not folder.is_dir():
        make_folders(folder.parent)
        folder.mkdir(mode=0o700)


def write(path: Path, body: bytes) -> None:
    """Write a new file for its owner alone, and flush it."""
    with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        file.write(body)
        file.flush()
        os.fsync(file.fileno())


def copy(source: Path, target: Path) -> str:
    """Copy to a new file for its owner alone and flush it; give the SHA-256 of what was read."""
    found = hashlib.sha256()
    make_folders(target.parent)
    descriptor = os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(descriptor, "wb") as written, source.open("rb") as read:
        while chunk := read.read(CHUNK_BYTES):
            found.update(chunk)
            written.write(chunk)
        written.flush()
        os.fsync(written.fileno())
    return found.hexdigest()


def stamp(form: str, at: datetime) -> str:
    """Write a moment of UTC into a name, to the millisecond: no two are made within one."""
    return form.format(f"{at:%Y%m%dT%H%M%S}{at.microsecond // 1000:03}Z")


def digest(path: Path) -> str:
    """Give a file's SHA-256 in hexadecimal."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def free_bytes(folder: Path) -> int:
    """Give the bytes that are free where a folder is or will be."""
    return shutil.disk_usage(next(p for p in (folder, *folder.parents) if p.exists())).free


def exchange(one: Path, other: Path) -> None:
    """Let two folders change names in one step: nobody ever finds either name missing."""
    done = LIBC.renameat2(AT_FDCWD, bytes(one), AT_FDCWD, bytes(other), RENAME_EXCHANGE)
    if done:
        number = ctypes.get_errno()
        raise OSError(number, os.strerror(number), str(one), None, str(other))


@contextmanager
def held(folder: Path) -> Iterator[int]:
    """Be the only one that works in a folder; give the handle, for children that work there too."""
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    deadline = time.monotonic() + LAST_ONE_ENDS_WITHIN_S
    try:
        while not _is_taken(handle):
            if time.monotonic() > deadline:
                raise HeldError(f"Another backup or restore works in {folder}: let it end first.")
            time.sleep(0.1)
        yield handle
    finally:
        os.close(handle)


def _is_taken(handle: int) -> bool:
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as fault:
        if fault.errno != errno.EWOULDBLOCK:
            raise
        return False
    return True
