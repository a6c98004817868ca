"""Compiles the message catalogues without the system's gettext."""

from pathlib import Path

from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po


def compile_stale(folder: Path) -> list[Path]:
    """Compile each catalogue below `folder` that is newer than its result; return those made."""
    stale = [po for po in sorted(folder.glob("*/LC_MESSAGES/*.po")) if is_stale(po)]
    for po in stale:
        compile_one(po)
    return stale


def is_stale(po: Path) -> bool:
    mo = po.with_suffix(".mo")
    return not mo.exists() or mo.stat().st_mtime < po.stat().st_mtime


def compile_one(po: Path) -> None:
    """Write the result beside the source; a reader sees the old file or the new."""
    with po.open("rb") as source:
        catalogue = read_po(source, locale=po.parent.parent.name, abort_invalid=True)
    part = po.with_suffix(".part")
    with part.open("wb") as goal:
        write_mo(goal, catalogue)
    part.replace(po.with_suffix(".mo"))
