"""The drill: a farm is lost with its whole data folder, and comes back from its backup (R23, R24).

Phones keep what they told until a backup holds it, and no longer: here each forgets at once what
`kept_through` lets it forget. After the restore they tell the rest again, same ids and numbers,
and the farm is what it was: nothing told is missing, nothing is there twice.
"""

from __future__ import annotations

import io
import json
import os
import random
import shutil
import subprocess
import sys
import time
import urllib.parse
import urllib.request
import uuid
from collections import Counter
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from config.backup_folder import Manifest, read_manifest
from config.rooms import BASE_DIR
from tests.config.service import Service
from tests.faults.fire import ask_farm

pytestmark = pytest.mark.faults

SEED = 20261127
N_PHONES = 3
BEFORE, AFTER = 20, 15  # events a phone, besides those while the backup is made
SOME_HELD = 5  # first ones, told again although the backup holds them


@dataclass
class Phone:
    """What a phone knows: its token, what it has told and not yet forgotten, where it stands."""

    service: Service
    site: str
    token: str
    orders: list[int]
    rng: random.Random
    told: list[dict[str, Any]] = field(default_factory=list)  # all, for the judge alone
    kept: list[tuple[int, dict[str, Any]]] = field(default_factory=list)  # version, event
    photos: dict[str, bytes] = field(default_factory=dict)
    cursor: str = ""
    epoch: str = ""

    def call(self, method: str, path: str, body: bytes | None = None, kind: str = "") -> Any:
        address = f"http://127.0.0.1:{self.service.port}/api/v1/sites/{self.site}/{path}"
        head = {"Authorization": f"Bearer {self.token}", "Content-Type": kind}
        asked = urllib.request.Request(address, body, head, method=method)
        with urllib.request.urlopen(asked, timeout=30) as reply:
            return reply.status, reply.read()

    def tell_one(self) -> None:
        """Say the next thing: a work order is begun, then gets loads."""
        order = self.orders[len(self.told) % len(self.orders)]
        is_first = len(self.told) < len(self.orders)
        event = {
            "id": str(uuid.UUID(int=self.rng.getrandbits(128), version=4)),
            "kind": "start" if is_first else "load",
            "payload": {"work_order": order},
            "seq": len(self.told) + 1,
            "client_at": datetime.now(UTC).isoformat(),
        }
        self.told.append(event)
        self.send([event])

    def send(self, events: list[dict[str, Any]]) -> None:
        """Send events, all of which are taken; keep them with the version that holds them."""
        body = json.dumps({"events": events}).encode()
        _status, text = self.call("POST", "events/", body, "application/json")
        answers = json.loads(text)["answers"]
        assert [answer["state"] for answer in answers] == ["applied"] * len(events), answers
        known = {event["id"] for _version, event in self.kept}
        for event, answer in zip(events, answers, strict=True):
            if event["id"] not in known:
                self.kept.append((answer["version"], event))

    def pull(self) -> dict[str, Any]:
        """Pull, and forget what a backup holds."""
        query = urllib.parse.urlencode({"cursor": self.cursor} if self.cursor else {})
        pulled: dict[str, Any] = json.loads(self.call("GET", f"pull/?{query}")[1])
        if self.epoch in ("", pulled["epoch"]):
            held = min(pulled["version"], pulled["kept_through"])
            self.kept = [(version, event) for version, event in self.kept if version > held]
        self.cursor, self.epoch = pulled["cursor"], pulled["epoch"]
        return pulled

    def take_photo(self) -> None:
        picture = Image.new("RGB", (40, 30), tuple(self.rng.randbytes(3)))
        file = io.BytesIO()
        picture.save(file, "JPEG")
        name = str(uuid.UUID(int=self.rng.getrandbits(128), version=4))
        self.photos[name] = file.getvalue()
        assert self.send_photo(name) == 201

    def send_photo(self, name: str) -> int:
        body = self.photos[name]
        status, _text = self.call("PUT", f"attachments/{name}/", body, "image/jpeg")
        return int(status)

    def see_photo(self, name: str) -> bytes:
        seen: bytes = self.call("GET", f"attachments/{name}/")[1]
        return seen


def ask(service: Service, *what: str) -> Any:
    """Run the drill's own script on the service's addresses."""
    environment = {**os.environ, **json.loads(service.folder.environment.read_text())}
    words = [sys.executable, "-m", "tests.faults.drill_farm", *what]
    done = subprocess.run(words, check=True, cwd=BASE_DIR, env=environment, capture_output=True)
    return json.loads(done.stdout)


def command(service: Service, *words: str) -> subprocess.Popen[str]:
    """Begin one of the commands for people, on the service's data folder."""
    argv = [sys.executable, str(BASE_DIR / "manage.py"), *words]
    argv += ["--data", str(service.folder.root)]
    pipe = subprocess.PIPE
    return subprocess.Popen(argv, env=service.environment(), stdout=pipe, stderr=pipe, text=True)


def finished(process: subprocess.Popen[str]) -> str:
    out, err = process.communicate(timeout=60)
    assert process.returncode == 0, err
    return out.strip()


def paired(service: Service, rng: random.Random) -> list[Phone]:
    farm = ask_farm(service, "make")
    tokens, orders = ask(service, "pair", str(N_PHONES)), farm["orders"]
    return [
        Phone(service, farm["site"], token, orders[number::N_PHONES], rng)
        for number, token in enumerate(tokens)
    ]


def back_up_while_told(service: Service, phones: list[Phone]) -> tuple[Path, int]:
    """Make a backup while phones tell; give where it is and how much was told meanwhile."""
    n_meanwhile = 0
    (service.root / "backups").mkdir(exist_ok=True)
    backup = command(service, "backup", "--out", str(service.root / "backups"))
    while backup.poll() is None:
        phones[n_meanwhile % N_PHONES].tell_one()
        n_meanwhile += 1
    return Path(finished(backup)), n_meanwhile


def destroy(service: Service) -> None:
    """Kill all that runs, and let the whole data folder be gone."""
    service.process.kill()
    service.process.wait(60)
    service.wait(lambda: not service.living(), "every child has ended", 30)
    shutil.rmtree(service.folder.root)


def test_farm_comes_back_from_its_backup_and_phones_heal_it(service: Service) -> None:
    print(f"seed {SEED}")
    rng = random.Random(SEED)
    phones = paired(service, rng)
    for phone in phones * BEFORE:
        phone.tell_one()
    for phone in phones:
        phone.take_photo()
        phone.pull()

    made, n_meanwhile = back_up_while_told(service, phones)

    manifest = read_manifest(made)
    held = [forgotten(phone, manifest) for phone in phones]
    was_in_the_midst(manifest, held, phones, n_meanwhile)
    for phone in phones * AFTER:
        phone.tell_one()
    for phone in phones:
        phone.take_photo()
    known, seen = ask(service, "tell"), see_all(phones)

    destroy(service)
    began = time.monotonic()
    finished(command(service, "restore", str(made)))
    service.ensure_running()
    print(f"restored and up again after {time.monotonic() - began:.1f} s")

    assert ask(service, "tell")["events"] != known["events"]  # or there was nothing to heal
    heal(phones, held)
    found = ask(service, "tell")
    nothing_is_lost_or_doubled(phones, known, found)
    assert see_all(phones) == seen
    assert found["epoch"] != known["epoch"]
    for phone in phones:  # and work goes on
        phone.tell_one()


def forgotten(phone: Phone, manifest: Manifest) -> list[dict[str, Any]]:
    """Give what a phone no longer keeps, once it has heard how far the backup goes."""
    pulled = phone.pull()
    assert pulled["kept_through"] == manifest.facts.sites[phone.site].version
    kept = {event["id"] for _version, event in phone.kept}
    return [event for event in phone.told if event["id"] not in kept]


def was_in_the_midst(
    manifest: Manifest, held: list[list[dict[str, Any]]], phones: list[Phone], n_meanwhile: int
) -> None:
    """Show that the backup's moment lay among what was told while it was made."""
    n_held = manifest.facts.tables["equipment_event"].rows
    n_told = sum(len(phone.told) for phone in phones)
    print(f"{n_told} told, {n_meanwhile} of them while the backup was made; it holds {n_held}")
    assert n_told - n_meanwhile <= n_held < n_told
    assert sum(map(len, held)) == n_held  # phones forget what it holds, and nothing else


def heal(phones: list[Phone], held: list[list[dict[str, Any]]]) -> None:
    """Let phones notice and tell again what they keep, and some of what the backup holds."""
    for phone, known in zip(phones, held, strict=True):
        before = phone.epoch
        pulled = phone.pull()
        assert pulled["epoch"] != before
        assert pulled["whole"]
        again = [*known[:SOME_HELD], *(event for _version, event in phone.kept)]
        assert len(again) > SOME_HELD
        for start in range(0, len(again), 50):
            phone.send(again[start : start + 50])
        assert [phone.send_photo(name) for name in phone.photos] == [200, 201]


def see_all(phones: list[Phone]) -> dict[str, bytes]:
    """Fetch every photo by each other phone."""
    return {
        name: other.see_photo(name)
        for phone, other in zip(phones, phones[1:] + phones[:1], strict=True)
        for name in phone.photos
    }


def nothing_is_lost_or_doubled(
    phones: list[Phone], known: dict[str, Any], found: dict[str, Any]
) -> None:
    assert found["events"] == known["events"]
    assert {id_ for id_, *_rest in found["events"]} == {e["id"] for p in phones for e in p.told}
    by_phone = Counter(device for _id, device, *_rest in found["events"])
    assert sorted(by_phone.values()) == sorted(len(phone.told) for phone in phones)
    assert found["photos"] == known["photos"]
    loads = Counter(
        str(event["payload"]["work_order"])
        for phone in phones
        for event in phone.told
        if event["kind"] == "load"
    )
    assert {order: n for order, n in found["loads"].items() if n} == loads
