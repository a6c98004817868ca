"""Reads of attachments."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from datetime import UTC, datetime

from .models import Attachment, SubjectKind

BEGINNING = datetime.min.replace(tzinfo=UTC)
TOLD = """
    SELECT attachment.*, attached.subject_id AS about_id
    FROM equipment_attached attached
    JOIN equipment_attachment attachment
        ON attachment.id = attached.attachment_id AND attachment.site_id = attached.site_id
    WHERE attached.site_id = %s AND attached.subject_kind = %s
        AND attached.subject_id = ANY(%s) AND attached.at >= %s
    ORDER BY attached.id
"""


def attachments_of(
    site_id: int,
    subject_kind: SubjectKind,
    subject_ids: Collection[int],
    *,
    since: datetime | None = None,
) -> dict[int, list[Attachment]]:
    """Attachments by what they are about, in the order they were told: 1 query.

    One whose file has not arrived is left out, and with `since` what was told before.
    """
    about = [site_id, subject_kind, list(subject_ids), since or BEGINNING]
    found: dict[int, list[Attachment]] = defaultdict(list)
    for row in Attachment.objects.raw(TOLD, about):
        found[vars(row)["about_id"]].append(row)  # the statement adds it
    return found
