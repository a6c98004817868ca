"""The list of formulas: complete, and every entry's check is there and calls it."""

import ast
from functools import cache
from pathlib import Path

import pytest

from config.formulas import Formula, all_formulas, formulas_in, main
from config.rooms import BASE_DIR

ALL = all_formulas()

SAMPLE = '''
def discharge(width_m: float) -> float:
    """Compute a flow.

    Parameters
    ----------
    width_m : float
        Width. [m]

    Returns
    -------
    float
        Flow. [m³ s⁻¹]

    Notes
    -----
    Steady.

    Valid: widths above 0;
    outside it raises.

    Checked: tests/a/test_b.py::test_one, test_two
    tests/a/test_c.py::test_three

    References
    ----------
    A Book, 1993,
    eq. 4.
    """


def helper() -> None:
    """No formula."""
'''


def test_a_formula_is_read_from_its_docstring(tmp_path: Path) -> None:
    path = tmp_path / "equipment" / "flushing" / "calc.py"
    path.parent.mkdir(parents=True)
    path.write_text(SAMPLE)
    assert list(formulas_in(path, tmp_path)) == [
        Formula(
            name="equipment.flushing.calc.discharge",
            computes="Compute a flow.",
            units=("m³ s⁻¹",),
            valid="widths above 0; outside it raises.",
            source="A Book, 1993, eq. 4.",
            checked_by=(
                "tests/a/test_b.py::test_one",
                "tests/a/test_b.py::test_two",
                "tests/a/test_c.py::test_three",
            ),
        )
    ]


def test_a_test_is_named_whole_and_a_footnote_without_its_mark(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main([]) == 0
    printed = capsys.readouterr().out
    assert ".. [" not in printed
    assert all(check in printed for formula in all_formulas() for check in formula.checked_by)


def test_the_list_is_printed_with_every_name(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([]) == 0
    page = capsys.readouterr().out
    assert page.startswith(f"{len(ALL)} formulas")
    assert all(formula.name.removeprefix(f"{formula.room}.") in page for formula in ALL)


def test_a_word_that_nothing_holds_is_told_by_the_exit_code() -> None:
    assert main(["no-such-formula"]) == 1


@pytest.mark.parametrize("formula", ALL, ids=lambda formula: formula.name)
def test_every_formula_says_unit_range_source_and_check(formula: Formula) -> None:
    assert formula.units
    assert formula.valid
    assert formula.source
    assert formula.checked_by


@pytest.mark.parametrize("formula", ALL, ids=lambda formula: formula.name)
def test_every_check_named_is_a_test_in_a_file_that_uses_the_formula(formula: Formula) -> None:
    for check in formula.checked_by:
        path, _, test = check.partition("::")
        assert test in _tests_of(path), check
    name = formula.name.split(".")[-1]
    assert any(name in _names_in(check.partition("::")[0]) for check in formula.checked_by)


@cache
def _tree(path: str) -> ast.Module:
    return ast.parse((BASE_DIR / path).read_text())


@cache
def _tests_of(path: str) -> frozenset[str]:
    return frozenset(n.name for n in ast.walk(_tree(path)) if isinstance(n, ast.FunctionDef))


@cache
def _names_in(path: str) -> frozenset[str]:
    found = {n.id for n in ast.walk(_tree(path)) if isinstance(n, ast.Name)}
    return frozenset(
        found | {n.attr for n in ast.walk(_tree(path)) if isinstance(n, ast.Attribute)}
    )
