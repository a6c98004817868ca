"""The base of every error that is an answer and not a bug. No Django here."""

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class FieldFault:
    """One fault in what was sent: where it is (a JSON pointer or a path), what it is."""

    pointer: str
    code: str
    detail: str


@dataclass
class DomainError(Exception):
    """A refusal by the rules of the house: says what, where and what to do.

    `code` is stable and machine-read, `status` the HTTP status a door answers with, `wait_s` the
    seconds after which the same may be tried again, where that helps.
    """

    detail: str
    errors: list[FieldFault] = field(default_factory=list)

    code = "refused"
    status = 422
    wait_s = 0

    def __str__(self) -> str:
        return self.detail


class NotFoundError(DomainError):
    """Nothing of that id on a site of the caller."""

    code = "not_found"
    status = 404


class ForbiddenError(DomainError):
    """The caller's role may not do this."""

    code = "forbidden"
    status = 403


class StaleError(DomainError):
    """The object moved on since the caller read it."""

    code = "stale"
    status = 412


class InvalidInputError(DomainError):
    """What was sent cannot be read; `errors` lists every fault."""

    code = "invalid"
    status = 400
