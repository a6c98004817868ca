"""The modules by themselves, in node: storage that fails, upgrades, PINs, files, waiting."""

from __future__ import annotations

import json
import os
import re
import subprocess
from pathlib import Path

import pytest

from schedules.phone.program import FILES

CHECKS = Path(__file__).parent / "checks.mjs"
NAMES = re.findall(r"^  async (\w+)\(\) \{$", CHECKS.read_text().split("const CHECKS")[1], re.M)


pytestmark = pytest.mark.node


@pytest.fixture(scope="module")
def found(tools: Path) -> dict[str, str | None]:
    """What went wrong with each check."""
    done = subprocess.run(
        ["node", "--experimental-vm-modules", "--no-warnings", CHECKS],
        env={**os.environ, "NODE_TOOLS": str(tools), "PHONE_FILES": str(FILES)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    result: dict[str, str | None] = json.loads(done.stdout)
    return result


@pytest.mark.parametrize("name", NAMES)
def test_module(name: str, found: dict[str, str | None]) -> None:
    assert found[name] is None, found[name]


def test_every_check_was_done(found: dict[str, str | None]) -> None:
    assert list(found) == NAMES
    assert len(NAMES) >= 8
