"""The words after `manage.py`: ours first, then Django's."""

import os
import sys
from typing import NoReturn

from config.data_folder import adopt_environment
from config.rooms import BASE_DIR


def run_command(argv: list[str]) -> int:
    match argv[1:]:
        case ["up", *options]:
            from config.up import main as run_up

            return run_up(options)
        case ["backup", *options]:
            from config.backup import main as make_backup

            return make_backup(options)
        case ["restore", *options]:
            from config.restore import main as restore_backup

            return restore_backup(options)
        case ["test", *options]:
            run_tests(options)
        case ["gates", *options]:
            from config.gates import main as run_gates

            return run_gates(options)
        case ["formulas", *options]:
            from config.formulas import main as list_formulas

            return list_formulas(options)
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
