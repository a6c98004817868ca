"""`python -m tests.benchmarks.seen_figures DATA`: how soon what a worker tells is seen by others.

DATA is the folder of a service that `manage.py up --data DATA` keeps running. A worker's phone
tells of problems, one every now and then; timed is, from before it is sent, until the lead's phone
has it in its documents (a pull that waits), and until a page of the desk that heard of it
(server-sent events) has been fetched anew with it on. Each problem is then answered.
"""

from __future__ import annotations

import http.client
import json
import os
import random
import re
import sys
import threading
import time
import uuid
from argparse import ArgumentParser
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from statistics import median
from typing import Any
from urllib.parse import quote, urlsplit

BOUND_S = 1.0
LATEST_S = 30.0
PACE_S = 0.5  # between two fetches of a page (`live.js`)
PAUSE_S = (0.2, 3.0)  # between two problems: some in bursts, some after a rest


@dataclass
class Seen:
    """When each word was first seen, by who looks."""

    at: dict[str, float] = field(default_factory=dict)
    moved: threading.Condition = field(default_factory=threading.Condition)

    def add(self, words: list[str]) -> None:
        """Note what is shown now."""
        now = time.perf_counter()
        with self.moved:
            for word in words:
                self.at.setdefault(word, now)
            self.moved.notify_all()

    def wait(self, word: str) -> float:
        """Give when a word was seen."""
        with self.moved:
            if not self.moved.wait_for(lambda: word in self.at, LATEST_S):
                raise AssertionError(f"{word} was not seen within {LATEST_S} s")
            return self.at[word]


@dataclass
class Service:
    """The running service, and who speaks to it."""

    host: str
    port: int
    slug: str
    lead: str  # a token
    worker: str
    session: str

    def ask(self, method: str, path: str, body: Any = None, **headers: str) -> bytes:
        """Make one call on a connection of its own."""
        connection = http.client.HTTPConnection(self.host, self.port, timeout=60)
        try:
            usual = {"Content-Type": "application/json", "Host": f"localhost:{self.port}"}
            connection.request(method, path, body and json.dumps(body), usual | headers)
            answer = connection.getresponse()
            told = answer.read()
            if answer.status != 200:
                raise AssertionError((path, answer.status, told[:500]))
            return told
        finally:
            connection.close()

    def tell(self, seq: int, kind: str, payload: dict[str, Any]) -> dict[str, Any]:
        """Tell one event as the worker's phone does."""
        event = {"id": str(uuid.uuid4()), "kind": kind, "seq": seq, "payload": payload}
        event |= {"client_at": datetime.now(UTC).isoformat(), "schema_version": 1}
        path = f"/api/v1/sites/{self.slug}/events/"
        told = self.ask("POST", path, {"events": [event]}, Authorization=f"Bearer {self.worker}")
        [answer] = json.loads(told)["answers"]
        if answer["state"] != "applied":
            raise AssertionError(answer)
        return dict(answer)

    def carry(self, seen: Seen) -> None:
        """Pull as the lead's phone does, for ever."""
        cursor = ""
        while True:
            query = f"?wait_s=25&cursor={quote(cursor)}" if cursor else ""
            path = f"/api/v1/sites/{self.slug}/pull/{query}"
            told = json.loads(self.ask("GET", path, Authorization=f"Bearer {self.lead}"))
            cursor = told["cursor"]
            problems = [d["body"] for d in told["documents"] if d["kind"] == "problem"]
            seen.add([str(body["text"]) for body in problems if body])

    def watch(self, seen: Seen) -> None:
        """Hear of changes and fetch the page of today, as an open page of the desk does."""
        cookie = {"Cookie": f"sessionid={self.session}", "Host": f"localhost:{self.port}"}
        while True:
            stream = http.client.HTTPConnection(self.host, self.port, timeout=60)
            stream.request("GET", f"/farm/{self.slug}/news/", headers=cookie)
            for line in stream.getresponse():
                if line.startswith(b"data:"):
                    page = self.ask("GET", f"/farm/{self.slug}/today/", **cookie).decode()
                    seen.add(re.findall("seen-[0-9a-f]{12}", page))
                    time.sleep(PACE_S)
            stream.close()


def main(argv: list[str]) -> int:
    """Print the table; 1 where the bound is missed."""
    parser = ArgumentParser(prog="python -m tests.benchmarks.seen_figures", description=__doc__)
    parser.add_argument("data", type=Path)
    parser.add_argument("--rounds", type=int, default=200, metavar="N")
    arguments = parser.parse_args(argv)
    service = find_service(arguments.data)
    phone, desk = Seen(), Seen()
    for look, seen in ((service.carry, phone), (service.watch, desk)):
        threading.Thread(target=look, args=(seen,), daemon=True).start()
    took: dict[str, list[float]] = {"phone": [], "desk": []}
    turn = random.Random(1)
    answer_all()
    for n in range(1, arguments.rounds + 1):
        time.sleep(turn.uniform(*PAUSE_S))
        word, begun = f"seen-{uuid.uuid4().hex[:12]}", time.perf_counter()
        service.tell(n, "problem", {"text": word})
        took["phone"].append(phone.wait(word) - begun)
        took["desk"].append(desk.wait(word) - begun)
        answer_all()
    print(f"{os.cpu_count()} cores; {arguments.rounds} problems told; bound {BOUND_S} s at p99")
    met = [told(name, times) for name, times in took.items()]
    return 0 if all(met) else 1


def told(name: str, times: list[float]) -> bool:
    """Print one line of the table."""
    ordered = sorted(times)
    p99 = ordered[int(0.99 * len(ordered))]
    words = "" if p99 <= BOUND_S else "MISSED"
    print(
        f"{name:<6} p50 {median(ordered):.2f} s  p99 {p99:.2f} s  max {ordered[-1]:.2f} s  {words}"
    )
    return p99 <= BOUND_S


def find_service(data: Path) -> Service:
    """Sign a lead in at the desk and pair two phones, by the service's own database."""
    environment = json.loads((data / "run" / "environment.json").read_text())
    os.environ |= {name: str(value) for name, value in environment.items()}
    import django

    django.setup()
    from django.test import Client

    from crews.people.models import Worker
    from equipment.site.models import Role, Site, User
    from tests.factories import make_phone

    site, now = Site.objects.earliest("pk"), datetime.now(UTC)
    people = Worker.objects.filter(site=site, retired_at=None).order_by("pk")
    lead, worker = (people.filter(role=role)[0] for role in (Role.LEAD, Role.WORKER))
    desk = Client()
    manager = User.objects.filter(memberships__site=site, memberships__role=Role.MANAGER)[0]
    desk.force_login(manager)
    at = urlsplit(os.environ["SITE_URL"])
    _device, of_lead = make_phone(lead, now)
    _device, of_worker = make_phone(worker, now)
    session = desk.cookies["sessionid"].value
    return Service("127.0.0.1", at.port or 80, site.slug, of_lead, of_worker, session)


def answer_all() -> None:
    """Answer what was told, so that nobody at the farm reads it."""
    from equipment.site.models import Actor
    from schedules.work.decisions import answer_problem
    from schedules.work.models import Problem

    for problem in Problem.objects.filter(text__startswith="seen-", answered_at=None):
        answer_problem(
            site_id=problem.site_id,
            problem_id=problem.pk,
            answer="of a measurement",
            by=Actor.objects.get(pk=problem.reported_by_id),
            at=datetime.now(UTC),
        )


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
