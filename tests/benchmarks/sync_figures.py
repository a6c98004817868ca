"""`python -m tests.benchmarks.sync_figures`: the phone's API against plain views of one web server.

A durable PostgreSQL, the web server as `manage.py up` starts it, the references beside it
(`reference_sync.py`), one client on 127.0.0.1. Rates are told as ratios, rounds in turns.
"""

from __future__ import annotations

import hashlib
import heapq
import http.client
import json
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
import uuid
from argparse import ArgumentParser, Namespace
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from statistics import median
from threading import Lock
from typing import Any

from config import compiled_code, stores
from config.processes import spawn, stop
from config.up import CONNECTIONS, THREADS
from tests.benchmarks import __name__ as package
from tests.config.service import free_port

REFERENCE = Path(__file__).with_name("reference_sync.py")
ROW = "{:<58} {:>9} {:>9} {:>7} {:>9} {}"
N_BATCH, N_ORDERS = 50, 60
SPEAKING = 128  # phones at a time
FIRST_S, MOST_S = 2, 60  # a phone's own back-off (`outbox.js`)


@dataclass
class Phone:
    """A paired phone of the bench: its token, its sequence, what it speaks to."""

    token: str
    port: int
    site: int
    actor: int
    work_order: int
    seq: int = 0
    untold: bytes = b""
    n_failed: int = 0
    not_before: float = 0.0
    connection: http.client.HTTPConnection = field(init=False)

    def __post_init__(self) -> None:
        self.connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)

    def ask(self, method: str, path: str, body: bytes = b"", **headers: str) -> tuple[int, bytes]:
        """Make one call; give its status and body."""
        usual = {"Content-Type": "application/json", "Authorization": f"Bearer {self.token}"}
        self.connection.request(method, path, body or None, {**usual, **headers})
        answer = self.connection.getresponse()
        self.etag = answer.headers.get("ETag", "")
        self.retry_after_s = float(answer.headers.get("Retry-After", 0))
        return answer.status, answer.read()

    def events(self, kind: str, n: int = N_BATCH) -> list[dict[str, Any]]:
        """Make the next events of this phone."""
        made = []
        for _each in range(n):
            self.seq += 1
            made.append(
                {
                    "id": str(uuid.uuid4()),
                    "kind": kind,
                    "seq": self.seq,
                    "payload": self._payload(kind),
                    "client_at": datetime.now(UTC).isoformat(),
                    "schema_version": 1,
                }
            )
        return made

    def _payload(self, kind: str) -> dict[str, Any]:
        if kind == "language":
            return {"language": ("en", "es")[self.seq % 2]}
        return {"work_order": self.work_order, "machine": None}

    def tell(self, kind: str, n: int = N_BATCH) -> float:
        """Tell events; give the seconds that the call took. Every one must be applied."""
        body = json.dumps({"events": self.events(kind, n)}).encode()
        begun = time.perf_counter()
        status, answer = self.ask("POST", "/api/v1/sites/bench/events/", body)
        took = time.perf_counter() - begun
        self._applied(status, answer)
        return took

    def _applied(self, status: int, answer: bytes) -> None:
        states = {a["state"] for a in json.loads(answer).get("answers", [])}
        if status != 200 or states != {"applied"}:
            raise AssertionError((status, answer[:2000]))

    def try_to_tell(self, kind: str) -> tuple[float, bool]:
        """Tell events, the same as before if that was in vain; give the seconds, and whether.

        Turned away, it comes again as the phone's program does (`outbox.js`).
        """
        self.untold = self.untold or json.dumps({"events": self.events(kind)}).encode()
        begun = time.perf_counter()
        status, answer = self.ask("POST", "/api/v1/sites/bench/events/", self.untold)
        took = time.perf_counter() - begun
        if status == 503 and self.retry_after_s:
            most_s = min(MOST_S, FIRST_S * 2**self.n_failed)
            self.n_failed += 1
            self.connection.close()  # the server would, long before the phone comes again
            self.not_before = time.monotonic() + self.retry_after_s + random.uniform(0, most_s)
            return took, False
        self._applied(status, answer)
        self.untold, self.n_failed = b"", 0
        return took, True

    def insert(self) -> float:
        """Have the same rows written down by the bare view."""
        events = self.events("language")
        self.seq -= N_BATCH  # nobody counts these
        body = json.dumps({"site": self.site, "actor": self.actor, "events": events}).encode()
        return self._timed("/reference/insert/", body)

    def plain(self) -> float:
        """Have the same rows taken by the library's own way."""
        usual = {"site": self.site, "actor": self.actor, "state": "applied"}
        at = datetime.now(UTC).isoformat()
        times = {"happened_at": at, "received_at": at}
        rows = [{**event, **usual, **times} for event in self.events("language")]
        self.seq -= N_BATCH
        return self._timed("/reference/plain-events/", json.dumps(rows).encode())

    def _timed(self, path: str, body: bytes) -> float:
        begun = time.perf_counter()
        status, answer = self.ask("POST", path, body)
        if status not in {200, 201}:
            raise AssertionError((status, answer[:2000]))
        return time.perf_counter() - begun

    def get(self, path: str, expected: int = 200, **headers: str) -> float:
        """Read once."""
        begun = time.perf_counter()
        status, answer = self.ask("GET", path, b"", **headers)
        if status != expected:
            raise AssertionError((path, status, answer[:2000]))
        return time.perf_counter() - begun


def read_arguments(argv: list[str]) -> Namespace:
    parser = ArgumentParser(prog="python -m tests.benchmarks.sync_figures", description=__doc__)
    parser.add_argument("--rounds", type=int, default=60, metavar="N", help="0: the herd alone")
    parser.add_argument("--herd", type=int, default=0, metavar="PHONES", help="x 100 events")
    return parser.parse_args(argv)


def main(argv: list[str]) -> int:
    """Print the table; 1 where a bound is missed."""
    arguments = read_arguments(argv)
    compiled_code.choose_folder()
    with served() as port:
        [phones] = [make_farm(max(arguments.herd, 4), port)]
        digest = hashlib.sha256(REFERENCE.read_bytes()).hexdigest()[:12]
        print(f"{os.cpu_count()} cores; medians of {arguments.rounds} rounds; reference {digest}")
        print(ROW.format("case", "ours ms", "ref. ms", "ratio", "bound", ""))
        good = [*compare(phones[0], arguments.rounds)] if arguments.rounds else []
        if arguments.herd:
            good.append(herd(phones))
    return 0 if all(good) else 1


def compare(phone: Phone, rounds: int) -> Iterator[bool]:
    """Time each comparison of the table."""
    tell = [lambda: phone.tell("language"), phone.insert]
    ours, bare = in_turns(rounds, *tell)
    yield row("POST events of 50 / bare INSERT of the rows", ours, bare, at_most=1.5)
    spread = sorted(ours)[int(0.99 * len(ours))] / median(ours)
    yield told("POST events of 50, p99 / p50", spread, at_most=3.0)
    ours, plain = in_turns(rounds, tell[0], phone.plain)
    yield row("POST events of 50 / DRF many=True", ours, plain, at_most=0.5)
    ours, bare = in_turns(rounds, lambda: phone.tell("load"), phone.insert)
    yield row("(POST of 50 loads / bare INSERT: no bound)", ours, bare, at_most=1e9)
    orders = "/api/v1/sites/bench/work-orders/?page_size=50"
    phone.get(orders)
    etag = phone.etag
    for path, name in (
        ("whole-rows", "list of 50 / its fields as JSON by PostgreSQL"),
        ("rows", "list of 50 / 18 of its 32 fields by PostgreSQL"),
    ):
        made = f"/reference/{path}/?site={phone.site}"
        ours, bare = in_turns(rounds, lambda: phone.get(orders), partial(phone.get, made))
        yield row(name, ours, bare, at_most=1 / 0.6)
    plain_rows = f"/reference/plain-rows/?site={phone.site}"
    ours, plain = in_turns(rounds, lambda: phone.get(orders), lambda: phone.get(plain_rows))
    yield row("list of 50 / plain DRF", ours, plain, at_most=1 / 1.8)
    known = {"If-None-Match": etag}
    unchanged: Callable[[], float] = lambda: phone.get(orders, 304, **known)  # noqa: E731
    ours, empty = in_turns(rounds, unchanged, lambda: phone.get("/reference/nothing/"))
    yield row("304 / empty view", ours, empty, at_most=1 / 0.6)


def in_turns(rounds: int, *ways: Callable[[], float]) -> list[list[float]]:
    """Time each way in turns, after two rounds to warm up."""
    timed = [[way() for way in ways] for _round in range(rounds + 2)][2:]
    return [list(column) for column in zip(*timed, strict=True)]


def row(name: str, ours: list[float], reference: list[float], *, at_most: float) -> bool:
    """Print a comparison by medians."""
    ratio = median(ours) / median(reference)
    times = (f"{median(ours) * 1e3:.1f}", f"{median(reference) * 1e3:.1f}")
    print(ROW.format(name, *times, f"{ratio:.2f}", *judged(ratio, at_most)), flush=True)
    return ratio <= at_most


def told(name: str, ratio: float, *, at_most: float) -> bool:
    """Print a figure that has no reference beside it."""
    print(ROW.format(name, "", "", f"{ratio:.2f}", *judged(ratio, at_most)), flush=True)
    return ratio <= at_most


def judged(ratio: float, at_most: float) -> tuple[str, str]:
    """The bound, and whether it was missed."""
    if at_most > 1e6:
        return "", ""
    return f"{at_most:.2f}", "" if ratio <= at_most else "MISSED"


def herd(phones: list[Phone]) -> bool:
    """All phones come back at once with 100 events each; who is turned away comes again."""
    begun = time.perf_counter()
    crowd = Crowd(phones)
    with ThreadPoolExecutor(SPEAKING) as pool:
        for each in [pool.submit(crowd.speak) for _thread in range(SPEAKING)]:
            each.result()
    took, times = time.perf_counter() - begun, sorted(crowd.times)
    p99 = times[int(0.99 * len(times))]
    print(
        f"{len(phones)} phones x 100 events, {SPEAKING} speaking at a time: all applied in "
        f"{took:.1f} s; batches taken: {len(times)}, p50 {median(times):.2f} s, p99 {p99:.2f} s; "
        f"told to come again: {crowd.n_away} (in {max(crowd.away):.2f} s at most)"
    )
    return took <= max(200 * len(phones) / 1000, 20) and p99 <= 2


class Crowd:
    """Phones and when each is next to speak."""

    def __init__(self, phones: list[Phone]) -> None:
        self.due = [(0.0, n, phone, ["load", "load"]) for n, phone in enumerate(phones)]
        self.lock, self.times, self.away = Lock(), list[float](), [0.0]

    @property
    def n_away(self) -> int:
        """How often a phone was told to come again."""
        return len(self.away) - 1

    def speak(self) -> None:
        """Speak for whichever phone is next, until none has anything to tell."""
        while (turn := self._next()) is not None:
            n, phone, untold = turn
            time.sleep(max(0.0, phone.not_before - time.monotonic()))
            took, is_taken = phone.try_to_tell(untold[0])
            (self.times if is_taken else self.away).append(took)
            untold = untold[is_taken:]
            if untold:
                with self.lock:
                    heapq.heappush(self.due, (phone.not_before, n, phone, untold))

    def _next(self) -> tuple[int, Phone, list[str]] | None:
        with self.lock:
            return heapq.heappop(self.due)[1:] if self.due else None


@contextmanager
def served() -> Iterator[int]:
    """Start a durable database and the web server; give its port."""
    root = Path(tempfile.mkdtemp(prefix="penround-bench-"))
    root.chmod(0o711)
    places, port = stores.Places(root), free_port()
    stores.prepare(places)
    running = []
    try:
        for program, is_ready in (
            (stores.postgres_program(places, durable=True), stores.postgres_answers),
            (stores.valkey_program(places, durable=True), stores.valkey_answers),
        ):
            child = spawn(program, subprocess.DEVNULL)
            running.append((program, child))
            stores.wait_until(partial(is_ready, places), program.name, child)
        set_environment(places, root, port)
        web = start_web(root, port)
        try:
            yield port
        finally:
            web.terminate()
            web.wait()
    finally:
        for program, child in reversed(running):
            stop(program, child)
        shutil.rmtree(root)


def set_environment(places: stores.Places, root: Path, port: int) -> None:
    """Say where all is, to us and to the web server; make the tables."""
    (root / "static").mkdir()
    os.environ |= {
        "DJANGO_SETTINGS_MODULE": f"{package}.sync_settings",
        "DATABASE_URL": places.database_url,
        "REDIS_URL": places.redis_url,
        "SECRET_KEY": "bench-" * 12,
        "SITE_URL": f"http://localhost:{port}",
        "STATIC_ROOT": str(root / "static"),
    }
    for command in (["migrate"], ["collectstatic", "--noinput"]):
        subprocess.run([sys.executable, "manage.py", *command, "-v0"], check=True)


def start_web(root: Path, port: int) -> subprocess.Popen[bytes]:
    """Start the web server as `manage.py up` does, and wait until it answers."""
    options = ["-k", "gthread", "--workers", "1", "--threads", str(THREADS), "-b"]
    where = [f"127.0.0.1:{port}", "--no-control-socket", "--log-level", "error"]
    pool = {**os.environ, "DATABASE_POOL": str(CONNECTIONS)}
    command = [sys.executable, "-m", "gunicorn", f"{package}.sync_server", *options, *where]
    web = subprocess.Popen(command, env=pool)
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline:
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=2)
        try:
            connection.request("GET", "/healthz")
            if connection.getresponse().status == 200:
                return web
        except OSError:
            time.sleep(0.05)
        finally:
            connection.close()
    raise AssertionError("the web server does not answer")


def make_farm(n_phones: int, port: int) -> list[Phone]:
    """Make a site, its work and its phones."""
    import django

    django.setup()
    from tests.factories import make_pen, make_phone, make_site, make_work_order, make_worker

    site, now = make_site("bench"), datetime.now(UTC)
    pen = make_pen(site, "1")
    orders = [
        make_work_order(site, f"bench/{n}", place=pen.place) for n in range(max(N_ORDERS, n_phones))
    ]
    phones = []
    for n in range(n_phones):
        worker = make_worker(site, f"worker-{n}")
        _device, token = make_phone(worker, now)
        phones.append(Phone(token, port, site.pk, worker.actor_id, orders[n].pk))
    return phones


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
