"""The words after `manage.py`: ours first, then Django's."""

import os
import sys
from importlib import import_module
from typing import NoReturn

from config.data_folder import adopt_environment
from config.rooms import BASE_DIR

OURS = {  # each module's `main` takes the options and gives the exit code
    "up": "config.up",
    "doctor": "config.doctor",
    "backup": "config.backup",
    "restore": "config.restore",
    "upgrade": "config.upgrade",
    "gates": "config.gates",
    "formulas": "config.formulas",
}


def run_command(argv: list[str]) -> int:
    """Run one of ours, or one of Django's; give its exit code."""
    name, options = "".join(argv[1:2]), argv[2:]
    if name == "test":
        run_tests(options)
    if name in OURS:
        code: int = import_module(OURS[name]).main(options)
        return code
    return run_django(argv)


# The whole suite takes every core; a file stays with one process, whose module farm it shares.
ON_EVERY_CORE = ["-n", "auto", "--dist", "loadfile", "--no-loadscope-reorder"]


def run_tests(options: list[str]) -> NoReturn:
    """Run pytest as a module: its plug-in of ours must be importable from the project's folder."""
    os.chdir(BASE_DIR)
    os.environ["DJANGO_SETTINGS_MODULE"] = "config.settings_test"
    os.execv(sys.executable, [sys.executable, "-m", "pytest", *(options or ON_EVERY_CORE)])  # noqa: S606


def run_django(argv: list[str]) -> int:
    """Run one of Django's commands on the farm that `up` serves, or on the servers named."""
    adopt_environment()
    from django.core.management import execute_from_command_line

    execute_from_command_line(argv)
    return 0
