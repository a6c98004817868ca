"""What has to be done once before the web server starts: `python -m config.prepare`."""

import time
from collections.abc import Callable
from pathlib import Path

import django
from django.conf import settings
from django.core.management import call_command

from config import messages


def compile_messages() -> None:
    for folder in settings.LOCALE_PATHS:
        messages.compile_stale(Path(folder))


def migrate() -> None:
    call_command("migrate", interactive=False, verbosity=0)


def collect_static() -> None:
    call_command("collectstatic", interactive=False, verbosity=0)


STEPS: tuple[tuple[str, Callable[[], None]], ...] = (
    ("translations", compile_messages),
    ("database tables", migrate),
    ("static files", collect_static),
)


def main() -> None:
    django.setup()
    for name, step in STEPS:
        started = time.monotonic()
        step()
        print(f"{name} up to date ({time.monotonic() - started:.1f} s)", flush=True)


if __name__ == "__main__":
    main()
