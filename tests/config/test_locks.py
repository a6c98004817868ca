"""Every row lock of the code leaves the row's key alone.

A row that others refer to is locked FOR NO KEY UPDATE: PostgreSQL's check of a foreign key takes
FOR KEY SHARE on the row referred to, which FOR UPDATE blocks and the other does not (PostgreSQL
manual, "Explicit locking", table 13.3). Nothing here counts on a lock to keep children out: who
adds one takes the parent's lock first.
"""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

from config.rooms import BASE_DIR
from config.task_lint import called_name

CODE = ("config", "crews", "equipment", "schedules")


def locks_in(source: str) -> Iterator[tuple[int, bool]]:
    """Give the line of each row lock, and whether it leaves the key alone."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call) and called_name(node.func) == "select_for_update":
            said = {keyword.arg: ast.unparse(keyword.value) for keyword in node.keywords}
            yield node.lineno, said.get("no_key") == "True"


def files() -> list[Path]:
    return [path for name in CODE for path in sorted((BASE_DIR / name).rglob("*.py"))]


def test_no_lock_blocks_the_check_of_a_foreign_key() -> None:
    locks = [(path, *lock) for path in files() for lock in locks_in(path.read_text())]

    assert len(locks) > 20
    assert [f"{path}:{line}" for path, line, leaves_key in locks if not leaves_key] == []


def test_no_lock_is_written_in_plain_sql() -> None:
    assert not [path for path in files() if "for update" in path.read_text().lower()]


@pytest.mark.parametrize(
    ("source", "leaves_key"),
    [
        ("Row.objects.select_for_update()", False),
        ('Row.objects.filter(pk=1).select_for_update(of=("self",))', False),
        ("Row.objects.select_for_update(no_key=False)", False),
        ("Row.objects.select_for_update(no_key=True).get(pk=1)", True),
    ],
)
def test_a_plain_lock_is_seen(source: str, leaves_key: bool) -> None:
    assert [found for _line, found in locks_in(source)] == [leaves_key]
