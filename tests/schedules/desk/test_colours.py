"""What the desk and the phone say by colour is seen in grey and by colour-blind people too.

Grey: 3:1 between marks that colour alone tells apart, and between a mark's frame or line and its
ground (WCAG 2.2, 1.4.11 Non-text Contrast). Colour-blind: a distance of 20 in CAM02-UCS, a fifth
of that of black and white; our choice, as no standard gives a number. Where a word, a shape or
hatching says it as well, `SIGNS` names what draws it.
"""

from __future__ import annotations

import itertools
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from tests.eyes import Eyes, apart, contrast, picture_seen, rgb, seen

ROOT = Path(__file__).parents[3]
STATIC = ROOT / "schedules/desk/static/desk"
PHONE = ROOT / "schedules/phone/client/phone.css"
LEAST_RATIO, LEAST_APART = 3.0, 20.0
BLIND = (Eyes.PROTAN, Eyes.DEUTAN, Eyes.TRITAN)

# Marks next to each other, told apart by nothing but their fill.
ALONE = [
    ("done", "open"),  # jobs on the chart of pens, turns of beds
    ("done", "accent"),  # done, under way
    ("accent", "open"),  # under way, to do
    ("accent", "accent-wash"),  # as last read, what is likely
    ("night", "paper"),  # the page one is on, and the others
    ("accent", "paper"),  # the main button, and a second one
]
# A frame, line or dot, and what it lies on.
LINES = [
    ("ink", "paper"),  # frame of a job; line of now; limits
    ("ink", "accent-wash"),  # the same in an open window
    ("ink", "away"),
    ("accent", "paper"),  # frame of an open window; level; middle line of a forecast
    ("accent", "ground"),
    ("accent", "accent-wash"),
    ("ink", "warm"),  # hatching of what is late; frame of a state that needs somebody
    ("ink", "warm-wash"),  # line at the side of what needs a decision
    ("ink-soft", "away"),  # dots of cows that are away
    ("accent", "open"),  # lines of what was done in part
    ("focus", "paper"),
    ("focus", "ground"),
    ("warm", "night"),  # focus on the page one is on
]
# What is close in grey has another sign; this draws it.
SIGNS = {
    ".decide": "inset 2px 0 0 var(--ink)",
    "tr.late td:first-child": "inset 7px 0 0 var(--ink)",
    ".state.waiting": "border-style: dashed",
    ".state.part, .state.could-not": "border-color: var(--ink)",
    ".shift.changed": "outline: 1px dashed var(--ink)",
    "table.roster .heads td.short": "inset 0 0 0 1px var(--ink)",
    ".bay.free": "dashed",
    "svg.drawn .job.late": "url(#hatch)",
    "svg.drawn .locked": "url(#hatch)",
    "svg.drawn .job.part": "url(#part)",
    "svg.drawn .away": "url(#dotted)",
    "svg.drawn .water": "stroke-dasharray",
    "svg.drawn .now": "stroke-dasharray: 5 3",
    "svg.drawn .limit": "stroke-dasharray: 2 3",
}
# The phone: its cards, verdicts and buttons. Words and icons say all of it too.
PHONE_LINES = [
    ("accent", "paper"),
    ("ink", "paper"),
    ("ink", "wash"),
    ("accent", "wash"),
    ("on-accent", "accent"),
    ("on-warm", "warm"),
    ("line", "paper"),
]


def desk_colours() -> dict[str, str]:
    css = (STATIC / "tokens.css").read_text()
    return dict(re.findall(r"--([\w-]+): (#[0-9a-f]{3,6});", css))


def phone_colours(theme: str) -> dict[str, str]:
    css = PHONE.read_text()
    blocks = [r":root \{([^}]*)\}", *([rf'="{theme}"\] \{{([^}}]*)\}}'] if theme else [])]
    found: dict[str, str] = {}
    for block in blocks:
        match = re.search(block, css)
        assert match
        found |= dict(re.findall(r"--([\w-]+):(#[0-9a-f]{3,6})", match[1]))
    return found


def faults_of(colours: dict[str, str], pairs: list[tuple[str, str]]) -> list[str]:
    """Pairs that are too close to some eyes."""
    found = []
    for names in pairs:
        one, other = (rgb(colours[name]) for name in names)
        if (ratio := contrast(one, other)) < LEAST_RATIO:
            found.append(f"{names}: {ratio:.2f}:1 in grey")
        found += [
            f"{names}: {far:.0f} apart, {eyes}"
            for eyes in BLIND
            if (far := apart(one, other, eyes)) < LEAST_APART
        ]
    return found


@pytest.mark.parametrize("pairs", [ALONE, LINES], ids=["fills", "lines"])
def test_colours_of_the_desk_are_told_apart_by_all_eyes(pairs: list[tuple[str, str]]) -> None:
    assert faults_of(desk_colours(), pairs) == []


@pytest.mark.parametrize("theme", ["", "night"])
def test_colours_of_the_phone_are_told_apart_by_all_eyes(theme: str) -> None:
    assert faults_of(phone_colours(theme), PHONE_LINES) == []


def test_signs_of_safety_differ_in_grey_too() -> None:
    """Yellow triangle, red octagon: shapes of their own, with a sign that stands out on each."""
    css = PHONE.read_text()
    danger = re.search(r"\.sign \.icon\.danger \.f \{ fill:(#[0-9a-f]{6}); stroke:(#\w+);", css)
    assert danger
    colours = phone_colours("") | {"danger": danger[1], "on-danger": danger[2], "black": "#000"}

    pairs = [("hazard", "danger"), ("danger", "on-danger"), ("hazard", "black")]
    assert faults_of(colours, pairs) == []


def test_no_colour_is_green_so_none_stands_red_against_green() -> None:
    for colours in (desk_colours(), phone_colours(""), phone_colours("night")):
        for name, colour in colours.items():
            r, g, b = rgb(colour)
            assert g <= max(r, b) + 0.02, name


def test_what_is_close_in_grey_has_another_sign() -> None:
    css = (STATIC / "desk.css").read_text()
    for selector, drawn in SIGNS.items():
        rules = re.findall(rf"(?m)^{re.escape(selector)} \{{([^}}]*)\}}", css)
        assert any(drawn in rule for rule in rules), selector


def test_colours_of_charts_are_tokens() -> None:
    """So what is tried here is what is drawn."""
    for file in (ROOT / "schedules/desk").glob("*.py"):
        assert not re.search(r'(fill|stroke)="#', file.read_text()), file.name
    css = (STATIC / "desk.css").read_text()
    drawn = [line for line in css.splitlines() if line.startswith("svg.drawn")]
    assert drawn
    assert not [line for line in drawn if re.search(r"#[0-9a-f]{3,6}\b", line)]


def test_a_pair_that_is_too_close_is_found() -> None:
    """Red and green of one lightness, and yellow on white in grey."""
    colours = {"red": "#c04040", "green": "#5f7f20", "yellow": "#f2c230", "white": "#fff"}

    found = " ".join(faults_of(colours, [("red", "green"), ("yellow", "white")]))
    assert "('red', 'green'): 1." in found
    assert "apart, deutan" in found
    assert "('yellow', 'white'): 1.68:1 in grey" in found


# The simulation ---------------------------------------------------------------------------------

# First columns of the matrices at full severity of Machado et al. 2009: what becomes of pure red.
# From memory, and the same in colorspacious, which has its own from the authors.
RED = {
    Eyes.PROTAN: (0.152286, 0.114503, -0.003882),
    Eyes.DEUTAN: (0.367322, 0.280085, -0.011820),
    Eyes.TRITAN: (1.255528, -0.078411, 0.004733),
}


def _shown(linear: Any) -> Any:
    """sRGB of linear values (IEC 61966-2-1)."""
    value = np.clip(linear, 0, 1)
    return np.where(value <= 0.0031308, 12.92 * value, 1.055 * value ** (1 / 2.4) - 0.055)


@pytest.mark.parametrize("eyes", BLIND)
def test_red_is_seen_as_the_paper_says(eyes: Eyes) -> None:
    assert seen(rgb("#f00"), eyes) == pytest.approx(_shown(np.array(RED[eyes])), abs=1e-4)


@pytest.mark.parametrize("eyes", list(Eyes))
def test_grey_stays_as_it_is(eyes: Eyes) -> None:
    for level in (0.0, 0.25, 0.5, 1.0):
        grey = np.full(3, level)
        assert seen(grey, eyes) == pytest.approx(grey, abs=2e-4)


def test_contrast_and_distance_have_the_ends_of_their_scales() -> None:
    black, white = rgb("#000"), rgb("#fff")
    assert contrast(black, white) == pytest.approx(21)
    assert contrast(rgb("#595959"), white) == pytest.approx(7.0, abs=0.01)
    assert apart(black, white, Eyes.GREY) == pytest.approx(100, abs=0.1)


def test_picture_in_grey_has_no_colour_and_keeps_what_is_light() -> None:
    picture = Image.new("RGB", (2, 1), "#0000ff")
    picture.putpixel((1, 0), (255, 255, 0))

    left, right = (picture_seen(picture, Eyes.GREY).getpixel((x, 0)) for x in (0, 1))
    assert isinstance(left, tuple)
    assert isinstance(right, tuple)
    assert all(len(set(each)) == 1 for each in (left, right))
    assert right[0] - left[0] > 150  # yellow is light, blue is dark


def test_red_and_green_lie_closer_to_those_who_mix_them_up() -> None:
    far = {eyes: apart(rgb("#c04040"), rgb("#5f7f20"), eyes) for eyes in (Eyes.DEUTAN, Eyes.TRITAN)}
    assert far[Eyes.DEUTAN] < far[Eyes.TRITAN]


def test_every_pair_names_two_colours_that_there_are() -> None:
    for pairs, colours in ((ALONE + LINES, desk_colours()), (PHONE_LINES, phone_colours(""))):
        assert set(itertools.chain(*pairs)) <= set(colours)
