#!/usr/bin/env python3
"""The one door for people: `up`, `upgrade`, `doctor`, `backup`, `restore`, tests, and Django's.

`manage.py help` lists Django's commands and those of our own that work on a farm.
"""

import importlib.util
import os
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent
# These read the code only, and so need none of the servers that the service runs on.
READ_ONLY_THE_CODE = {"formulas", "help", "makemessages", "makemigrations", "spectacular"}


def enter_environment() -> None:
    """Load the bootstrap by its path: `config` needs packages that may not be there yet."""
    spec = importlib.util.spec_from_file_location("bootstrap", ROOT / "config" / "bootstrap.py")
    assert spec is not None
    assert spec.loader is not None
    bootstrap = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(bootstrap)
    try:
        bootstrap.ensure(ROOT)
    except bootstrap.BootstrapError as fault:
        sys.exit(str(fault))
    except KeyboardInterrupt:
        sys.exit("stopped; the next start completes .venv")


def main() -> int:
    enter_environment()
    reads_only_the_code = READ_ONLY_THE_CODE & set(sys.argv[1:2] or ["help"])
    settings = "config.settings_test" if reads_only_the_code else "config.settings"
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", settings)  # before the Celery app does so
    from config.commands import run_command

    return run_command(sys.argv)


if __name__ == "__main__":
    sys.exit(main())
