"""One service a module, brought up as on a farm, to be killed in parts."""

from collections.abc import Iterator

import pytest

from tests.config.service import Service


@pytest.fixture(scope="module")
def service() -> Iterator[Service]:
    running = Service()
    try:
        running.ensure_running()
        yield running
    finally:
        running.end()
