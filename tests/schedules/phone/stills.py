"""`python -m tests.schedules.phone.stills FOLDER`: a worker's ten taps as pictures.

The shipped program at 360 x 740 with the invented farm behind it, without signal and back, once in
each language: one sheet of stills a language, in the order of the taps.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from io import BytesIO
from pathlib import Path

import django
from PIL import Image
from playwright.sync_api import Browser, sync_playwright

from tests.conftest import CHROMIUM

from .phone_farm import Body, everything, job
from .phone_taps import HELD_MS, Taps
from .phone_world import World, open_phone

SIZE = (360, 740)
ACROSS, GAP = 6, 8


def farm() -> list[Body]:
    """Give a farm of which two jobs are this worker's, the first with loads to count."""
    others = [one for one in everything() if one["kind"] != "job"]
    return [*others, job(1, counts_loads=True), job(2)]


def lose_signal(phone: Taps) -> None:
    phone.world.has_signal = False


def find_signal(phone: Taps) -> None:
    phone.world.has_signal = True
    phone.page.clock.fast_forward(HELD_MS + 60_000)
    phone.page.wait_for_timeout(500)


STEPS: tuple[tuple[str, str | Callable[[Taps], object]], ...] = (
    ("My jobs, with signal", lambda _phone: None),
    ("1 Start", "#start"),
    ("The signal is gone", lose_signal),
    ("2 One load", "#load"),
    ("3 Another load", "#load"),
    ("4 Done", "#done"),
    ("5 Tell us", "#tab-tell_us"),
    ("6 Photo", lambda phone: phone.photo("#photo-problem")),
    ("7 Send", "#send"),
    ("8 Machines", "#tab-machines"),
    ("9 Sent?", "#tab-sent"),
    ("Back in the signal", find_signal),
    ("10 My jobs", "#tab-jobs"),
)


def record(browser: Browser, language: str) -> list[bytes]:
    """Go through the steps; give a picture after each."""
    context = browser.new_context(
        viewport={"width": SIZE[0], "height": SIZE[1]}, has_touch=True, locale=language
    )
    world = World(farm())
    world.speak(language)
    world.serve(context)
    phone = Taps(open_phone(context.new_page()), world)
    taken = []
    for _name, step in STEPS:
        if isinstance(step, str):
            phone.tap(step)
        else:
            step(phone)
        taken.append(phone.page.screenshot())
    context.close()
    return taken


def sheet(pictures: list[bytes]) -> Image.Image:
    """Lay the pictures in rows."""
    rows = -(-len(pictures) // ACROSS)
    width, height = SIZE[0] + GAP, SIZE[1] + GAP
    whole = Image.new("RGB", (ACROSS * width, rows * height), "#888")
    for n, picture in enumerate(pictures):
        whole.paste(Image.open(BytesIO(picture)), (n % ACROSS * width, n // ACROSS * height))
    return whole


def main(argv: list[str]) -> int:
    """Write a sheet a language; say the steps in their order."""
    [folder] = argv
    os.environ["DJANGO_SETTINGS_MODULE"] = "config.settings_test"
    django.setup()
    Path(folder).mkdir(parents=True, exist_ok=True)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        for language in ("en", "es"):
            sheet(record(browser, language)).save(Path(folder) / f"taps-{language}.png")
        browser.close()
    print(" | ".join(name for name, _step in STEPS))
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
