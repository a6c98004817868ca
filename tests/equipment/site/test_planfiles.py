"""What commands that plan from files share."""

import signal
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from django.core.management.base import CommandError

from equipment.site.planfiles import (
    broken_line,
    first_interrupt,
    read_record,
    require_search_arguments,
    score_lines,
    write_record,
)


@dataclass
class Fault:
    code: str
    person: str | None = None
    facts: dict[str, object] = field(default_factory=dict)
    is_locked: bool = False


def test_what_is_written_is_read(tmp_path: Path) -> None:
    path = tmp_path / "plan.json"

    write_record(path, "ñ")

    assert read_record(path, str.strip) == "ñ"
    assert [found.name for found in tmp_path.iterdir()] == ["plan.json"]


def test_a_file_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(CommandError, match=r"none\.json: No such file"):
        read_record(tmp_path / "none.json", str)


def test_a_folder_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(CommandError, match=r"plan\.json: No such file"):
        write_record(tmp_path / "none" / "plan.json", "")


def test_a_file_that_breaks_a_rule_is_named_with_it(tmp_path: Path) -> None:
    path = tmp_path / "n.json"
    path.write_text("nine")

    with pytest.raises(CommandError, match=r"n\.json: invalid literal"):
        read_record(path, int)


def test_a_file_that_is_no_text_is_named(tmp_path: Path) -> None:
    path = tmp_path / "n.json"
    path.write_bytes(b"\xff\xfe\xfa")

    with pytest.raises(CommandError, match=r"n\.json: is not UTF-8"):
        read_record(path, str)


@pytest.mark.parametrize(
    ("name", "value"),
    [("seconds", -1), ("seconds", float("nan")), ("workers", 0), ("seed", -1), ("iterations", -1)],
)
def test_numbers_that_no_search_can_be_run_with_are_refused(name: str, value: float) -> None:
    options: dict[str, Any] = {"seconds": 0, "workers": 1, "seed": 0, "iterations": None}
    options["out"] = Path("plan.json")
    require_search_arguments(options)

    with pytest.raises(CommandError, match=f"--{name} must be"):
        require_search_arguments(options | {name: value})


def test_a_plan_that_could_go_nowhere_is_refused_before_it_is_looked_for(tmp_path: Path) -> None:
    options: dict[str, Any] = {"seconds": 0, "workers": 1, "seed": 0, "iterations": None}

    with pytest.raises(CommandError, match=r"none/plan\.json: No such file"):
        require_search_arguments(options | {"out": tmp_path / "none" / "plan.json"})


def test_the_first_interrupt_is_told_and_the_second_ends() -> None:
    kept = signal.signal(signal.SIGINT, signal.default_int_handler)
    before = signal.getsignal(signal.SIGINT)
    with first_interrupt() as is_pressed:
        assert not is_pressed.is_set()
        signal.raise_signal(signal.SIGINT)
        assert is_pressed.is_set()
        with pytest.raises(KeyboardInterrupt):
            signal.raise_signal(signal.SIGINT)

    assert signal.getsignal(signal.SIGINT) is before
    signal.signal(signal.SIGINT, kept)


def test_a_broken_rule_is_a_line() -> None:
    fault = Fault("late", "ana", {"late_min": 1.25, "n": 2}, is_locked=True)

    assert broken_line(fault) == "late person=ana late_min=1.25 n=2 locked"
    assert broken_line(Fault("off")) == "off"


def test_scores_stand_beside_each_other() -> None:
    lines = [line.split() for line in score_lines({"late": 1.5}, {"late": 2.0, "cost": 3.0})]

    assert lines == [["told", "computed"], ["late", "1.5", "2"], ["cost", "0", "3"]]
