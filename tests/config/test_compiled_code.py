"""Machine code is kept apart for each state of the sources."""

import os
from pathlib import Path

import pytest

from config.compiled_code import choose_folder, digest_of_sources, forget_old


@pytest.fixture
def base(tmp_path: Path) -> Path:
    calc = tmp_path / "equipment" / "basins" / "calc"
    calc.mkdir(parents=True)
    loop = "from equipment.site.calc.compiled import compiled\nfrom .steps import STEP\n"
    (calc / "balance.py").write_text(loop)
    (calc / "steps.py").write_text("from equipment.basins.calc import units\nSTEP = 1\n")
    (calc / "units.py").write_text("DAY_S = 86400\n")
    (calc / "plain.py").write_text("STEP = 1\n")
    return tmp_path


@pytest.mark.parametrize("name", ["balance", "steps", "units"])
def test_a_change_of_what_a_loop_is_made_of_changes_the_folder(
    name: str, base: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("NUMBA_CACHE_DIR", raising=False)
    choose_folder(base)
    before = digest_of_sources(base)
    assert (base / "var" / "compiled" / before) == Path(_chosen())
    file = base / "equipment" / "basins" / "calc" / f"{name}.py"
    file.write_text(file.read_text() + "LAST = 2\n")
    assert digest_of_sources(base) != before


def test_a_change_of_other_files_keeps_the_folder(base: Path) -> None:
    before = digest_of_sources(base)
    (base / "equipment" / "basins" / "calc" / "plain.py").write_text("STEP = 2\n")
    assert digest_of_sources(base) == before


def test_a_folder_that_somebody_named_stays(base: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NUMBA_CACHE_DIR", "/elsewhere")
    choose_folder(base)
    assert _chosen() == "/elsewhere"


def test_what_older_sources_left_is_deleted(base: Path) -> None:
    home = base / "var" / "compiled"
    (home / "old").mkdir(parents=True)
    (home / digest_of_sources(base)).mkdir()
    forget_old(base)
    assert [folder.name for folder in home.iterdir()] == [digest_of_sources(base)]


def _chosen() -> str:
    return os.environ["NUMBA_CACHE_DIR"]
