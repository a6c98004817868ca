"""The checks that code must pass before its tests count: `manage.py gates [NAME ...]`."""

import os
import re
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

from config import task_lint
from config.messages import compile_stale
from config.rooms import BASE_DIR

BIN = Path(sys.executable).parent
SCHEMA = BASE_DIR / "config" / "openapi.yaml"
CODE = ("manage.py", "config", "equipment", "crews", "schedules", "tests")
# As a farm behind TLS runs it; no server is asked.
DEPLOYED = {
    "DJANGO_SETTINGS_MODULE": "config.settings",
    "DATABASE_URL": "postgresql://app@/app?host=/nonexistent",
    "REDIS_URL": "unix:///nonexistent/valkey.sock?db=0",
    "SECRET_KEY": "only-to-check-the-settings-" + "".join(map(chr, range(65, 123))),
    "SITE_URL": "https://farm.example",
}


def run(*argv: str, **environment: str) -> bool:
    """Run one tool in the project's folder; tell whether it was content, print its faults."""
    done = subprocess.run(
        argv,
        check=False,
        cwd=BASE_DIR,
        env={**os.environ, **environment},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    if done.returncode:
        print(done.stdout, flush=True)
    return done.returncode == 0


def tool(name: str, *arguments: str) -> bool:
    return run(str(BIN / name), *arguments)


def django(*arguments: str, **environment: str) -> bool:
    settings = {"DJANGO_SETTINGS_MODULE": "config.settings_test", **environment}
    # No server is asked, which makemigrations finds worth a warning.
    quiet = "ignore:Got an error checking a consistent migration history"
    return run(sys.executable, "-W", quiet, "-m", "django", *arguments, **settings)


def schema_is_committed() -> bool:
    """Compare the API's description with the committed one; its examples are in both languages."""
    compile_stale(BASE_DIR / "config" / "locale")
    made = SCHEMA.with_suffix(".new")
    try:
        if not django("spectacular", "--validate", "--fail-on-warn", "--file", str(made)):
            return False
        same = SCHEMA.exists() and made.read_text() == SCHEMA.read_text()
    finally:
        made.unlink(missing_ok=True)
    if not same:
        print(f"The API changed: manage.py spectacular --file {SCHEMA.relative_to(BASE_DIR)}")
    return same


def lock_names_no_host() -> bool:
    """Find addresses in the locked requirements: they must install from anywhere."""
    found = [
        f"{file}:{number}: {line.strip()}"
        for file in ("requirements.txt", "config/uv.txt")
        for number, line in enumerate((BASE_DIR / file).read_text().splitlines(), 1)
        if re.search(r"://|--(extra-)?index|--find-links", line)
    ]
    print("\n".join(found), end="\n" if found else "")
    return not found


def no_hidden_timers() -> bool:
    """Find eta, countdown and delayed retries: a due time is a column (reliability R4)."""
    found = [fault for name in CODE for fault in task_lint.faults_below(BASE_DIR / name)]
    print("\n".join(found), end="\n" if found else "")
    return not found


GATES: dict[str, Callable[[], bool]] = {
    "lint": lambda: tool("ruff", "check", "--quiet"),
    "format": lambda: tool("ruff", "format", "--check", "--quiet"),
    "types": lambda: tool("mypy", "--no-error-summary", *CODE),
    "imports": lambda: tool("lint-imports"),
    "spelling": lambda: tool("codespell", *CODE),
    "migrations": lambda: django("makemigrations", "--check", "--dry-run", "-v", "0"),
    "schema": schema_is_committed,
    "deployed": lambda: django("check", "--deploy", "--fail-level", "WARNING", **DEPLOYED),
    "lock": lock_names_no_host,
    "timers": no_hidden_timers,
}


def main(names: list[str]) -> int:
    """Run all gates, or those named; every one runs, so that one call tells all."""
    unknown = set(names) - GATES.keys()
    if unknown:
        print(f"no such gate: {', '.join(sorted(unknown))}. Known: {', '.join(GATES)}")
        return 2
    results = {name: passes(name) for name in names or GATES}
    failed = [name for name, passed in results.items() if not passed]
    print(f"gates failed: {', '.join(failed)}" if failed else "all gates passed")
    return 1 if failed else 0


def passes(name: str) -> bool:
    started = time.monotonic()
    passed = GATES[name]()
    verdict = "ok" if passed else "FAILED"
    print(f"gate {name:<11} {verdict:<7} {time.monotonic() - started:5.1f} s", flush=True)
    return passed
