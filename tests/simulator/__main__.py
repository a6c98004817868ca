"""Histories of phones: `python -m tests.simulator --seeds 0..499 [--processes 2] [--state FILE]`.

With `--state` a run that was stopped goes on where it stopped. `--trace` prints every step,
`--sabotage all` what finds out each guard that is switched off.
"""

from __future__ import annotations

import argparse
import atexit
import logging
import os
import shutil
import sys
import tempfile
from functools import cache
from pathlib import Path


def main() -> int:
    """Play and print; 1 where something that must hold did not."""
    parser = argparse.ArgumentParser(prog="python -m tests.simulator")
    parser.add_argument("--seeds", default="0..49", help="FIRST..LAST, or single ones by commas")
    parser.add_argument("--phones", type=int, default=3)
    parser.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--state", type=Path, help="file of what is done already")
    parser.add_argument("--sabotage", help="what to switch off, or `all` in turn")
    parser.add_argument("--trace", action="store_true", help="print every step")
    given = parser.parse_args()
    seeds = [seed for part in given.seeds.split(",") for seed in _seeds_of(part)]
    _begin_stores()
    import django

    django.setup()
    logging.disable(logging.ERROR)  # requests that are cut end as errors
    from django.conf import settings
    from django.db import connection
    from django.test.utils import setup_test_environment

    setup_test_environment()
    connection.creation.create_test_db(verbosity=0)
    settings.MEDIA_ROOT = _folder("media")
    return _play(given, seeds)


def _play(given: argparse.Namespace, seeds: list[int]) -> int:
    from django.db import transaction

    from .report import ALL_SABOTAGES, play_and_tell, tell_sabotages, trace

    if not (given.sabotage or given.trace):
        return play_and_tell(seeds, given.phones, n_processes=given.processes, state=given.state)
    with transaction.atomic():
        try:
            if given.trace:
                return trace(seeds, given.phones, given.sabotage)
            names = ALL_SABOTAGES if given.sabotage == "all" else [given.sabotage]
            return tell_sabotages(seeds, given.phones, names)
        finally:
            transaction.set_rollback(True)


def _seeds_of(part: str) -> range:
    first, _dots, last = part.partition("..")
    return range(int(first), int(last or first) + 1)


@cache
def _root() -> Path:
    root = Path(tempfile.mkdtemp(prefix="penround-simulator-"))
    root.chmod(0o711)
    atexit.register(shutil.rmtree, root)
    return root


def _folder(name: str) -> Path:
    folder = _root() / name
    folder.mkdir()
    return folder


def _begin_stores() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings_test")
    from config.stores import TestStores

    os.environ["STATIC_ROOT"] = str(_folder("static"))
    stores = TestStores(_root())
    atexit.register(stores.stop)
    os.environ["DATABASE_URL"] = stores.places.database_url
    os.environ["REDIS_URL"] = stores.places.redis_url


if __name__ == "__main__":
    sys.exit(main())
