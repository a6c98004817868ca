"""What flushing is told of the pens' visits by the room that plans them."""

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True)
class UsableSpan:
    """When the beds along an alley are empty, until its flush must be drained.

    Without an alley it holds for all alleys of the pen that have no span of their own.
    """

    alley_id: int | None
    start_at: datetime
    end_at: datetime


@dataclass(frozen=True, slots=True)
class FlushVisit:
    """One pen's visit to the parlor; `key` names it and never holds a time that can move."""

    pen_id: int
    key: str
    spans: tuple[UsableSpan, ...]

    def span_of(self, alley_id: int) -> tuple[datetime, datetime]:
        """When the alley may be flushed: all rows along it empty; else all of the pen's rows."""
        own = [span for span in self.spans if span.alley_id == alley_id]
        spans = own or self.spans
        return max(span.start_at for span in spans), min(span.end_at for span in spans)
