"""The phone's words: complete in both languages, easy, and numbers and times that read one way."""

from __future__ import annotations

import gzip
import re
from collections.abc import Iterable, Iterator
from typing import Any

import pytest
from babel import Locale
from playwright.sync_api import Browser, Page

from schedules.phone import intake  # noqa: F401  each kind is registered
from schedules.phone.program import FILES, served
from schedules.phone.registry import HANDLERS

from .phone_world import HOST, World

LANGUAGES = ("en", "es")
OURS = re.compile(r"\b(sync\w*|offline|cach\w*|sincroni\w*|desconectad\w*)\b", re.IGNORECASE)
PREFIXES = ("why_", "p_", "cause_", "answer_", "box_", "pen_")  # of words chosen from a list
COUNTS = (0, 1, 2, 5, 21, 1_000_000)


def source(*, without: str = "words_") -> str:
    files = [f for f in FILES.glob("*.js") if not f.name.startswith(without)]
    return "".join(f.read_text() for f in files)


# Without a browser ------------------------------------------------------------------------------


def loaded(name: str, seen: set[str]) -> set[str]:
    """Names of the files that a file brings with it, itself too; not those loaded when needed."""
    if name in seen:
        return seen
    seen.add(name)
    text = (FILES / name).read_text()
    for other in re.findall(r'^import [^;]* from "\./([^"]+)"', text, re.MULTILINE):
        loaded(other, seen)
    return seen


def test_program_of_a_worker_is_at_most_60_kb_and_style_20_kb_compressed() -> None:
    def size(names: Iterable[str]) -> int:
        return sum(len(gzip.compress(served()[name])) for name in names)

    program = loaded("main.js", set())
    assert {"app.js", "view.js", "screens_work.js", "words_es.js"} <= program
    assert not {"screens_lead.js", "screens_shop.js", "words_more.js"} & program
    assert size(program) <= 60_000
    assert 0 < size(["phone.css"]) <= 20_000


def test_phone_asks_no_other_host() -> None:
    """Everything comes from our own server."""
    texts = [f.read_text() for f in FILES.iterdir() if f.suffix not in (".png", ".ico")]

    allowed = {"http://www.w3.org/2000/svg"}
    assert {u for text in texts for u in re.findall(r"https?://[^\"'` )]+", text)} <= allowed


def tokens(theme: str) -> dict[str, str]:
    """Give the colours of a theme as they stand in the style."""
    css = (FILES / "phone.css").read_text()
    found: dict[str, str] = {}
    for block in (
        r":root \{([^}]*)\}",
        *([r'\[data-theme="night"\] \{([^}]*)\}'] if theme else []),
    ):
        match = re.search(block, css)
        assert match
        found |= dict(re.findall(r"--([\w-]+):(#[0-9a-f]{3,6})", match[1]))
    return found


def contrast(one: str, other: str) -> float:
    """Contrast ratio by WCAG 2.2, definitions of contrast ratio and relative luminance."""

    def luminance(colour: str) -> float:
        digits = colour[1:] if len(colour) == 7 else "".join(c * 2 for c in colour[1:])
        parts = [int(digits[i : i + 2], 16) / 255 for i in (0, 2, 4)]
        r, g, b = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        return 0.2126 * r + 0.7152 * g + 0.0722 * b

    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_contrast_is_reckoned_as_the_standard_does() -> None:
    assert contrast("#000", "#fff") == pytest.approx(21)
    assert contrast("#595959", "#ffffff") == pytest.approx(7.0, abs=0.01)  # WCAG's AAA grey


@pytest.mark.parametrize("theme", ["", "night"])
def test_body_stands_out_15_to_1_and_all_other_words_7_to_1(theme: str) -> None:
    c = tokens(theme)

    assert contrast(c["ink"], c["paper"]) >= 15
    for ink, ground in (
        ("soft", "paper"),
        ("accent", "paper"),
        ("accent", "wash"),
        ("ink", "wash"),
        ("on-accent", "accent"),
        ("on-warm", "warm"),
    ):
        assert contrast(c[ink], c[ground]) >= 7, (ink, ground)
    assert contrast(c["line"], c["paper"]) >= 3  # WCAG 2.2, 1.4.11: borders of what is tapped
    if theme:
        assert (c["ink"], c["paper"]) == ("#fff", "#000")


# In a browser -----------------------------------------------------------------------------------


@pytest.fixture
def words(browser: Browser) -> Iterator[Page]:
    """A page that has the words and nothing else, on a phone that thinks it is in Tokyo."""
    context = browser.new_context(timezone_id="Asia/Tokyo")
    World().serve(context)
    page = context.new_page()
    page.goto(f"{HOST}/phone/")
    yield page
    context.close()


def ask(words: Page, script: str, given: Any = None) -> Any:
    loaded = "const w = await import('/phone/files/words.js');"
    loaded += "await import('/phone/files/words_more.js');"
    farm = "w.keepTime({ time_zone: 'America/Denver', clock_h: given?.clock_h ?? 12 });"
    return words.evaluate(
        f"async (given) => {{ {loaded} {farm} w.speak(given?.language ?? 'en'); {script} }}", given
    )


@pytest.fixture
def tables(words: Page) -> dict[str, dict[str, str | list[str]]]:
    found: dict[str, dict[str, str | list[str]]] = ask(words, "return w.WORDS")
    return found


def texts(table: dict[str, str | list[str]]) -> Iterator[tuple[str, str]]:
    for key, word in table.items():
        for one in [word] if isinstance(word, str) else word:
            yield key, one


@pytest.mark.browser
def test_both_languages_have_the_same_words_with_the_same_gaps(
    tables: dict[str, dict[str, str | list[str]]],
) -> None:
    en, es = tables["en"], tables["es"]

    assert sorted(en) == sorted(es)
    for key, word in en.items():
        gaps = [set(re.findall(r"\{(\w+)\}", str(one))) for one in (word, es[key])]
        assert gaps[0] == gaps[1], key
        if isinstance(word, list):
            assert (len(word), len(es[key])) == (2, 3), key
    assert not [one for table in tables.values() for one in texts(table) if not one[1].strip()]


@pytest.mark.browser
def test_every_word_asked_for_is_there_and_none_is_left_over(
    tables: dict[str, dict[str, str | list[str]]],
) -> None:
    text = source()
    quoted = set(re.findall(r'"(\w+)"', text))
    made = {f"{prefix}{name}" for prefix in PREFIXES for name in quoted}
    kinds = {f"k_{kind}" for kind in HANDLERS}
    keys = set(tables["en"])

    assert set(re.findall(r'(?<![\w.])tn?\("(\w+)"', text)) <= keys
    assert keys - quoted - made - kinds == set()
    own = set(re.findall(r"(\w+): ", text[text.index("const own =") :].split("}", 1)[0]))
    assert kinds - keys == {f"k_{kind}" for kind in own}


@pytest.mark.browser
def test_words_are_few_and_none_is_a_technicians(
    tables: dict[str, dict[str, str | list[str]]],
) -> None:
    for table in tables.values():
        for key, one in texts(table):
            assert not OURS.search(one), key
            for part in re.split(r"[.:?!,;]", one):
                assert len(part.split()) <= 8, (key, part)


@pytest.mark.browser
@pytest.mark.parametrize("language", LANGUAGES)
def test_plurals_take_the_forms_of_cldr(
    words: Page, tables: dict[str, dict[str, str | list[str]]], language: str
) -> None:
    """At 0, 1, 2, 5, 21 and a million; the forms that babel's CLDR names."""
    category = Locale(language).plural_form
    for key, forms in tables[language].items():
        if isinstance(forms, str):
            continue
        by_name = {"one": forms[0], "many": forms[-2], "other": forms[-1]}
        script = "return given.counts.map((n) => w.tn(given.key, n))"
        said = ask(words, script, {"key": key, "counts": COUNTS, "language": language})
        assert said == [by_name[category(n)].replace("{n}", f"{n:,}") for n in COUNTS]


@pytest.mark.browser
@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("1250.5", {"value": 1250.5}),
        ("1,250", {"value": 1250}),
        ("1,250.5", {"value": 1250.5}),
        ("12,345,678", {"value": 12345678}),
        ("0.125", {"value": 0.125}),
        (" 7 ", {"value": 7}),
        ("1.250", {"either": [1250, 1.25]}),
        ("12,5", {"either": [12.5, 125]}),
        ("1.250,5", {"either": [1250.5]}),
        ("", None),
        ("12h", None),
        ("1,25,0", None),
        ("-3", None),
    ],
)
def test_numbers_are_read_one_way_or_asked_back(words: Page, typed: str, meant: Any) -> None:
    assert ask(words, "return w.readNumber(given.typed)", {"typed": typed}) == meant


@pytest.mark.browser
@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize(
    ("clock_h", "said"),
    [
        (12, {"en": ["5:10 am", "noon", "midnight"], "es": ["5:10 am", "mediodía", "medianoche"]}),
        (24, {"en": ["05:10", "12:00", "00:00"], "es": ["05:10", "12:00", "00:00"]}),
    ],
)
def test_both_clocks_are_the_farms_own(
    words: Page, language: str, clock_h: int, said: dict[str, list[str]]
) -> None:
    at = ["2026-03-04T12:10:00Z", "2026-03-04T19:00:00Z", "2026-03-05T07:00:00Z"]
    given = {"at": at, "language": language, "clock_h": clock_h}
    assert ask(words, "return given.at.map(w.clock)", given) == said[language]


@pytest.mark.browser
@pytest.mark.parametrize(
    ("language", "said"),
    [
        ("en", ["Wed 4 Mar 5:10 am", "Thu 12 Mar", "1,250.5", "2 h 30 min"]),
        ("es", ["mié 4 mar 5:10 am", "jue 12 mar", "1,250.5", "2 h 30 min"]),
    ],
)
def test_days_have_names_and_numbers_one_style(words: Page, language: str, said: list[str]) -> None:
    script = """return [w.moment("2026-03-04T12:10:00Z", Date.parse("2026-03-06T12:00:00Z")),
        w.day("2026-03-12"), w.number(1250.5), w.duration(150)]"""
    assert ask(words, script, {"language": language}) == said


@pytest.mark.browser
@pytest.mark.parametrize("at", ["2026-03-08T08:30:00Z", "2026-11-01T07:30:00Z"])
def test_nights_of_changed_clocks_keep_the_day_that_the_farm_has(words: Page, at: str) -> None:
    """Just before and an hour after the clocks change in Denver it is the same day."""
    given = {"at": at}
    later = "new Date(Date.parse(given.at) + 3600000).toISOString()"
    assert ask(words, f"return w.dayOf(given.at) === w.dayOf({later})", given)


@pytest.mark.browser
def test_every_sign_is_drawn(words: Page) -> None:
    """A name that no sign has would be an empty drawing."""
    named = set(re.findall(r'(?:icon|signed|badge)\("(\w+)"', source()))
    known = words.evaluate("import('/phone/files/icons.js').then((m) => m.ICONS)")
    tabs = words.evaluate(
        "import('/phone/files/screens.js').then((m) => Object.values(m.TABS).flat())"
    )
    assert {*named, *tabs} <= set(known)
