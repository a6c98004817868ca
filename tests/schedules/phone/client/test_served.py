"""The program as it is served says what its source says, line by line."""

from __future__ import annotations

import json
import os
import subprocess
from pathlib import Path
from typing import Any

import pytest
from django.test import Client

from schedules.phone.pages import ADDRESS
from schedules.phone.program import FILES, WORKER, bare, digests, served, worker

HERE = Path(__file__).parent
MODULES = sorted(f.name for f in FILES.glob("*.js"))


def compared(tools: Path, source: str, shown: str) -> dict[str, Any]:
    done = subprocess.run(
        ["node", HERE / "tokens.mjs"],
        env={**os.environ, "NODE_TOOLS": str(tools)},
        input=json.dumps([source, shown]),
        capture_output=True,
        text=True,
        check=True,
    )
    found: dict[str, Any] = json.loads(done.stdout)
    return found


@pytest.mark.node
@pytest.mark.parametrize("name", MODULES)
def test_module_has_the_same_words_on_the_same_lines(tools: Path, name: str) -> None:
    """Tokens as the TypeScript compiler reads them."""
    shown = worker() if name == WORKER else served()[name].decode()

    found = compared(tools, (FILES / name).read_text(), shown)

    assert found["wrong"] is None
    assert found["n"] > 10


@pytest.mark.node
@pytest.mark.parametrize(
    "source",
    [
        'const a = "x /** y */ z";\n',
        "const a = `one\n  // two\n  three`;\n",
        "const a = `one\n   three`;\n",
    ],
)
def test_words_that_look_like_a_comment_are_found_out(tools: Path, source: str) -> None:
    """What `bare` may not meet: such a module would be served as another one."""
    assert compared(tools, source, bare(source))["wrong"] is not None


def test_comments_go_and_lines_stay() -> None:
    source = "// @ts-check\n/**\n * Adds.\n */\n  const a = /** @type {any} */ (b); // c\n"

    assert bare(source) == "\n\n\n\nconst a = (b); // c\n"


def test_file_is_sent_small_and_anew_only_when_it_has_changed(client: Client) -> None:
    address = f"{ADDRESS}store.js"
    reply = client.get(address, headers={"Accept-Encoding": "gzip"})

    assert reply["Content-Encoding"] == "gzip"
    assert len(reply.content) < len(served()["store.js"]) / 2
    assert (reply["Content-Type"], reply["Cache-Control"]) == ("text/javascript", "no-cache")
    assert digests()["store.js"] in reply["ETag"]
    again = client.get(address, headers={"If-None-Match": reply["ETag"]})
    assert (again.status_code, again.content) == (304, b"")


@pytest.mark.parametrize("name", ["sw.js", "nothing.js", "program.py"])
def test_nothing_else_is_served(client: Client, name: str) -> None:
    assert client.get(f"{ADDRESS}{name}").status_code == 404
