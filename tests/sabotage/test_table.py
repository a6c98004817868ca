"""Every guard of the table is where it says, and so is every test that must miss it."""

from __future__ import annotations

import ast
import re
from functools import cache

import pytest

from config.rooms import BASE_DIR
from tests.schedules.phone.client.test_modules import NAMES

from .__main__ import GUARDS
from .table import Guard, NotThereError, switched_off

PROMISE = re.compile(r"R([1-9]|[12][0-9]|30)")


@cache
def functions_of(file: str) -> frozenset[str]:
    tree = ast.parse((BASE_DIR / file).read_text())
    return frozenset(node.name for node in tree.body if isinstance(node, ast.FunctionDef))


def test_there_are_guards_enough_each_with_a_name_of_its_own() -> None:
    assert len({guard.name for guard in GUARDS}) == len(GUARDS) >= 45


@pytest.mark.parametrize("guard", GUARDS, ids=lambda guard: guard.name)
def test_guard_is_in_the_source_once_and_its_tests_are_there(guard: Guard) -> None:
    text = (BASE_DIR / guard.file).read_text()

    assert switched_off(guard, text) != text
    assert PROMISE.fullmatch(guard.promise)
    assert guard.tests
    for test in guard.tests:
        file, _colons, name = test.partition("::")
        function, _bracket, case = name.partition("[")
        assert function in functions_of(file)
        if function == "test_module":
            assert case.removesuffix("]") in NAMES


def test_text_that_is_not_there_once_is_told() -> None:
    guard = Guard("none", "R1", "a file", "x", "y", ())

    for text in ("", "x x"):
        with pytest.raises(NotThereError, match="a file has this"):
            switched_off(guard, text)
