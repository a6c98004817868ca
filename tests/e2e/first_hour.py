"""The first hour of a new farm at the desk: from a name and a password to who does what today.

`python -m tests.e2e.first_hour FOLDER` walks it in both languages and leaves a picture of each
page. All is done by what a person has: links, fields, buttons, rows pasted from a spreadsheet.
"""

from __future__ import annotations

import os
import sys
from argparse import ArgumentParser
from collections.abc import Sequence
from pathlib import Path

import pytest
from playwright.sync_api import Page

FOLDER_GIVEN = "FIRST_HOUR_FOLDER"

PEOPLE = ("Ona Fernbrook", "Tavo Robledal", "Merit Ashmere", "Nora Valdeverde")
PASTED: dict[str, Sequence[str]] = {  # as a spreadsheet copies them; names as people write them
    "pens": (
        "Label\tWhat cows live here\tCows in milk\tWay to the parlor (ft)\tMilking rank"
        "\tWhat the pen does to have time for its beds\tReturn hold min",
        "1\tFresh\t90\t450\t1\tReturn gate held\t20",
        "2\tmilking\t120\t520\t2\tgate_held\t20",
        "3\tmilking\t110\t600\t3\tgate_held\t20",
    ),
    "bed_groups": (
        "label\tpen\tn_stalls",
        *(f"{pen}{row}\tpen-{pen}\t48" for pen in (1, 2, 3) for row in "AB"),
    ),
    "workers": (
        "Name\trole\tcrew\tlanguage\tskills",
        f"{PEOPLE[0]}\tlead\tDay crew\ten\tBeds by hand 2024-01-01",
        f"{PEOPLE[1]}\tworker\tDay crew\tes\tBeds by hand 2024-01-01; Drives loaders 2025-02-01",
        f"{PEOPLE[2]}\tworker\tDay crew\ten\tBeds by hand 2025-06-01",
        f"{PEOPLE[3]}\tworker\tDay crew\tes\tBeds by hand 2025-06-01",
    ),
    "rotations": (
        "worker\tpattern\tdays_on\tdays_off\tanchor_on",
        *(f"{name}\tDay\t7\t0\t2026-01-05" for name in PEOPLE),
    ),
    "machines": (
        "name\tkind\thome\tdriver_skill\tbucket_m3",
        "Loader 1\tloader\tmachine-yard\tDrives loaders\t3.1",
        "Loader 2\tloader\tmachine-yard\tDrives loaders\t3.1",
    ),
    "bays": ("label\tpad\tarea_m2\tcapacity_kg", "1\tpad\t180\t70000", "2\tpad\t180\t70000"),
}


class Walk:
    """A person at the desk of a new farm, who looks for what to do next and does it."""

    def __init__(self, page: Page, language: str, folder: Path | None) -> None:
        self.page = page
        self.name = language
        pen, self.yard = {"en": ("Pen", "Yard"), "es": ("Corral", "Patio de máquinas")}[language]
        self.pens = "; ".join(f"{pen} {n}" for n in (1, 2, 3))
        self.folder = folder
        self.n_pictures = 0

    def look(self, what: str) -> None:
        """Take a picture of what is seen, where pictures are wanted."""
        if self.folder is not None:
            self.n_pictures += 1
            path = self.folder / f"{self.name}-{self.n_pictures:02}-{what}.png"
            self.page.screenshot(path=path, full_page=True)

    def sign_in(self, account: str, password: str) -> None:
        """Sign in as `setup` says; Today says what to do next."""
        self.page.goto("/")
        self.look("sign-in")
        self.page.fill("#id_username", account)
        self.page.fill("#id_password", password)
        self.page.click("main button")
        self.page.wait_for_url(lambda at: "sign-in" not in at)
        self.look("today-empty")

    def go(self, page: str) -> None:
        """Follow a link of the menu."""
        self.page.click(f"nav a[href$='/{page}/']")

    def next(self, section: str) -> None:
        """Follow the guide from where it is shown; it must lead to this part of Set up."""
        self.go("set-up")
        self.look(f"guide-{section}")
        self.page.click("[aria-current=step] a")
        assert self.page.url.endswith(f"/set-up/{section}/")
        assert self.page.locator("main p.lead strong").count() == 1, "it says that one is here"

    def open(self, section: str) -> None:
        """Open a part of Set up that the guide does not ask for."""
        self.go("set-up")
        self.page.locator(f"main .columns a[href$='/set-up/{section}/']").click()

    def paste(self, section: str) -> None:
        """Paste rows, look at what would come of them, take them in."""
        self.page.fill("#rows", "\n".join(PASTED[section]))
        self.page.click("form:has(#rows) button")
        self.look(f"{section}-looked-at")
        self.refuse_faults()
        self.page.click("form:has([name=seen]) button")
        self.refuse_faults()
        self.page.wait_for_selector("[role=status]")
        self.look(section)

    def add(self, picture: str, /, **fields: str) -> None:
        """Open the form of a new entry and fill it."""
        self.page.click("main .title .aside a")
        self.fill(picture, **fields)

    def fill(self, picture: str, /, **fields: str) -> None:
        """Fill a form, a choice by what it says, and save it."""
        for field, text in fields.items():
            box = self.page.locator(f"#f-{field}")
            tag = box.evaluate("box => box.tagName")
            if tag == "SELECT":
                box.select_option(label=text)
            elif tag == "FIELDSET":
                for each in text.split("; "):
                    box.get_by_label(each, exact=True).check()
            else:
                box.fill(text)
        self.look(f"{picture}-form")
        self.page.click("form.panel button[value=save]")
        self.page.wait_for_load_state()
        self.refuse_faults()
        self.page.wait_for_selector("[role=status]")
        self.look(picture)

    def refuse_faults(self) -> None:
        """Stop where the page says that something is in the way."""
        assert self.page.locator(".faults").all_inner_texts() == []


def give_what_a_plan_needs(walk: Walk) -> None:
    """Give it in the order in which the guide asks for it, until nothing is missing."""
    milks = {"n_stalls": "24", "seconds_per_stall_s": "12", "wash_min": "30"}
    walk.next("parlors")
    walk.add("parlor", **milks, starts_local="06:00; 14:00; 22:00")
    walk.next("pens")
    walk.paste("pens")
    walk.next("bed_groups")
    walk.paste("bed_groups")
    walk.next("skills")
    walk.add("skill", name="Beds by hand")
    walk.add("skill", name="Drives loaders")
    walk.open("crews")
    walk.add("crew", name="Day crew")
    walk.next("workers")
    walk.paste("workers")
    walk.next("shift_patterns")
    walk.add("shift", name="Day", starts_local="05:30", duration_min="720")
    walk.next("rotations")
    walk.paste("rotations")
    walk.next("standing_orders")
    walk.page.click("a[href$='?from=by-hand']")
    walk.fill("order", skill="Beds by hand")


def give_more(walk: Walk) -> None:
    """Give what no first plan needs: who looks after which pens, a yard, loaders, a pad."""
    walk.open("crew_pens")
    walk.add("crew-pens", crew="Day crew", pattern="Day", pens=walk.pens)
    walk.open("places")
    walk.add("yard", kind=walk.yard, label="Machine yard", key="machine-yard")
    walk.open("machines")
    walk.paste("machines")
    walk.open("pads")
    walk.add("pad")
    walk.open("bays")
    walk.paste("bays")
    walk.go("set-up")
    walk.look("set-up")


def main(argv: list[str]) -> int:
    """Walk it with pictures; pytest's own exit code."""
    parser = ArgumentParser(prog="python -m tests.e2e.first_hour", description=__doc__)
    parser.add_argument("folder", type=Path)
    folder = parser.parse_args(argv).folder.resolve()
    folder.mkdir(parents=True, exist_ok=True)
    os.environ[FOLDER_GIVEN] = str(folder)
    test = Path(__file__).with_name("test_first_hour.py")
    return int(pytest.main(["-q", "-n0", "-p", "no:cacheprovider", str(test)]))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
