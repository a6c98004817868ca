"""Reads of attachments."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from datetime import datetime

from .models import Attached, Attachment, SubjectKind


def attachments_of(
    site_id: int,
    subject_kind: SubjectKind,
    subject_ids: Collection[int],
    *,
    since: datetime | None = None,
) -> dict[int, list[Attachment]]:
    """Attachments by what they are about, in the order they were told: up to 2 queries.

    One whose file has not arrived is left out, and with `since` what was told before.
    """
    rows = Attached.objects.filter(
        site_id=site_id, subject_kind=subject_kind, subject_id__in=list(subject_ids)
    )
    if since is not None:
        rows = rows.filter(at__gte=since)
    told = list(rows.order_by("id").values_list("subject_id", "attachment_id"))
    here = Attachment.objects.filter(site_id=site_id).in_bulk([id_ for _subject, id_ in told])
    found: dict[int, list[Attachment]] = defaultdict(list)
    for subject_id, attachment_id in told:
        if attachment_id in here:
            found[subject_id].append(here[attachment_id])
    return found
