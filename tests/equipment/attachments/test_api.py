"""Photos and voice notes at the door: who, what, how much, how often."""

import uuid
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from rest_framework.test import APIClient

from equipment.attachments import services, store
from equipment.attachments.models import Attached, Attachment, AttachmentSpace, SubjectKind
from equipment.attachments.queries import attachments_of
from equipment.attachments.services import MAX_BYTES, attach
from equipment.site.errors import NotFoundError
from tests.equipment.attachments.samples import HTML, photo, voice
from tests.factories import make_phone, make_site, make_worker
from tests.farm import Farm

pytestmark = pytest.mark.django_db


def path(attachment_id: uuid.UUID, slug: str = "ours") -> str:
    return f"/api/v1/sites/{slug}/attachments/{attachment_id}/"


def put(
    client: APIClient,
    body: bytes,
    attachment_id: uuid.UUID | None = None,
    content_type: str = "image/jpeg",
) -> Any:
    return client.put(path(attachment_id or uuid.uuid4()), body, content_type=content_type)


def files() -> list[Path]:
    return [file for file in Path(settings.MEDIA_ROOT).rglob("*") if file.is_file()]


@pytest.fixture(autouse=True)
def nothing_kept_yet(db: None, settings: Any, tmp_path: Path, module_farm: Farm) -> None:
    settings.MEDIA_ROOT = tmp_path
    Attached.objects.all().delete()
    Attachment.objects.all().delete()


def test_photo_goes_in_and_comes_out_for_the_site_alone(farm: Farm, as_worker: APIClient) -> None:
    id_ = uuid.uuid4()

    taken = put(as_worker, photo(), id_)

    assert taken.status_code == 201, taken.content
    assert (taken.json()["kind"], taken.json()["width"]) == ("photo", 64)
    given = as_worker.get(path(id_))
    assert given.content.startswith(b"\xff\xd8\xff")  # JPEG, ISO/IEC 10918-1, B.1.1.3
    assert given["Content-Type"] == "image/jpeg"
    assert given["X-Content-Type-Options"] == "nosniff"
    assert "immutable" in given["Cache-Control"]
    assert given["Content-Disposition"] == f'inline; filename="{id_}.jpg"'
    again = as_worker.get(path(id_), headers={"If-None-Match": given["ETag"]})
    assert (again.status_code, again.content) == (304, b"")


def test_same_file_again_is_the_same_row_and_another_under_its_id_is_refused(
    farm: Farm, as_worker: APIClient
) -> None:
    id_ = uuid.uuid4()
    first = put(as_worker, photo(), id_)

    again = put(as_worker, photo(), id_)
    other = put(as_worker, photo(32, 32), id_)

    assert (again.status_code, again.json()) == (200, first.json())
    assert (other.status_code, other.json()["code"]) == (422, "attachment_id_used")
    assert AttachmentSpace.objects.get().n_bytes == Attachment.objects.get().n_bytes


def test_same_picture_under_two_ids_is_one_file(farm: Farm, as_worker: APIClient) -> None:
    assert {put(as_worker, photo()).status_code for _n in range(2)} == {201}

    assert Attachment.objects.count() == 2
    [file] = files()
    assert file == store.path_of(Attachment.objects.all()[0].sha256)


def test_id_of_another_site_is_not_found(farm: Farm, as_worker: APIClient) -> None:
    stranger = make_worker(make_site("theirs"), "eve")
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {make_phone(stranger, farm.now)[1]}")
    id_ = uuid.uuid4()
    assert client.put(path(id_, "theirs"), photo(), content_type="image/jpeg").status_code == 201

    assert as_worker.get(path(id_)).status_code == 404
    assert put(as_worker, photo(), id_).status_code == 404
    assert client.get(path(id_)).status_code == 404
    with pytest.raises(NotFoundError):
        attach(
            attachment_ids=[id_],
            subject_kind=SubjectKind.MACHINE,
            subject_id=farm.machines[0].pk,
            **farm.who(),
        )


@pytest.mark.parametrize(
    ("content_type", "body", "status", "code"),
    [
        ("image/jpeg", b"", 422, "attachment_refused"),
        ("image/jpeg", HTML, 422, "attachment_refused"),
        ("image/png", photo(), 422, "attachment_refused"),
        ("image/jpeg", photo()[:300], 422, "attachment_refused"),
        ("audio/webm", photo(), 422, "attachment_refused"),
        ("image/svg+xml", b"<svg/>", 415, "unsupported_media_type"),
        ("text/html", HTML, 415, "unsupported_media_type"),
        ("application/json", b"{}", 415, "unsupported_media_type"),
        ("image/jpeg", b"\xff\xd8\xff" + bytes(MAX_BYTES), 413, "too_large"),
    ],
)
def test_what_is_no_photo_is_refused_and_leaves_nothing(
    farm: Farm, as_worker: APIClient, content_type: str, body: bytes, status: int, code: str
) -> None:
    before = farm.fingerprint()

    refused = put(as_worker, body, content_type=content_type)

    assert (refused.status_code, refused.json()["code"]) == (status, code)
    assert refused["Content-Type"] == "application/problem+json"
    assert farm.fingerprint() == before
    assert files() == []


def test_file_that_ends_its_decoder_is_refused_and_nothing_else_ends(
    farm: Farm, as_worker: APIClient, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    deadly = tmp_path / "deadly.py"
    deadly.write_text("import os, signal; os.kill(os.getpid(), signal.SIGSEGV)")
    monkeypatch.setattr(services, "DECODER", deadly)

    assert put(as_worker, photo()).json()["code"] == "attachment_refused"

    monkeypatch.undo()
    assert put(as_worker, photo()).status_code == 201


def test_decoders_all_at_work_ask_to_come_again(
    farm: Farm, as_worker: APIClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(services, "WAIT_S", 0.0)
    held = [services._decoders.acquire() for _n in range(2)]
    try:
        busy = put(as_worker, photo())
    finally:
        for _one in held:
            services._decoders.release()

    assert (busy.status_code, busy["Retry-After"]) == (503, "5")
    assert Attachment.objects.count() == 0


def test_voice_note_is_given_in_ranges_as_players_ask(farm: Farm, as_worker: APIClient) -> None:
    id_ = uuid.uuid4()
    taken = put(as_worker, voice(), id_, "audio/webm;codecs=opus")
    assert (taken.status_code, taken.json()["kind"]) == (201, "voice")
    whole = as_worker.get(path(id_))
    n = len(whole.content)
    assert whole["Accept-Ranges"] == "bytes"

    def asked(said: str) -> Any:
        return as_worker.get(path(id_), headers={"Range": said, "Accept": "audio/*"})

    # RFC 9110, 14.1.2: first to last, from an offset on, the last so many.
    for said, start, end in (
        ("bytes=0-1", 0, 1),
        ("bytes=10-", 10, n - 1),
        ("bytes=-5", n - 5, n - 1),
        (f"bytes=0-{n + 99}", 0, n - 1),
    ):
        part = asked(said)
        assert (part.status_code, part.content) == (206, whole.content[start : end + 1]), said
        assert part["Content-Range"] == f"bytes {start}-{end}/{n}"
    beyond = asked(f"bytes={n}-")
    assert (beyond.status_code, beyond["Content-Range"]) == (416, f"bytes */{n}")
    assert asked("lines=1-2").status_code == 200  # an unknown unit is passed over


def test_sender_has_a_quota_for_each_day(
    farm: Farm, as_worker: APIClient, as_manager: APIClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    size = put(as_worker, photo()).json()["n_bytes"]
    monkeypatch.setattr(services, "SENDER_BYTES_D", 2 * size)

    assert put(as_worker, photo()).status_code == 201
    full = put(as_worker, photo())

    assert (full.status_code, full.json()["code"]) == (413, "attachments_of_the_day")
    assert put(as_manager, photo()).status_code == 201
    Attachment.objects.update(received_at=farm.now - timedelta(hours=25))
    assert put(as_worker, photo()).status_code == 201


def test_site_has_a_quota_for_good(
    farm: Farm, as_worker: APIClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    size = put(as_worker, photo()).json()["n_bytes"]
    monkeypatch.setattr(services, "SITE_BYTES", 2 * size - 1)

    full = put(as_worker, photo())

    assert (full.status_code, full.json()["code"]) == (507, "no_room")
    assert AttachmentSpace.objects.get().n_bytes == size


def test_photo_may_be_told_of_before_it_arrives(farm: Farm, as_worker: APIClient) -> None:
    id_, machine = uuid.uuid4(), farm.machines[0].pk
    for _twice in range(2):
        attach(
            attachment_ids=[id_, id_],
            subject_kind=SubjectKind.MACHINE,
            subject_id=machine,
            **farm.who(),
        )
    assert Attached.objects.count() == 1
    assert attachments_of(farm.site.pk, SubjectKind.MACHINE, [machine]) == {}

    put(as_worker, photo(), id_)

    [found] = attachments_of(farm.site.pk, SubjectKind.MACHINE, [machine])[machine]
    assert found.pk == id_


def test_lost_file_is_told_as_lost(farm: Farm, as_worker: APIClient) -> None:
    id_ = uuid.uuid4()
    put(as_worker, photo(), id_)
    store.path_of(Attachment.objects.get().sha256).unlink()

    assert as_worker.get(path(id_)).status_code == 404


def test_file_is_whole_or_not_there(monkeypatch: pytest.MonkeyPatch) -> None:
    name, seen = "ab" * 32, list[bool]()

    def fail(*_args: Any) -> None:
        seen.append(store.path_of(name).exists())
        raise OSError("disk full")

    monkeypatch.setattr("os.fsync", fail)
    with pytest.raises(OSError, match="disk full"):
        store.keep(name, b"x")

    assert seen == [False]  # under its name not before all of it is on the disk
    assert files() == []
