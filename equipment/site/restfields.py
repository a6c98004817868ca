"""Fields of what the API reads: nothing ambiguous, endless or beyond the database gets in."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta
from typing import Any

from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext_lazy as _
from rest_framework import fields, serializers

from .models import Actor, Place
from .queries import current_language, place_name

BIGGEST_KEY = 2**63 - 1
EARLIEST, LATEST = datetime(2000, 1, 1, tzinfo=UTC), datetime(2200, 1, 1, tzinfo=UTC)
CLOCK_SKEW = timedelta(minutes=5)  # a caller's clock may run ahead of ours by so much


class OffsetDateTimeField(fields.DateTimeField):
    """RFC 3339 with an offset; DRF alone would take a naive text and guess (reliability R10)."""

    default_error_messages = {
        "offset": _("Give the time with its offset, as in 2026-03-04T05:10:00-07:00.")
    }

    def to_internal_value(self, value: Any) -> datetime:
        """Refuse what has no offset."""
        if isinstance(value, str):
            parsed = _parsed(value)
            if parsed is not None and parsed.tzinfo is None:
                self.fail("offset")
        result: datetime = super().to_internal_value(value)
        return result


def _parsed(value: str) -> datetime | None:
    try:
        return parse_datetime(value)
    except ValueError:
        return None


class InstantField(OffsetDateTimeField):
    """A time that something can be reckoned with: an hour before or after it is a time too."""

    default_error_messages = {"out_of_range": _("Give a time from 2000 to 2199.")}

    def to_internal_value(self, value: Any) -> datetime:
        """Refuse what lies outside two centuries."""
        result = super().to_internal_value(value)
        if not EARLIEST <= result < LATEST:
            self.fail("out_of_range")
        return result


class HappenedAtField(InstantField):
    """When something happened; the moment of the call where it is left out. Needs `now`."""

    requires_context = True
    default_error_messages = {
        "future": _("This time lies in the future. Check the clock and send it again.")
    }

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**{"default": _NOW, **kwargs})

    def to_internal_value(self, value: Any) -> datetime:
        """Refuse what is later than a clock can be ahead; nothing happens after now."""
        now: datetime = self.context["now"]
        result = super().to_internal_value(value)
        if result > now + CLOCK_SKEW:
            self.fail("future")
        return min(result, now)


class _Now:
    """The call's own moment as a field's default."""

    requires_context = True

    def __call__(self, field: fields.Field[Any, Any, Any, Any]) -> datetime:
        now: datetime = field.context["now"]
        return now


_NOW = _Now()


class FiniteField(fields.FloatField):
    """A number; "nan" and "inf" pass any bound and are none."""

    default_error_messages = {"not_finite": _("Give a finite number.")}

    def to_internal_value(self, value: Any) -> float:
        """Refuse what is not finite."""
        try:
            result = float(super().to_internal_value(value))
        except OverflowError:
            self.fail("not_finite")
        if not math.isfinite(result):
            self.fail("not_finite")
        return result


class KeyField(fields.IntegerField):
    """The key of a row: what the database can count to."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**{"min_value": 1, "max_value": BIGGEST_KEY, **kwargs})


class SinceQuery(serializers.Serializer[Any]):
    """Which rows of any list, by when they changed."""

    updated_since = InstantField(
        required=False,
        help_text="Rows that changed at this time or later. A convenience: what a transaction"
        " that is still open writes may bear an earlier time, and what is gone is not told.",
    )


class WhoField(serializers.SlugRelatedField[Actor]):
    """Who did it, by name."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__("name", read_only=True, **kwargs)


class SaidInput(serializers.Serializer[Any]):
    """When it happened; all that most verbs ask besides who."""

    at = HappenedAtField()


class ReasonInput(SaidInput):
    """Why."""

    reason = serializers.CharField(max_length=300)


class PlaceRef(serializers.ModelSerializer[Place]):
    """A place as its people call it."""

    name = serializers.SerializerMethodField()

    class Meta:
        model = Place
        fields = ["id", "key", "kind", "name"]

    def get_name(self, place: Place) -> str:
        """Name it in the reader's language and the farm's words."""
        return place_name(self.context["caller"].site, place, current_language())


class TextsField(serializers.DictField):
    """A text by language."""

    child = serializers.CharField(allow_blank=True, max_length=2000)
