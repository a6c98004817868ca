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
    wait_s = 600


class NotPairedError(DomainError):
    """A phone whose access was taken away, or whose person left."""

    code = "not_paired"
    status = 401


class LeaveSpanError(DomainError):
    """Leave that ends before it begins."""

    code = "leave_span"


class NoShiftError(DomainError):
    """The worker has no shift then."""

    code = "no_shift"


class RosterSpanError(DomainError):
    """A period that no roster can be made for."""

    code = "roster_span"


class RosterStateError(DomainError):
    """A roster that is over, or not that far."""

    code = "roster_state"


class RosterBreaksError(DomainError):
    """What would break the rules of the roster: `errors` has each one in words."""

    code = "roster_breaks"


class SwapStateError(DomainError):
    """A swap that was answered, or of shifts that are otherwise now."""

    code = "swap_state"
