"""What commands that plan from files share: a record in, a record out, progress, Ctrl-C, faults."""

from __future__ import annotations

import errno
import os
import signal
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import fields
from pathlib import Path
from threading import Event
from typing import Any, TypeVar

from django.core.management.base import CommandError, CommandParser
from django.utils.translation import gettext as _

Record = TypeVar("Record")


def add_search_arguments(parser: CommandParser) -> None:
    """Ask for a problem, where the plan goes, and how long and with what it is looked for."""
    parser.add_argument("problem", type=Path, help=_("problem as JSON"))
    parser.add_argument("--out", type=Path, required=True, help=_("where the plan goes, as JSON"))
    parser.add_argument("--seconds", type=float, default=30, help=_("when the search stops, s"))
    parser.add_argument("--workers", type=int, default=1, help=_("searches beside each other"))
    parser.add_argument("--seed", type=int, default=0, help=_("of the random numbers"))
    words = _("stop after so much work instead: the same plan each time")
    parser.add_argument("--iterations", type=int, help=words)


def require_search_arguments(options: Mapping[str, Any]) -> None:
    """Refuse numbers that no search can be run with."""
    for name, least in (("seconds", 0), ("workers", 1), ("seed", 0), ("iterations", 0)):
        if options[name] is not None and not options[name] >= least:
            told = {"name": f"--{name}", "least": least}
            raise CommandError(_("%(name)s must be %(least)d or more.") % told)
    if not options["out"].parent.is_dir():  # told before the search, not after it
        raise CommandError(f"{options['out']}: {os.strerror(errno.ENOENT)}")


def read_record(path: Path, read: Callable[[str], Record]) -> Record:
    """Read a record from a file, or refuse with the file and the fault named."""
    try:
        return read(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise CommandError(f"{path}: {error.strerror}") from error
    except ValueError as error:  # no UTF-8, no JSON, or against a record's own rules
        raise CommandError(f"{path}: {_fault(error)}") from error


def _fault(error: ValueError) -> str:
    is_text = isinstance(error, UnicodeDecodeError)
    return _("is not UTF-8 text.") if is_text else str(error)


def write_record(path: Path, text: str) -> None:
    """Write a file whole or not at all."""
    made = path.with_name(f"{path.name}.new")
    try:
        made.write_text(f"{text}\n", encoding="utf-8")
        made.replace(path)
    except OSError as error:
        raise CommandError(f"{path}: {error.strerror}") from error


@contextmanager
def first_interrupt() -> Iterator[Event]:
    """Set when Ctrl-C is pressed, so that the best plan can be kept; again, it ends all."""
    is_pressed = Event()
    before = signal.getsignal(signal.SIGINT)

    def note(*_: object) -> None:
        is_pressed.set()
        signal.signal(signal.SIGINT, before)

    signal.signal(signal.SIGINT, note)
    try:
        yield is_pressed
    finally:
        signal.signal(signal.SIGINT, before)


def broken_line(broken: Any) -> str:
    """Say a broken rule in one line: its code, what it names, its facts; no words."""
    told = {f.name: getattr(broken, f.name) for f in fields(broken)}
    code, is_locked, facts = told.pop("code"), told.pop("is_locked", False), told.pop("facts")
    named = {name: value for name, value in (told | dict(facts)).items() if value is not None}
    words = [f"{name}={_shown(value)}" for name, value in named.items()]
    return " ".join([code, *words, *(["locked"] if is_locked else [])])


def score_lines(told: Mapping[str, float], found: Mapping[str, float]) -> list[str]:
    """Lay a plan's own score beside the one computed again, a line a cause."""
    lines = [f"{'':<18}{_('told'):>14}{_('computed'):>14}"]
    for cause in dict.fromkeys((*told, *found)):
        values = (told.get(cause, 0), found.get(cause, 0))
        lines.append(f"{cause:<18}" + "".join(f"{_shown(value):>14}" for value in values))
    return lines


def _shown(value: object) -> str:
    return f"{value:.10g}" if isinstance(value, float) else str(value)
