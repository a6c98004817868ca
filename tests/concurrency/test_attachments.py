"""Photos sent at one moment: quotas hold to the byte, an id is taken once."""

import uuid
from contextlib import suppress
from pathlib import Path
from threading import Barrier, BrokenBarrierError
from typing import Any

import pytest

from crews.devices.auth import Phone
from equipment.attachments import services
from equipment.attachments.decoding import Made
from equipment.attachments.models import Attachment, AttachmentSpace
from equipment.attachments.services import Received, take_in
from equipment.errors import NoRoomError
from equipment.site.callers import Caller
from tests.concurrency.threads import run_together
from tests.factories import make_phone, make_site, make_worker, utc

pytestmark = pytest.mark.django_db(transaction=True)

NOON = utc("2026-03-04 12:00")
SIZE = 100
MEET_S = 1.0  # how long one waits for another that the lock keeps away


@pytest.fixture
def caller(settings: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Caller:
    settings.MEDIA_ROOT = tmp_path
    monkeypatch.setattr(
        services, "_remade", lambda _type, body: Made(body=body * SIZE, width=1, height=1)
    )
    device, _token = make_phone(make_worker(make_site("ours"), "ana"), NOON)
    caller = Phone(device).caller_on("ours")
    assert caller is not None
    AttachmentSpace.objects.create(site=caller.site)
    return caller


def send(caller: Caller, body: bytes, id_: uuid.UUID | None = None) -> Received:
    return take_in(
        caller=caller,
        attachment_id=id_ or uuid.uuid4(),
        content_type="image/jpeg",
        body=body,
        at=NOON,
    )


def test_limit_lets_exactly_so_many_through(
    caller: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(services, "SITE_BYTES", 5 * SIZE)

    ends = run_together(*(lambda n=n: send(caller, bytes([n])) for n in range(16)))

    assert sum(isinstance(end, Received) for end in ends) == 5
    assert sum(isinstance(end, NoRoomError) for end in ends) == 11
    assert AttachmentSpace.objects.get().n_bytes == 5 * SIZE


def test_one_id_sent_at_once_is_one_row(caller: Caller) -> None:
    id_ = uuid.uuid4()

    ends = run_together(*(lambda: send(caller, b"x", id_) for _n in range(8)))

    assert sorted(end.is_new for end in ends if isinstance(end, Received)) == [False] * 7 + [True]
    assert AttachmentSpace.objects.get().n_bytes == Attachment.objects.get().n_bytes


def test_without_the_lock_more_would_pass(caller: Caller, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(services, "SITE_BYTES", SIZE)
    plain = AttachmentSpace.objects.all()
    monkeypatch.setattr(AttachmentSpace.objects, "select_for_update", lambda **_how: plain)
    meet = Barrier(2)
    check_room = services._check_room

    def check_together(caller: Caller, at: Any, *, n_more: int) -> None:
        check_room(caller, at, n_more=n_more)
        if n_more:
            with suppress(BrokenBarrierError):
                meet.wait(MEET_S)

    monkeypatch.setattr(services, "_check_room", check_together)

    ends = run_together(*(lambda n=n: send(caller, bytes([n])) for n in range(2)))

    assert sum(isinstance(end, Received) for end in ends) == 2  # the guard is what keeps one out
