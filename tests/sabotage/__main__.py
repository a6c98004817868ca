"""`python -m tests.sabotage [WORD ...]`: with each guard off its tests fail, with all on they pass.

The working tree is copied aside; in the copy one guard after the other is taken out of the source,
and only the tests named for it run. A table is printed as it comes about; 1 where one was missed.
"""

from __future__ import annotations

import atexit
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from importlib.util import cache_from_source
from pathlib import Path

from . import on_the_phone, on_the_server
from .table import Guard, switched_off

ROOT = Path(__file__).resolve().parents[2]
GUARDS = (*on_the_server.GUARDS, *on_the_phone.GUARDS)
LEFT_OUT = shutil.ignore_patterns(".git", ".venv", "var", "__pycache__", "node_modules")
FAILED = re.compile(r"^FAILED (\S+)", re.MULTILINE)
PASSED_ALL, SOME_FAILED = 0, 1  # exit codes of pytest


class Copy:
    """A copy of the tree with stores of its own, in which tests run."""

    def __init__(self) -> None:
        os.environ["DJANGO_SETTINGS_MODULE"] = "config.settings_test"
        from config.stores import TestStores  # its package names other settings where none are

        self.root = Path(tempfile.mkdtemp(prefix="penround-sabotage-"))
        self.root.chmod(0o711)
        atexit.register(shutil.rmtree, self.root)
        self.tree = self.root / "tree"
        shutil.copytree(ROOT, self.tree, ignore=LEFT_OUT)
        (self.tree / "var").symlink_to(ROOT / "var")
        (self.root / "static").mkdir()
        stores = TestStores(self.root)
        atexit.register(stores.stop)
        self.has_database = False
        self.environment = {
            **os.environ,
            "DATABASE_URL": stores.places.database_url,
            "REDIS_URL": stores.places.redis_url,
            "TEST_SESSION": str(self.root),
            "STATIC_ROOT": str(self.root / "static"),
        }

    def failed(self, tests: Sequence[str]) -> tuple[int, set[str]]:
        """Run tests; give pytest's exit code and the names of those that failed."""
        how = ["-n0", "-q", "-rf", "--tb=line", "--reuse-db", "-p", "no:cacheprovider"]
        how += ["--nomigrations"] if self.has_database else []
        self.has_database = True
        done = subprocess.run(
            [sys.executable, "-m", "pytest", *how, *tests],
            cwd=self.tree,
            env=self.environment,
            capture_output=True,
            text=True,
            check=False,
        )
        failed = set(FAILED.findall(done.stdout))
        if done.returncode not in (PASSED_ALL, SOME_FAILED) or (done.returncode and not failed):
            sys.exit(done.stdout + done.stderr)  # no test ran: that says nothing of a guard
        return done.returncode, failed

    def missed_without(self, guard: Guard) -> list[str]:
        """Take a guard out, run its tests, put it back; give the tests that did not fail."""
        text = (self.tree / guard.file).read_text()
        self._write(guard.file, switched_off(guard, text))
        _code, failed = self.failed(guard.tests)
        self._write(guard.file, text)
        return [t for t in guard.tests if not any(f.startswith(t) for f in failed)]

    def _write(self, name: str, text: str) -> None:
        """Write a file and forget what was compiled of it: it may be written twice in a second."""
        file = self.tree / name
        file.write_text(text)
        Path(cache_from_source(str(file))).unlink(missing_ok=True)


def main(words: Sequence[str]) -> int:
    """Print the table of all guards, or of those whose name holds one of some words."""
    guards = [g for g in GUARDS if not words or any(word in g.name for word in words)]
    started, copy = time.monotonic(), Copy()
    n_missed = 0
    for guard in guards:
        began = time.monotonic()
        missed = copy.missed_without(guard)
        n_missed += bool(missed)
        told = f"NOT CAUGHT by {', '.join(missed)}" if missed else f"caught by {_short(guard)}"
        print(
            f"{guard.promise:4} {guard.name:55} {time.monotonic() - began:4.0f} s  {told}",
            flush=True,
        )
    code, failed = copy.failed(sorted({test for guard in guards for test in guard.tests}))
    print(f"all guards on: {'all pass' if code == PASSED_ALL else f'failed: {sorted(failed)}'}")
    print(f"{len(guards) - n_missed} of {len(guards)} caught, {time.monotonic() - started:.0f} s")
    return 1 if n_missed or code != PASSED_ALL else 0


def _short(guard: Guard) -> str:
    return ", ".join(test.partition("::")[2] for test in guard.tests)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
