"""`python -m tests.benchmarks.page_figures DATA [--rounds N]`: what the desk's pages cost.

Each page of the farm in a data folder is asked for in this process, so that only the server's own
work is timed. Its reference is a bare view of the same server (`page_urls.py`, the same middleware)
that runs the same statements and returns their rows as JSON, in turns with the page. `grow` makes a
year of history first.
"""

from __future__ import annotations

import os
import sys
import time
from argparse import ArgumentParser
from collections.abc import Callable, Sequence
from pathlib import Path
from statistics import median
from typing import Any

from tests.benchmarks.grow import begin

ROW = "{:<18} {:>8} {:>8} {:>8} {:>9} {:>7} {}"
MOST_P95_MS, MOST_QUERIES, MOST_RATIO = 300.0, 25, 3.0


def main(argv: list[str]) -> int:
    """Print the table; 1 where a bound is missed."""
    parser = ArgumentParser(prog="python -m tests.benchmarks.page_figures", description=__doc__)
    parser.add_argument("data", type=Path, help="the data folder of a running service")
    parser.add_argument("--rounds", type=int, default=20)
    given = parser.parse_args(argv)
    begin(given.data)
    from django.conf import settings
    from django.urls import reverse

    from config.heap import settle_heap

    settings.ROOT_URLCONF = "tests.benchmarks.page_urls"
    client, slug = _manager()
    for name in _pages():
        client.get(reverse(name, args=[slug]))  # what is compiled and remembered once
    settle_heap()  # as the server does
    print(f"{os.cpu_count()} cores; {given.rounds} rounds; p50, p95 and the bare view's p50 in ms")
    print(ROW.format("page", "p50", "p95", "bare", "ratio", "queries", ""))
    good = [_page(client, slug, name, given.rounds) for name in _pages()]
    return 0 if all(good) else 1


def _manager() -> tuple[Any, str]:
    from django.test import Client

    from equipment.site.models import Membership, Role

    member = Membership.objects.filter(role=Role.MANAGER).select_related("user", "site").first()
    assert member is not None, "the folder has no farm with a manager"
    client = Client()
    client.force_login(member.user)
    return client, member.site.slug


def _pages() -> Sequence[str]:
    from schedules.desk.base import PAGES

    return [page for _about, pages in PAGES for page in pages]


def _page(client: Any, slug: str, name: str, rounds: int) -> bool:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext
    from django.urls import reverse

    from tests.benchmarks import page_urls

    address = reverse(name, args=[slug])
    with CaptureQueriesContext(connection) as asked:
        assert client.get(address).status_code == 200
    n = len(asked.captured_queries)
    statements = [q["sql"] for q in asked.captured_queries if q["sql"].startswith("SELECT")]
    page_urls.STATEMENTS[:] = statements
    assert client.get("/bare/").status_code == 200
    ours, bare = [], []
    for _round in range(rounds):
        ours.append(_timed(lambda: client.get(address)))
        bare.append(_timed(lambda: client.get("/bare/")))
    p95 = sorted(ours)[min(len(ours) - 1, int(0.95 * len(ours)))]
    ratio = median(ours) / median(bare)
    missed = [
        words
        for words, is_missed in (
            ("p95", p95 > MOST_P95_MS),
            ("queries", n > MOST_QUERIES),
            ("ratio", ratio > MOST_RATIO),
        )
        if is_missed
    ]
    times = (f"{median(ours):.0f}", f"{p95:.0f}", f"{median(bare):.1f}")
    words = f"MISSED: {', '.join(missed)}" if missed else ""
    print(ROW.format(name, *times, f"{ratio:.1f}", n, words), flush=True)
    return not missed


def _timed(does: Callable[[], object]) -> float:
    begun = time.perf_counter()
    does()
    return 1e3 * (time.perf_counter() - begun)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
