"""`manage.py formulas [WORD] [--json]`: all formulas the trade's numbers come from, for an auditor.

Read from the docstrings of all `calc` modules: what has a References section is a formula. Its
Notes say where it is `Valid:` and by which tests it is `Checked:`, so that code and list are one.
"""

import ast
import json
import re
import textwrap
from argparse import ArgumentParser
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from itertools import groupby
from pathlib import Path

from config.rooms import APPS, BASE_DIR

_SECTION = re.compile(r"^([A-Z][A-Za-z ]+)\n-{3,}$", re.MULTILINE)
_UNIT = re.compile(r"\[([^\]\n]+)\]")
_MARK = re.compile(r"\.\. (?=\[\d+\])")  # of a footnote, which a list needs not show
_TEST = re.compile(r"(?:(tests/[\w/]+\.py)::\s*)?(test_\w+)")

Documented = ast.FunctionDef | ast.ClassDef


@dataclass(frozen=True, slots=True)
class Formula:
    """One formula: `name` is dotted, `units` are those of what it gives."""

    name: str
    computes: str
    units: tuple[str, ...]
    valid: str
    source: str
    checked_by: tuple[str, ...]

    @property
    def room(self) -> str:
        return ".".join(self.name.split(".")[:2])


def main(options: list[str]) -> int:
    parser = ArgumentParser(prog="manage.py formulas", description=__doc__)
    parser.add_argument("word", nargs="?", default="", help="only names that hold it")
    parser.add_argument("--json", action="store_true")
    given = parser.parse_args(options)
    found = [formula for formula in all_formulas() if given.word in formula.name]
    print(json.dumps([asdict(f) for f in found], indent=2) if given.json else _page(found))
    return 0 if found else 1


def all_formulas() -> list[Formula]:
    """Find the formulas of all rooms, in the order of the house and of the files."""
    return [
        formula
        for app in APPS
        for path in sorted((BASE_DIR / app).glob("*/calc*/**/*.py"))
        + sorted((BASE_DIR / app).glob("*/calc.py"))
        for formula in formulas_in(path)
    ]


def formulas_in(path: Path, root: Path = BASE_DIR) -> Iterator[Formula]:
    """Read the formulas of one file; nothing is imported or run."""
    module = ".".join(path.relative_to(root).with_suffix("").parts)
    for name, node in _documented(ast.parse(path.read_text()), module):
        text = ast.get_docstring(node) or ""
        sections = _sections(text)
        if "References" in sections and not node.name.startswith("_"):
            yield _formula(name, sections)


def _documented(tree: ast.AST, prefix: str) -> Iterator[tuple[str, Documented]]:
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            yield f"{prefix}.{node.name}", node
            if isinstance(node, ast.ClassDef):
                yield from _documented(node, f"{prefix}.{node.name}")


def _sections(text: str) -> dict[str, str]:
    """Part a docstring in numpy's convention; the first line stands under ''."""
    parts = _SECTION.split(text)
    return {"": parts[0].strip().split("\n")[0]} | dict(
        zip(parts[1::2], (part.strip("\n") for part in parts[2::2]), strict=True)
    )


def _formula(name: str, sections: dict[str, str]) -> Formula:
    notes = sections.get("Notes", "")
    given = sections.get("Returns", sections.get("Yields", sections.get("Parameters", "")))
    return Formula(
        name=name,
        computes=sections[""],
        units=tuple(dict.fromkeys(_UNIT.findall(given))),
        valid=_paragraph(notes, "Valid:"),
        source=_MARK.sub("", " ".join(sections["References"].split())),
        checked_by=tuple(_tests(_paragraph(notes, "Checked:"))),
    )


def _paragraph(notes: str, head: str) -> str:
    for paragraph in re.split(r"\n\s*\n|\n(?=Valid:|Checked:)", notes):
        words = " ".join(paragraph.split())
        if words.startswith(head):
            return words.removeprefix(head).strip()
    return ""


def _tests(words: str) -> Iterator[str]:
    """Give whole test names; a name without its file is of the file before it."""
    path = ""
    for named, test in _TEST.findall(words):
        path = named or path
        yield f"{path}::{test}"


# On paper ----------------------------------------------------------------------------------------


def _page(found: list[Formula]) -> str:
    lines = [f"{len(found)} formulas"]
    for room, formulas in groupby(found, key=lambda formula: formula.room):
        lines += ["", room, "=" * len(room)]
        for formula in formulas:
            lines += ["", *_entry(formula)]
    return "\n".join(lines)


def _entry(formula: Formula) -> Iterator[str]:
    yield formula.name.removeprefix(f"{formula.room}.")
    rows = {
        "computes": formula.computes,
        "unit": ", ".join(formula.units),
        "valid": formula.valid,
        "source": formula.source,
        "checked": " ".join(formula.checked_by),
    }
    for head, words in rows.items():
        indent = " " * 12
        yield textwrap.fill(
            f"  {head:<10}{words}",
            100,
            subsequent_indent=indent,
            break_on_hyphens=False,
            break_long_words=False,
        )
