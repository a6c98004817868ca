"""What has to be done once before the web server starts: `python -m config.prepare`.

With `--look` it does nothing and names the steps of the tables that are to come, one a line.
"""

import fcntl
import sys
import time
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path

import django
from django.conf import settings
from django.contrib.staticfiles.finders import get_finders
from django.core.management import call_command

from config import ledger, messages


def compile_messages() -> None:
    for folder in settings.LOCALE_PATHS:
        messages.compile_stale(Path(folder))


def collect_static() -> None:
    """Collect when a source changed: naming all files by their content again costs seconds.

    Who comes second waits, and finds them collected.
    """
    root, sources = Path(settings.STATIC_ROOT), static_sources()
    root.parent.mkdir(parents=True, exist_ok=True)
    with root.with_name("static.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        stamp = root / "collected-from"
        if not stamp.exists() or stamp.read_text() != sources:
            call_command("collectstatic", interactive=False, verbosity=0, clear=True)
            stamp.write_text(sources)


def static_sources() -> str:
    """Return a digest of path, size and time of every source file."""
    found = sha256()
    for finder in get_finders():
        for path, storage in finder.list([]):
            about = Path(storage.path(path)).stat()
            found.update(f"{path}\0{about.st_size}\0{about.st_mtime_ns}\n".encode())
    return found.hexdigest()


STEPS: tuple[tuple[str, Callable[[], None]], ...] = (
    ("translations", compile_messages),
    ("database tables", ledger.make_steps),
    ("static files", collect_static),
)


def main(argv: list[str]) -> int:
    django.setup()
    if argv == ["--look"]:
        print("\n".join(ledger.steps_to_come()))
        return 0
    for name, step in STEPS:
        started = time.monotonic()
        try:
            step()
        except ledger.NewerError as fault:
            print(fault, file=sys.stderr)
            return 1
        print(f"{name} up to date ({time.monotonic() - started:.1f} s)", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
