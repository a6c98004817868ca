"""The words in which a room says what an entry of the farm file may hold."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from django.utils.functional import _StrPromise

    Text = str | _StrPromise

REQUIRED: Final = object()  # stands where a field has no default
ANY_PLACE: Final = "places"  # what refers to this section may name any place of the farm

Values = dict[str, Any]


class Kind(StrEnum):
    """What a value in the file may be."""

    TEXT = "text"
    KEY = "key"
    WHOLE = "whole"
    NUMBER = "number"
    BOOL = "bool"
    DATE = "date"
    TIME = "time"
    CHOICE = "choice"
    ROW = "row"  # the key of another entry, stored as a foreign key
    ROW_KEY = "row_key"  # the key of another entry, stored as it is written
    WORDS = "words"  # a text in each language
    DOCUMENT = "document"  # a mapping that the section's own check reads
    PART = "part"  # a mapping with fields of its own


@dataclass(frozen=True, slots=True)
class Field:
    """One key of an entry. Physical quantities carry their unit in the name.

    `low` and `high` are still allowed, `above` is not. A text's `high` is its length.
    What is no column of the section's model is read and written by the room's own `Rows`.
    """

    name: str
    kind: Kind
    help: Text
    default: Any = REQUIRED
    low: float | None = None
    high: float | None = None
    above: float | None = None
    choices: tuple[str, ...] = ()
    refers_to: str = ""
    parts: tuple[Field, ...] = ()
    is_list: bool = False
    is_on_place: bool = False
    is_column: bool = True

    @property
    def is_required(self) -> bool:
        return self.default is REQUIRED


@dataclass(frozen=True, slots=True)
class Entry:
    """One well-formed entry for a section's own check, among all others of the file."""

    key: str
    values: Values
    everything: Mapping[str, Mapping[str, Values]]


@dataclass(frozen=True, slots=True)
class Complaint:
    """What a section's own check finds wrong: where (`field` or `field.key`), why, what to do."""

    field: str
    reason: Text
    remedy: Text


Check = Callable[[Entry], Iterator[Complaint]]
