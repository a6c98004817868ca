"""What a job's place looked like last: the newest photo of the place, or of the same work there."""

from __future__ import annotations

from equipment.attachments.models import Attached, Attachment, AttachmentKind, SubjectKind
from schedules.work.models import WorkOrder

NEWEST = 500  # of what was told of work and places: older ones show a job of long ago
ABOUT = (SubjectKind.WORK_ORDER, SubjectKind.PLACE)


class Pictures:
    """The newest photos that have arrived, by what they are about: 3 queries."""

    def __init__(self, site_id: int) -> None:
        told = Attached.objects.filter(site_id=site_id, subject_kind__in=ABOUT).order_by("-pk")
        rows = list(told.values_list("subject_kind", "subject_id", "attachment_id")[:NEWEST])
        photos = Attachment.objects.filter(site_id=site_id, kind=AttachmentKind.PHOTO)
        here = set(photos.filter(pk__in=[row[2] for row in rows]).values_list("pk", flat=True))
        ids = [subject for kind, subject, _photo in rows if kind == SubjectKind.WORK_ORDER]
        works = WorkOrder.objects.filter(site_id=site_id, pk__in=ids)
        known = works.values_list("pk", "place_id", "standing_order_id")
        self._works = {pk: (place, rule) for pk, place, rule in known}
        self._newest = [row for row in rows if row[2] in here]

    def of(self, order: WorkOrder) -> str:
        """Give the newest photo's id, or nothing. No query."""
        for kind, subject_id, photo_id in self._newest:
            if kind == SubjectKind.PLACE:
                is_of_it = subject_id == order.place_id
            else:
                is_of_it = subject_id == order.pk or self._is_same(subject_id, order)
            if is_of_it:
                return str(photo_id)
        return ""

    def _is_same(self, work_id: int, order: WorkOrder) -> bool:
        """Whether it is the same rule's work at the same place, of another time."""
        work = (order.place_id, order.standing_order_id)
        return order.standing_order_id is not None and self._works.get(work_id) == work
