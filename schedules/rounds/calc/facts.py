"""The times of a pen's visit to the parlor: those known to have happened, and all of them."""

from dataclasses import dataclass, fields, replace
from datetime import datetime
from itertools import pairwise

from schedules.rounds.calc.windows import require_utc

# Along each chain a later name cannot happen before an earlier one.
ORDERS = (
    ("called_at", "first_out_at", "last_out_at", "last_on_at", "last_back_at"),
    ("called_at", "first_out_at", "first_on_at", "first_back_at", "last_back_at"),
    ("first_on_at", "last_on_at"),
)


@dataclass(frozen=True, slots=True)
class VisitFacts:
    """What is known to have happened at a visit; None where nobody reported it.

    Parameters
    ----------
    called_at, first_out_at, last_out_at, first_on_at, last_on_at, first_back_at, last_back_at
        Aware instants in UTC: the pen was called; its first and last cow left it, stepped on
        the deck, were back at feed and beds.

    Raises
    ------
    ValueError
        If an instant is not in UTC, or one that must come later is given as earlier.
    """

    called_at: datetime | None = None
    first_out_at: datetime | None = None
    last_out_at: datetime | None = None
    first_on_at: datetime | None = None
    last_on_at: datetime | None = None
    first_back_at: datetime | None = None
    last_back_at: datetime | None = None

    def __post_init__(self) -> None:
        require_utc("visit", **{field.name: getattr(self, field.name) for field in fields(self)})
        for order in ORDERS:
            known = [name for name in order if getattr(self, name) is not None]
            for earlier, later in pairwise(known):
                if getattr(self, later) < getattr(self, earlier):
                    raise ValueError(f"visit: {later} is given before {earlier}")

    def joined_with(self, newer: "VisitFacts") -> "VisitFacts":
        """Add newer facts.

        Parameters
        ----------
        newer : VisitFacts
            What was heard since.

        Returns
        -------
        VisitFacts
            All facts; where both know a time, the newer one.

        Raises
        ------
        ValueError
            If the two contradict each other's order.
        """
        known = {field.name: getattr(newer, field.name) for field in fields(newer)}
        return replace(self, **{name: at for name, at in known.items() if at is not None})


@dataclass(frozen=True, slots=True)
class VisitTimes:
    """The times of a visit, each a fact or the best estimate, in whole seconds.

    Parameters
    ----------
    called_at, first_out_at, last_out_at, first_on_at, last_on_at, first_back_at, last_back_at
        As in `VisitFacts`. The pen that follows can step on from `last_on_at`.
    """

    called_at: datetime
    first_out_at: datetime
    last_out_at: datetime
    first_on_at: datetime
    last_on_at: datetime
    first_back_at: datetime
    last_back_at: datetime
