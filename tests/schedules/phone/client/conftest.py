"""Node for the checks of the phone's program."""

from pathlib import Path

import pytest

from tests.nodes import node_tools


@pytest.fixture(scope="session")
def tools() -> Path:
    return node_tools()
