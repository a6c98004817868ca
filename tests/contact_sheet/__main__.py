"""`python -m tests.contact_sheet FOLDER [--size usual]`: all screens of the desk on sheets.

Three sizes of farm (empty, usual, overloaded), both languages, a phone's width and a desk's; beside
them `counts.txt`: by screen how far it is too wide, and what axe finds, contrast apart; and the
5-second lists (`questions-…txt`): what each screen is asked and where the answer stands, which the
pictures frame. The usual farm's sheet for the desk is also made in grey and as people without
red, green or blue cones see it (`…-grey.png`, `…-protan.png`, `…-deutan.png`, `…-tritan.png`).
"""

from __future__ import annotations

import os
import sys
from argparse import ArgumentParser
from pathlib import Path

import pytest

SIZES = ("empty", "usual", "overloaded")
FOLDER_GIVEN, SIZES_GIVEN = "CONTACT_SHEET_FOLDER", "CONTACT_SHEET_SIZES"


def main(argv: list[str]) -> int:
    """Make the sheets; pytest's own exit code."""
    parser = ArgumentParser(prog="python -m tests.contact_sheet", description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--size", choices=SIZES, help="one size alone")
    given = parser.parse_args(argv)
    given.folder.mkdir(parents=True, exist_ok=True)
    (given.folder / "counts.txt").unlink(missing_ok=True)
    os.environ[FOLDER_GIVEN] = str(given.folder.resolve())
    os.environ[SIZES_GIVEN] = given.size or " ".join(SIZES)
    sheets = Path(__file__).with_name("sheets.py")
    return int(pytest.main(["-q", "-n0", "-p", "no:cacheprovider", str(sheets)]))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
