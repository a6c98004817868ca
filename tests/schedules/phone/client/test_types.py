"""The phone's program as TypeScript reads it: strict, without one fault."""

import subprocess
from pathlib import Path

import pytest

from schedules.phone.program import FILES

HERE = Path(__file__).parent

pytestmark = pytest.mark.node


def faults(tools: Path, config: Path) -> list[str]:
    compiler = tools / "node_modules" / "typescript" / "bin" / "tsc"
    done = subprocess.run(
        ["node", compiler, "-p", config, "--pretty", "false"],
        capture_output=True,
        text=True,
        check=False,
    )
    return done.stdout.splitlines()


def test_program_has_no_fault_of_types(tools: Path) -> None:
    assert faults(tools, HERE / "tsconfig.json") == []


def test_every_file_asks_to_be_checked() -> None:
    unchecked = [f.name for f in FILES.glob("*.js") if not f.read_text().startswith("// @ts-check")]

    assert unchecked == []


def test_fault_is_found(tools: Path, tmp_path: Path) -> None:
    config = (HERE / "tsconfig.json").read_text()
    (tmp_path / "tsconfig.json").write_text(
        config.replace('"../../../../schedules/phone/client/*.js"', '"*.js"')
    )
    (tmp_path / "wrong.js").write_text(
        "// @ts-check\nexport const n = /** @type {number} */ ('');\n"
    )

    assert [line.partition(": ")[2][:14] for line in faults(tools, tmp_path / "tsconfig.json")] == [
        "error TS2352: "
    ]
