"""Photos and voice notes, and what each was made for."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from equipment.site.constraints import site_constraints
from equipment.site.models import Actor, Event, SiteModel


class AttachmentKind(models.TextChoices):
    PHOTO = "photo", _("Photo")
    VOICE = "voice", _("Voice note")


class Attachment(SiteModel):
    """A photo or voice note: its id was made on the phone, its file is found by its digest.

    `sent_sha256` is of the bytes that came, so that the same ones sent again are known;
    `sha256` of those made of them, which alone are kept.
    """

    id = models.UUIDField(primary_key=True)
    actor = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    device_key = models.BigIntegerField(null=True, blank=True)
    kind = models.CharField(max_length=5, choices=AttachmentKind)
    sent_sha256 = models.CharField(max_length=64)
    sha256 = models.CharField(max_length=64)
    n_bytes = models.PositiveIntegerField()
    width = models.PositiveIntegerField(null=True, blank=True)
    height = models.PositiveIntegerField(null=True, blank=True)
    seconds = models.FloatField(null=True, blank=True)
    received_at = models.DateTimeField()

    class Meta:
        constraints = [
            *site_constraints("actor"),
            models.CheckConstraint(
                name="%(class)s_kind_has_its_size",
                condition=Q(kind="photo", width__isnull=False, height__isnull=False)
                | Q(kind="voice", seconds__isnull=False),
            ),
        ]
        indexes = [models.Index(fields=["site", "received_at"], name="%(class)s_received")]


class AttachmentSpace(SiteModel):
    """How much a site's attachments take; its row lock keeps the quotas exact."""

    n_bytes = models.BigIntegerField(default=0)

    class Meta:
        constraints = [
            *site_constraints(),
            models.UniqueConstraint(fields=["site"], name="%(class)s_one_a_site"),
        ]


class SubjectKind(models.TextChoices):
    PROBLEM = "problem", _("Problem")
    DEFECT = "defect", _("Defect")
    WORK_ORDER = "work_order", _("Work order")
    MACHINE = "machine", _("Machine")
    PLACE = "place", _("Place")


class Attached(SiteModel):
    """What an attachment is about. It may be told before the file itself arrives."""

    attachment_id = models.UUIDField()
    subject_kind = models.CharField(max_length=10, choices=SubjectKind)
    subject_id = models.BigIntegerField()
    by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    event = models.ForeignKey(
        Event, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        constraints = [
            *site_constraints("by", "event"),
            models.UniqueConstraint(
                fields=["site", "attachment_id", "subject_kind", "subject_id"],
                name="%(class)s_once",
            ),
        ]
        indexes = [
            models.Index(fields=["site", "subject_kind", "subject_id"], name="%(class)s_subject")
        ]
