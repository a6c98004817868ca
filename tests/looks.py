"""What each page must hold in a real browser: WCAG 2.2 AA by axe-core, no wider than the screen."""

from __future__ import annotations

import json

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

WIDTHS_PX = (320, 1280)

# target-size (WCAG 2.5.8) is off in axe unless it is switched on.
OPTIONS = json.dumps(
    {
        "runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa"]},
        "rules": {"target-size": {"enabled": True}},
        "resultTypes": ["violations"],
    }
)
# Only what is wrong comes back: all that passes is a megabyte a page.
ASK = f"""async () => (await axe.run({OPTIONS})).violations
    .flatMap((v) => v.nodes.map((n) => `${{v.id}}: ${{n.html.slice(0, 150)}}`))"""


PASSWORD = "beds-and-sand"  # of every account that a browser signs in with


def sign_in(page: Page, username: str) -> None:
    """Sign in at the desk by its own form."""
    page.goto("/sign-in/")
    page.fill("#id_username", username)
    page.fill("#id_password", PASSWORD)
    page.click("main button")
    page.wait_for_url(lambda at: "sign-in" not in at)


def faults(page: Page) -> list[str]:
    """What axe finds on the page at each width, and by how much it is too wide."""
    prepare(page)
    return [fault for width_px in WIDTHS_PX for fault in _faults_at(page, width_px)]


def prepare(page: Page) -> None:
    """Give the page what `faults_at` asks with."""
    page.evaluate(Axe().axe_script)


def faults_at(page: Page) -> list[str]:
    """What axe finds on the page as wide as it is."""
    found: list[str] = page.evaluate(ASK)
    return found


def _faults_at(page: Page, width_px: int) -> list[str]:
    page.set_viewport_size({"width": width_px, "height": 800})
    over_px = page.evaluate("document.documentElement.scrollWidth - innerWidth")
    wide = [f"{over_px} px too wide"] if over_px > 0 else []
    return [f"{page.url} at {width_px}: {fault}" for fault in [*wide, *faults_at(page)]]
