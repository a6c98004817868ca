"""Refusals of the crews' rooms."""

from equipment.site.errors import DomainError


class PairingRefusedError(DomainError):
    """The code is wrong, used, or too old."""

    code = "pairing_refused"
    status = 422


class TooManyTriesError(DomainError):
    """Too many wrong codes from one address."""

    code = "too_many_tries"
    status = 429


class LeaveSpanError(DomainError):
    """Leave that ends before it begins."""

    code = "leave_span"


class NoShiftError(DomainError):
    """The worker has no shift then."""

    code = "no_shift"
