"""Spans of time in which work may be done, cut from the time a pen is empty."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from schedules.rounds.calc.returns import BedGroup, ReturnRule, require_minutes

S_PER_MIN = 60.0
HALF_SECOND = timedelta(milliseconds=500)


def minutes_between(start_at: datetime, end_at: datetime) -> float:
    """Count the minutes from one instant to another.

    Parameters
    ----------
    start_at, end_at : datetime
        Aware instants in UTC.

    Returns
    -------
    float
        Negative where the end lies before the start. [min]
    """
    return (end_at - start_at).total_seconds() / S_PER_MIN


def whole_second(at: datetime) -> datetime:
    """Round an instant to the nearest second; a half goes up.

    Parameters
    ----------
    at : datetime
        The instant.

    Returns
    -------
    datetime
        The instant without microseconds. Never changes the order of two instants.
    """
    return (at + HALF_SECOND).replace(microsecond=0)


def require_utc(owner: str, **instants: datetime | None) -> None:
    """Refuse instants that are not in UTC.

    Two instants of one local zone subtract as wall-clock times in Python, which is an hour wrong
    on the nights when clocks change; so nothing but UTC comes in.

    Parameters
    ----------
    owner : str
        The record to name in the message.
    **instants : datetime or None
        Instants by name; None is passed over.

    Raises
    ------
    ValueError
        At the first naive or local instant.
    """
    for name, at in instants.items():
        if at is not None and at.utcoffset() != timedelta(0):
            raise ValueError(f"{owner}: {name} must be an aware instant in UTC, got {at}")


@dataclass(frozen=True, slots=True)
class Window:
    """A span of time `[start_at, end_at)`; empty where both are the same instant.

    Parameters
    ----------
    start_at, end_at : datetime
        Aware instants in UTC, the end not before the start.

    Raises
    ------
    ValueError
        If the end lies before the start.
    """

    start_at: datetime
    end_at: datetime

    def __post_init__(self) -> None:
        if self.end_at < self.start_at:
            raise ValueError(f"window ends {self.end_at} before it starts {self.start_at}")

    @property
    def length_min(self) -> float:
        """Length of the window [min]."""
        return minutes_between(self.start_at, self.end_at)

    def shrink(self, *, start_min: float, end_min: float) -> "Window":
        """Cut something off both ends.

        Parameters
        ----------
        start_min, end_min : float
            What to cut off the start and the end. [min]

        Returns
        -------
        Window
            What is left; an empty window inside this one where nothing is.
        """
        start_at = min(self.start_at + timedelta(minutes=start_min), self.end_at)
        end_at = max(self.end_at - timedelta(minutes=end_min), start_at)
        return Window(whole_second(start_at), whole_second(end_at))


@dataclass(frozen=True, slots=True)
class WindowRules:
    """What must fit into a bed group's window beside the grooming.

    Parameters
    ----------
    flush_min : float
        Flush of the alley after the beds, until it is drained; 0 where the timer runs at
        another time. [min]
    open_min, close_min : float
        Buffers after the last cow is out and before the beds close. [min]
    lock_min : float
        To isolate the alley's flush valve, tag it and try it before the work. [min]
    release_min : float
        Last walk through: people, machines and tools out, gates set, locks off. [min]

    Raises
    ------
    ValueError
        If a time is negative, endless or not a number.

    Notes
    -----
    The defaults are common practice, no source; each is a setting of the farm.
    """

    flush_min: float
    open_min: float = 5.0
    close_min: float = 5.0
    lock_min: float = 2.0
    release_min: float = 3.0

    def __post_init__(self) -> None:
        require_minutes(
            "window rules",
            flush_min=self.flush_min,
            open_min=self.open_min,
            close_min=self.close_min,
            lock_min=self.lock_min,
            release_min=self.release_min,
        )

    @property
    def after_groom_min(self) -> float:
        """What follows the grooming inside the usable window [min]."""
        return self.flush_min + self.release_min

    @property
    def overhead_min(self) -> float:
        """All that a window holds beside the grooming [min]."""
        return self.open_min + self.lock_min + self.after_groom_min + self.close_min


@dataclass(frozen=True, slots=True)
class BedWindow:
    """When one bed group is free of cows, and what of that time work may use.

    Parameters
    ----------
    bed_group : BedGroup
        The row.
    opens_at, closes_at : datetime
        From the last cow out until the return mode gives the row back to the cows.
    usable : Window
        Without the buffers: lock, groom, flush and release happen in it.
    groom : Window
        What is left for grooming.
    groom_min : float
        Room for grooming; negative by the minutes that lock, flush, release and buffers lack.
        [min]
    """

    bed_group: BedGroup
    opens_at: datetime
    closes_at: datetime
    usable: Window
    groom: Window
    groom_min: float


def cut_bed_window(
    bed_group: BedGroup, *, opens_at: datetime, closes_at: datetime, rules: WindowRules
) -> BedWindow:
    """Cut buffers and fixed steps from the time that a row is free of cows.

    Parameters
    ----------
    bed_group : BedGroup
        The row.
    opens_at, closes_at : datetime
        From the last cow out until the row is given back. Where the first cow is back before
        the last one is out, the row never opens and both are taken as `opens_at`.
    rules : WindowRules
        Buffers and fixed steps.

    Returns
    -------
    BedWindow
        The windows, each inside the one before, and the room for grooming. [min]

    Notes
    -----
    Valid: any span; where buffers and steps do not fit, the inner windows are empty and the room
    for grooming is negative by what lacks.
    Checked: tests/schedules/rounds/test_windows.py::
    test_buffers_and_steps_are_cut_from_both_ends,
    test_the_room_for_grooming_says_how_many_minutes_are_short,
    test_each_window_lies_inside_the_one_before

    References
    ----------
    Arithmetic; the buffers are common practice, no source.
    """
    whole = Window(opens_at, max(opens_at, closes_at))
    usable = whole.shrink(start_min=rules.open_min, end_min=rules.close_min)
    groom = usable.shrink(start_min=rules.lock_min, end_min=rules.after_groom_min)
    return BedWindow(
        bed_group=bed_group,
        opens_at=whole.start_at,
        closes_at=whole.end_at,
        usable=usable,
        groom=groom,
        groom_min=whole.length_min - rules.overhead_min,
    )


def bed_windows(
    *,
    last_out_at: datetime,
    first_back_at: datetime,
    returns: ReturnRule,
    bed_groups: Sequence[BedGroup],
    rules: WindowRules,
) -> tuple[BedWindow, ...]:
    """Compute the windows of all rows of a pen at one visit.

    Parameters
    ----------
    last_out_at : datetime
        When the last cow left the pen.
    first_back_at : datetime
        When the first cow is back at feed and beds.
    returns : ReturnRule
        What the pen does with cows that come back.
    bed_groups : sequence of BedGroup
        The pen's rows, in the order in which they are given back to the cows.
    rules : WindowRules
        Buffers and fixed steps.

    Returns
    -------
    tuple of BedWindow
        One per row, in the order given.
    """
    return tuple(
        cut_bed_window(
            group,
            opens_at=last_out_at,
            closes_at=whole_second(first_back_at + timedelta(minutes=after_min)),
            rules=rules,
        )
        for group, after_min in zip(bed_groups, returns.closes_after_min(bed_groups), strict=True)
    )
