"""Refusals of the equipment app. No Django here."""

from equipment.site.errors import DomainError, ForbiddenError


class NotLockOwnerError(ForbiddenError):
    """Only the person exposed takes a lock off, or a lead by the absent-owner procedure."""

    code = "not_lock_owner"


class NoteMissingError(DomainError):
    """The absent-owner procedure leaves a note of how it was followed."""

    code = "note_missing"


class ReadingQuestionedError(DomainError):
    """A meter reading that cannot be so, or only with a reason."""

    code = "reading_questioned"


class CheckAnswersError(DomainError):
    """A look round with lines that have no answer, or answers to no line."""

    code = "check_answers"


class MachineStateError(DomainError):
    """The machine is not in the state that this step starts from."""

    code = "machine_state"


class CostError(DomainError):
    """Minutes or money that cannot be so."""

    code = "cost"


class AttachmentRefusedError(DomainError):
    """A file that is no photo or voice note we can read, or too large a one."""

    code = "attachment_refused"


class AttachmentTooLargeError(DomainError):
    """More bytes than a file may have."""

    code = "too_large"
    status = 413


class AttachmentIdUsedError(DomainError):
    """Another file came under an id that one has already."""

    code = "attachment_id_used"


class TooManyAttachmentsError(DomainError):
    """One sender sent more in a day than is taken."""

    code = "attachments_of_the_day"
    status = 413


class NoRoomError(DomainError):
    """The site's space for attachments is full."""

    code = "no_room"
    status = 507


class DecodersBusyError(DomainError):
    """Too many files at once; the same may be sent again."""

    code = "decoders_busy"
    status = 503
