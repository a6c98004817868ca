"""What all tests share: compiled translations, the browser of the system."""

import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from config.messages import compile_stale
from config.rooms import BASE_DIR

CHROMIUM = Path("/usr/bin/chromium")
INSTALL_CHROMIUM = f"needs {CHROMIUM}: apt-get install --no-install-recommends chromium"

# Playwright's loop runs in the main thread, where Django would refuse every later query.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "1")

# A shared machine may be slow at any moment: a slow example is no fault of the code.
settings.register_profile("penround", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("penround")


def pytest_configure() -> None:
    compile_stale(BASE_DIR / "config" / "locale")


def pytest_runtest_setup(item: pytest.Item) -> None:
    """Skip browser tests where the system has no Chromium; in CI that is a failure."""
    if item.get_closest_marker("browser") is None or CHROMIUM.exists():
        return
    if os.environ.get("CI") == "true":
        pytest.fail(INSTALL_CHROMIUM, pytrace=False)
    pytest.skip(INSTALL_CHROMIUM)


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args: dict[str, object]) -> dict[str, object]:
    """Use the system's browser; the flags only stop its calls to its maker."""
    quiet = (
        "--disable-quic",
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-sync",
        "--no-first-run",
    )
    return {**browser_type_launch_args, "executable_path": str(CHROMIUM), "args": list(quiet)}
