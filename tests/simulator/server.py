"""The server's side of a simulation: the real application on PostgreSQL, one request at a time.

All histories of a run share one site in one transaction; a history begins and ends at a savepoint,
and so does a backup that is taken and restored. Times are the simulation's.
"""

from __future__ import annotations

import base64
import json
import uuid
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import cache
from typing import Any
from unittest.mock import patch

import time_machine
from django.db import connection
from django.db.models import F
from django.test import Client
from rest_framework.utils.encoders import JSONEncoder

from crews.devices.models import Device
from crews.devices.services import hashed, make_pairing_code, revoke_device
from crews.people.models import Crew, Worker
from equipment.attachments import services as attachments
from equipment.attachments.models import Attached, Attachment, AttachmentSpace
from equipment.flushing.models import Lock
from equipment.machines.models import MeterReading
from equipment.site.models import Event, PlaceKind, Role, SiteVersion
from equipment.site.queries import site_version
from equipment.site.writes import site_write
from schedules.dayplan.models import Assignment, Claim
from schedules.phone import intake
from schedules.phone.tellers import teller_of
from schedules.work.models import Problem, Report, WorkOrder
from tests.equipment.attachments.samples import photo, voice
from tests.factories import (
    make_machine,
    make_milking,
    make_parlor,
    make_pen,
    make_place,
    make_site,
    make_visit,
    make_work_order,
    make_worker,
    utc,
)

START = utc("2026-03-04 16:00")
MINUTE = timedelta(minutes=1)
N_JOBS = 3  # of each person
Op = dict[str, Any]


@cache
def samples() -> list[Op]:
    """What phones take: photos and a voice note, made once."""
    files = [("photo", "image/jpeg", photo(64, 48)), ("photo", "image/jpeg", photo(48, 64))]
    files.append(("voice", "audio/mp4", voice("audio/mp4", 0.2)))
    return [
        {"kind": kind, "type": type_, "bytes": base64.b64encode(body).decode()}
        for kind, type_, body in files
    ]


remade = cache(attachments._remade)  # each of the few files is decoded once a process


class CutError(BaseException):
    """The server's process ends in the midst of a request: nothing of the application sees it."""


@dataclass
class Cut:
    """Ends the process at its n-th statement that is no read; the end itself goes through."""

    left: int

    def __call__(self, execute: Callable[..., Any], sql: str, *given: Any) -> Any:
        self.left -= not sql.lstrip().startswith("SELECT")
        if self.left == 0:
            self.left = -1
            raise CutError
        return execute(sql, *given)


class Server:
    """Answers the simulation's lines."""

    def __init__(self, n_phones: int) -> None:
        self.site = make_site("sim")
        self.lead = make_worker(self.site, "lead", role=Role.MANAGER)
        self.crews = [
            Crew.objects.create(site=self.site, key=key, name=key.title()) for key in ("a", "b")
        ]
        self.place = make_place(self.site, "shop", PlaceKind.SHOP)
        self.pen = make_pen(self.site)
        parlor = make_parlor(self.site)
        milking = make_milking(parlor, START + 2 * 60 * MINUTE)
        self.visits = [make_visit(milking, self.pen, first_out_at=START + 3 * 60 * MINUTE)]
        self.people = [self._person(number) for number in range(n_phones)]
        self.client = Client()
        self.start = ""
        self.backups: list[str] = []

    def _person(self, number: int) -> tuple[Worker, Op]:
        role = Role.LEAD if number == 2 else Role.WORKER
        worker = make_worker(self.site, f"p{number}", role=role, crew=self.crews[number // 2 % 2])
        machine = make_machine(self.site, f"m{number}")
        MeterReading.objects.create(
            site=self.site,
            machine=machine,
            read_at=START - 60 * MINUTE,
            meter_h=100,
            by=worker.actor,
        )
        jobs = [self._job(worker, number, turn) for turn in range(N_JOBS)]
        return worker, {
            "worker": worker.pk,
            "actor": worker.actor_id,
            "crew": self.crews.index(worker.crew) if worker.crew else None,
            "jobs": [job.pk for job in jobs],
            "machine": machine.pk,
            "place": make_place(self.site, f"lane-{number}", PlaceKind.LANE).pk,
        }

    def _job(self, worker: Worker, number: int, turn: int) -> WorkOrder:
        starts_at = START + (number * 40 + turn * 11) * MINUTE
        job = make_work_order(
            self.site,
            f"job/{number}/{turn}",
            place=self.place,
            starts_after=START - 60 * MINUTE,
            due_at=START + 300 * MINUTE,
        )
        span = (starts_at, starts_at + 10 * MINUTE)
        given = Assignment.objects.create(
            site=self.site, work_order=job, starts_at=span[0], ends_at=span[1]
        )
        Claim.objects.create(site=self.site, assignment=given, worker=worker, span=span)
        return job

    # What the simulation asks -------------------------------------------------------------------

    def answer(self, op: Op) -> Any:
        """Do one thing at its time."""
        at = START + timedelta(milliseconds=op.get("at", 0))
        with time_machine.travel(at, tick=False):
            return getattr(self, f"do_{op['op']}")(op, at)

    def do_begin(self, op: Op, at: datetime) -> Any:
        """Begin a history from the site as it was built."""
        if self.start:
            connection.savepoint_rollback(self.start)
        self.start = str(connection.savepoint())
        self.backups = []
        people = [facts for _worker, facts in self.people]
        return {"people": people, "visit": self.visits[0].pk, "samples": samples()}

    def do_http(self, op: Op, at: datetime) -> Any:
        """Answer one request, or end in the midst of it."""
        headers = {"Authorization": f"Bearer {op['token']}"} if op.get("token") else {}
        is_file = op.get("file") is not None
        body = base64.b64decode(op["file"]) if is_file else op.get("body") or ""
        with ExitStack() as stack:
            stack.enter_context(patch.object(attachments, "_remade", remade))
            if op.get("cut"):
                stack.enter_context(connection.execute_wrapper(Cut(op["cut"])))
            try:
                response = self.client.generic(
                    op["method"],
                    op["path"],
                    body,
                    content_type=op.get("type") or "application/json",
                    headers=headers,
                )
            except CutError:
                return {"cut": True}
        return {
            "status": response.status_code,
            "body": response.content.decode(),
            "retry": response.headers.get("Retry-After"),
        }

    def do_code(self, op: Op, at: datetime) -> Any:
        """Have a lead make a pairing code for a person, or for a crew that shares a phone."""
        worker, facts = self.people[op["person"]]
        whose = (
            {"crew_id": self.crews[facts["crew"]].pk}
            if op.get("is_shared")
            else {"worker_id": worker.pk}
        )
        return make_pairing_code(site_id=self.site.pk, by=self.lead.actor, at=at, **whose)

    def do_backup(self, op: Op, at: datetime) -> Any:
        """Take a backup, which then holds everything up to now."""
        self.backups.append(str(connection.savepoint()))
        SiteVersion.objects.filter(site=self.site).update(kept_through=site_version(self.site.pk))

    def do_restore(self, op: Op, at: datetime) -> Any:
        """Go back to the last backup: another life of the database begins."""
        if not self.backups:
            return False
        connection.savepoint_rollback(self.backups[-1])
        life = uuid.uuid5(uuid.NAMESPACE_OID, f"{op['n']}")
        SiteVersion.objects.filter(site=self.site).update(epoch=life)
        return True

    def do_move(self, op: Op, at: datetime) -> Any:
        """Move a person to another crew: what their phone may read changes."""
        worker, _facts = self.people[op["person"]]
        with site_write(self.site.pk, at) as write:
            crew = Worker.objects.get(pk=worker.pk).crew_id
            other = next(c for c in self.crews if c.pk != crew)
            Worker.objects.filter(pk=worker.pk).update(crew=other)
            write.touch()

    def do_revoke(self, op: Op, at: datetime) -> Any:
        """Take a phone's access away."""
        device = Device.objects.filter(token_hash=hashed(op["token"] or "")).first()
        if device is not None:
            revoke_device(site_id=self.site.pk, device_id=device.pk, at=at)

    def do_truth(self, op: Op, at: datetime) -> Any:
        """Tell all that came in and what it did, and what each phone should hold."""
        whole = {
            token: self.do_http(
                {"method": "GET", "path": "/api/v1/sites/sim/pull/", "token": token}, at
            )["body"]
            for token in op["tokens"]
        }
        events = list(
            Event.objects.filter(site=self.site)
            .order_by("version", "device_seq")
            .values("id", "kind", "state", "version", "payload", "actor_id")
        )
        effects: Counter[str] = Counter()
        for model in (Report, MeterReading, Problem, Attached):
            told = model.objects.filter(site=self.site, event__isnull=False)
            effects.update(str(pk) for pk in told.values_list("event_id", flat=True))
        files = Attachment.objects.filter(site=self.site).values("id", "n_bytes")
        space = AttachmentSpace.objects.filter(site=self.site).first()
        orders = WorkOrder.objects.filter(site=self.site).order_by("id")
        return {
            "whole": whole,
            "events": events,
            "effects": effects,
            "orders": list(orders.values("id", "loads", "status", "outcome")),
            "files": [str(file["id"]) for file in files],
            "n_bytes": [sum(file["n_bytes"] for file in files), space.n_bytes if space else 0],
            "n_locks": Lock.objects.filter(site=self.site).count(),
        }


def line_of(answer: Any) -> str:
    """Write an answer as one line."""
    return json.dumps(answer, cls=JSONEncoder)


# What is switched off on the server, to see that the simulation finds it -------------------------


@contextmanager
def without_dedupe() -> Iterator[None]:
    """Take an event that came before for a new one, under the next number."""
    take = intake.Batch.take

    def forgetful(batch: intake.Batch, told: intake.Told, write: Any) -> Any:
        if batch.device is None or told.id not in batch.known:
            return take(batch, told, write)
        number = batch.device.last_seq + 1
        other = replace(told, id=uuid.uuid5(told.id, str(number)), seq=number)
        answer, event = take(batch, other, write)
        return replace(answer or intake._answer_of(event), id=told.id), event

    with patch.object(intake.Batch, "take", forgetful):
        yield


@contextmanager
def without_sequence() -> Iterator[None]:
    """Take events in whatever order they come: each counts as the next one."""
    take = intake.Batch.take

    def loose(batch: intake.Batch, told: intake.Told, write: Any) -> Any:
        if batch.device is not None:
            told = replace(told, seq=batch.device.last_seq + 1)
        return take(batch, told, write)

    with patch.object(intake.Batch, "take", loose):
        yield


@contextmanager
def without_tellers() -> Iterator[None]:
    """Take each word on a shared phone as that of the crew's first."""

    def first_of(caller: Any, device: Any, worker_id: int | None) -> Any:
        if device is not None and device.crew_id is not None:
            worker_id = Worker.objects.filter(crew_id=device.crew_id).earliest("pk").pk
        return teller_of(caller, device, worker_id)

    with patch.object(intake, "teller_of", first_of):
        yield


@contextmanager
def without_exact_space() -> Iterator[None]:
    """Take a photo that came before in again."""
    known = attachments._known

    def forgotten(caller: Any, attachment_id: uuid.UUID, sent: str) -> Any:
        if (row := known(caller, attachment_id, sent)) is not None:
            AttachmentSpace.objects.filter(site=caller.site).update(n_bytes=F("n_bytes") + 1)
        return row

    with patch.object(attachments, "_known", forgotten):
        yield


SABOTAGES: dict[str, Callable[[], Any]] = {
    "no dedupe by id": without_dedupe,
    "no gapless sequence": without_sequence,
    "no names on a shared phone": without_tellers,
    "a photo again takes room again": without_exact_space,
}
