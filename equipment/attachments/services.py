"""Taking in photos and voice notes, and saying what they are about."""

from __future__ import annotations

import hashlib
import json
import subprocess
import sys
import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from threading import BoundedSemaphore

from django.db.models import Sum
from django.utils.translation import gettext as _

from equipment.errors import (
    AttachmentIdUsedError,
    AttachmentRefusedError,
    DecodersBusyError,
    NoRoomError,
    TooManyAttachmentsError,
)
from equipment.site.callers import Caller
from equipment.site.errors import NotFoundError
from equipment.site.models import Actor, Event
from equipment.site.writes import site_write

from . import decoding, store
from .models import Attached, Attachment, AttachmentKind, AttachmentSpace, SubjectKind

MAX_BYTES = 5_000_000  # of what is sent
SITE_BYTES = 20_000_000_000  # of what is kept: some 80,000 photos
SENDER_BYTES_D = 150_000_000  # from one phone in 24 hours: some 500 photos
DAY = timedelta(hours=24)

DECODER = Path(decoding.__file__)
DECODE_S = 60.0  # a photo takes half a second, two minutes of voice one
WAIT_S = 30.0
_decoders = BoundedSemaphore(2)  # each may take a core and some hundred megabytes


@dataclass(frozen=True, slots=True)
class Received:
    """An attachment, and whether it is new."""

    attachment: Attachment
    is_new: bool


def take_in(
    *, caller: Caller, attachment_id: uuid.UUID, content_type: str, body: bytes, at: datetime
) -> Received:
    """Take a file in under the id that its sender made; the same again changes nothing.

    What is kept is made anew from what a decoder reads, stored before its row. Quotas are exact
    under the lock of the site's space. An id of another site is not found here.
    """
    sent = hashlib.sha256(body).hexdigest()
    if (known := _known(caller, attachment_id, sent)) is not None:
        return Received(known, is_new=False)
    _check_room(caller, at, n_more=0)  # before any work is spent on it
    made = _remade(content_type, body)
    is_photo = content_type in decoding.PHOTOS
    digest = hashlib.sha256(made.body).hexdigest()
    store.keep(digest, made.body)
    facts = Attachment(
        id=attachment_id,
        site=caller.site,
        actor=caller.actor,
        device_key=caller.device_id,
        kind=AttachmentKind.PHOTO if is_photo else AttachmentKind.VOICE,
        sent_sha256=sent,
        sha256=digest,
        n_bytes=len(made.body),
        width=made.width,
        height=made.height,
        seconds=made.seconds,
        received_at=at,
    )
    return _write_row(caller, facts, at)


def _write_row(caller: Caller, row: Attachment, at: datetime) -> Received:
    with site_write(caller.site.pk, at) as write:
        AttachmentSpace.objects.get_or_create(site=caller.site)
        space = AttachmentSpace.objects.select_for_update(no_key=True).get(site=caller.site)
        if (known := _known(caller, row.pk, row.sent_sha256)) is not None:
            return Received(known, is_new=False)
        _check_room(caller, at, n_more=row.n_bytes)
        row.save(force_insert=True)
        space.n_bytes += row.n_bytes
        space.save(update_fields=["n_bytes"])
        write.touch()
    return Received(row, is_new=True)


def _known(caller: Caller, attachment_id: uuid.UUID, sent: str) -> Attachment | None:
    """Give what stands under an id; other bytes under it are refused."""
    known = Attachment.objects.filter(id=attachment_id).first()
    if known is None:
        return None
    if known.site_id != caller.site.pk:
        raise NotFoundError(_("There is no such attachment here."))
    if known.sent_sha256 != sent:
        raise AttachmentIdUsedError(_("Another file was sent under this id. Make a new id."))
    return known


def _check_room(caller: Caller, at: datetime, *, n_more: int) -> None:
    """Refuse what goes beyond the site's space, or beyond what one sender may send in a day."""
    space = AttachmentSpace.objects.filter(site=caller.site).first()
    if (space.n_bytes if space else 0) + n_more > SITE_BYTES:
        raise NoRoomError(
            _("This farm's %d GB for photos and voice notes are full: tell a manager.")
            % (SITE_BYTES // 10**9)
        )
    sent = Attachment.objects.filter(
        site=caller.site, device_key=caller.device_id, received_at__gt=at - DAY
    )
    if caller.device_id is None:
        sent = sent.filter(actor=caller.actor)
    if (sent.aggregate(n=Sum("n_bytes"))["n"] or 0) + n_more > SENDER_BYTES_D:
        raise TooManyAttachmentsError(
            _("More than %d MB of photos in 24 hours: the rest is taken tomorrow.")
            % (SENDER_BYTES_D // 10**6)
        )


def _remade(content_type: str, body: bytes) -> decoding.Made:
    """Have a file made anew by a process of its own: whatever is in it ends that one alone."""
    if not _decoders.acquire(timeout=WAIT_S):
        raise DecodersBusyError(_("Too many photos at once: send it again in a minute."))
    try:
        done = subprocess.run(  # noqa: S603  our own file, with a type from our own list
            [sys.executable, "-I", str(DECODER), content_type],
            input=body,
            capture_output=True,
            timeout=DECODE_S,
            check=True,
        )
    except (subprocess.TimeoutExpired, subprocess.CalledProcessError):
        raise _refused("not_readable") from None
    finally:
        _decoders.release()
    head, _newline, made = done.stdout.partition(b"\n")
    facts = json.loads(head)
    if facts["refusal"]:
        raise _refused(facts["refusal"])
    return decoding.Made(body=made, **facts)


def _refused(why: str) -> AttachmentRefusedError:
    words = {
        "empty": _("The file is empty."),
        "not_readable": _(
            "The file cannot be read as what it says it is: it is of another kind, cut short or"
            " broken. Take it again."
        ),
        "too_many_pixels": _("The photo has more than 20 megapixels. Send a smaller one."),
        "too_long": _("The voice note is longer than two minutes. Make it shorter."),
    }
    return AttachmentRefusedError(words[why])


def attach(
    *,
    site_id: int,
    attachment_ids: Iterable[uuid.UUID],
    subject_kind: SubjectKind,
    subject_id: int,
    by: Actor,
    at: datetime,
    event: Event | None = None,
) -> None:
    """Say what attachments are about, whether their files are here yet or not; once each.

    The subject must be the site's own: the caller has looked.
    """
    ids = list(dict.fromkeys(attachment_ids))
    if not ids:
        return
    with site_write(site_id, at) as write:
        if Attachment.objects.filter(id__in=ids).exclude(site_id=site_id).exists():
            raise NotFoundError(_("There is no such attachment here."))
        rows = [
            Attached(
                site_id=site_id,
                attachment_id=attachment_id,
                subject_kind=subject_kind,
                subject_id=subject_id,
                by=by,
                at=at,
                event=event,
            )
            for attachment_id in ids
        ]
        Attached.objects.bulk_create(rows, ignore_conflicts=True)
        write.touch()
