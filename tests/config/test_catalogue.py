"""The Spanish catalogue says every text of the code, in all its forms, with nothing lost.

Plural forms: CLDR, plural rules (`es`: one, many, other; `en`: one, other), as Babel carries them.
"A million" takes "de" before its noun (Real Academia Española, Diccionario panhispánico de dudas,
"millón"; from memory).
"""

import ast
import os
import re
import shutil
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from babel import Locale
from babel.dates import format_date
from babel.messages.catalog import Catalog, Message
from babel.messages.pofile import read_po
from django.utils import formats, translation
from django.utils.translation import ngettext

from config.rooms import APPS, BASE_DIR

PO = Path("config/locale/es/LC_MESSAGES/django.po")
FOLDERS = ("config", *APPS)
GETTEXT = ("xgettext", "msguniq", "msgmerge", "msgattrib")
INSTALL_GETTEXT = f"needs {', '.join(GETTEXT)}: apt-get install gettext"
FORMS = ("one", "many", "other")  # the order of the catalogue's three slots
COUNTS = (0, 1, 2, 5, 21, 1_000_000)
# What a translation must keep letter by letter: %s and its kin, {names}, `code`, keys and options.
KEPT = re.compile(
    r"%%|%(?:\(\w+\))?[#0+-]?\d*(?:\.\d+)?[a-zA-Z]|\{[^}]*\}|`[^`]+`|\b\w+_\w+\b|--[a-z-]+"
)
FIGURES_ALONE = re.compile(r"\b\d{1,2}/\d{1,2}\b")
WEDNESDAY = datetime(2026, 3, 4, 5, 10, tzinfo=UTC)
FORMATS = (
    "DATE_FORMAT",
    "SHORT_DATE_FORMAT",
    "MONTH_DAY_FORMAT",
    "YEAR_MONTH_FORMAT",
    "TIME_FORMAT",
    "DATETIME_FORMAT",
    "SHORT_DATETIME_FORMAT",
)


def read_catalogue(po: Path) -> Catalog:
    with po.open("rb") as source:
        return read_po(source, locale="es", abort_invalid=True)


CATALOGUE = read_catalogue(BASE_DIR / PO)
ENTRIES = [message for message in CATALOGUE if message.id]
PLURALS = [message for message in ENTRIES if message.pluralizable]


def texts(said: str | list[str] | tuple[str, ...] | None) -> tuple[str, ...]:
    return (said or "",) if isinstance(said, str | None) else tuple(said)


def said_in_english(message: Message) -> tuple[str, ...]:
    return texts(message.id)


def said_in_spanish(message: Message) -> tuple[str, ...]:
    return texts(message.string)


def say_plurals(n: int) -> dict[tuple[str, ...], str]:
    """Say each text with a plural for a count, in the language of the moment."""
    asked = [said_in_english(message) for message in PLURALS]
    return {english: ngettext(english[0], english[1], n) for english in asked}


def ids(catalogue: Catalog) -> set[tuple[str, ...]]:
    """Each text with the sense (`msgctxt`) that tells it from its like."""
    return {
        (message.context or "", *said_in_english(message)) for message in catalogue if message.id
    }


@pytest.fixture(scope="module")
def refreshed(tmp_path_factory: pytest.TempPathFactory) -> Catalog:
    """Extract all texts again, into a copy of the code."""
    if not all(map(shutil.which, GETTEXT)):
        if os.environ.get("CI") == "true":
            pytest.fail(INSTALL_GETTEXT, pytrace=False)
        pytest.skip(INSTALL_GETTEXT)
    copy = tmp_path_factory.mktemp("code")
    for folder in FOLDERS:
        shutil.copytree(
            BASE_DIR / folder, copy / folder, ignore=shutil.ignore_patterns("__pycache__")
        )
    subprocess.run(
        [sys.executable, "-m", "django", "makemessages", "-l", "es", "--no-location", "--no-wrap"],
        cwd=copy,
        env={**os.environ, "DJANGO_SETTINGS_MODULE": "config.settings_test"},
        check=True,
        capture_output=True,
    )
    return read_catalogue(copy / PO)


def test_the_catalogue_has_every_text_of_the_code_and_no_other(refreshed: Catalog) -> None:
    wanted, had = ids(refreshed), ids(CATALOGUE)

    assert sorted(wanted - had) == [], "not in the catalogue: makemessages, then translate"
    assert sorted(had - wanted) == [], "no longer in the code"


def test_every_text_is_translated_surely_and_none_is_left_over() -> None:
    assert [m.id for m in ENTRIES if not all(said_in_spanish(m))] == []
    assert [m.id for m in ENTRIES if m.fuzzy] == []
    assert list(CATALOGUE.obsolete) == []
    assert "#~" not in (BASE_DIR / PO).read_text()


@pytest.mark.parametrize("n", COUNTS)
def test_each_plural_is_spanish_at_every_count(n: int) -> None:
    form = FORMS.index(Locale("es").plural_form(n))

    with translation.override("es"):
        said = say_plurals(n)

    assert said == {said_in_english(m): said_in_spanish(m)[form] for m in PLURALS}
    assert [english for english, spanish in said.items() if spanish in english] == []


@pytest.mark.parametrize("n", COUNTS)
def test_each_plural_is_english_at_every_count(n: int) -> None:
    form = ("one", "other").index(Locale("en").plural_form(n))

    with translation.override("en"):
        said = say_plurals(n)

    assert said == {said_in_english(m): said_in_english(m)[form] for m in PLURALS}


def test_each_plural_has_three_forms_and_millions_take_de() -> None:
    assert len(PLURALS) >= 20
    assert [m.id for m in PLURALS if len(said_in_spanish(m)) != len(FORMS)] == []
    assert [m.id for m in PLURALS if not re.search(r"[sd] de \w", said_in_spanish(m)[1])] == []


def test_a_translation_keeps_placeholders_code_and_keys() -> None:
    lost = [
        (message.id, spanish)
        for message in ENTRIES
        for spanish in said_in_spanish(message)
        if Counter(KEPT.findall(spanish)) != Counter(KEPT.findall(said_in_english(message)[-1]))
    ]

    assert lost == []


def test_the_singular_keeps_the_placeholders_of_the_plural() -> None:
    one_and_other = [
        tuple(Counter(KEPT.findall(text)) for text in said_in_english(m)) for m in PLURALS
    ]

    assert [pair for pair in one_and_other if pair[0] != pair[1]] == []


def test_no_text_carries_markup() -> None:
    said = [text for m in ENTRIES for text in said_in_english(m) + said_in_spanish(m)]

    assert [text for text in said if re.search(r"</?[a-z]|&\w+;", text)] == []


def python_files() -> Iterator[Path]:
    for folder in FOLDERS:
        yield from (BASE_DIR / folder).rglob("*.py")


def aliases(tree: ast.AST) -> Iterator[str]:
    """Give other names of Django's functions than `_`: xgettext does not know those."""
    for node in ast.walk(tree):
        match node:
            case ast.ImportFrom(module="django.utils.translation", names=names):
                yield from (a.asname for a in names if a.asname not in {None, "_"} and a.asname)
            case ast.Assign(targets=[ast.Name(id=name)], value=ast.Name(id=value)):
                if re.fullmatch(r"n?p?gettext(_lazy|_noop)?", value):
                    yield name


def test_texts_are_marked_by_names_that_the_extraction_knows() -> None:
    found = [(str(p), a) for p in python_files() for a in aliases(ast.parse(p.read_text()))]

    assert found == []


def templates() -> list[Path]:
    return [
        p
        for folder in FOLDERS
        for s in ("html", "typ")
        for p in (BASE_DIR / folder).rglob(f"*.{s}")
    ]


@pytest.mark.parametrize("language", ["en", "es"])
def test_no_page_or_format_writes_a_date_in_figures_alone(language: str) -> None:
    pages = {path.name: path.read_text() for path in templates()}
    patterns = {p for page in pages.values() for p in re.findall(r'\|date:"([^"]+)"', page)}
    with translation.override(language):
        dates = [formats.date_format(WEDNESDAY, p) for p in {*FORMATS, *patterns}]
        inputs = [formats.get_format(name) for name in FORMATS]

    assert len(pages) > 15
    assert [name for name, page in pages.items() if FIGURES_ALONE.search(page)] == []
    assert [day for day in dates if FIGURES_ALONE.search(day)] == []
    assert [text for text in inputs if "/" in text] == []
    assert [m.id for m in ENTRIES if FIGURES_ALONE.search(" ".join(said_in_spanish(m)))] == []


@pytest.mark.parametrize("language", ["en", "es"])
def test_numbers_have_a_point_and_groups_of_three_in_both_languages(language: str) -> None:
    with translation.override(language):
        said = [formats.number_format(n, force_grouping=True) for n in (1250.5, 1_000_000, 0.25)]

    assert said == ["1,250.5", "1,000,000", "0.25"]


@pytest.mark.parametrize(("language", "said"), [("en", "Wed 4 Mar"), ("es", "mié 4 mar")])
def test_a_day_is_said_in_words(language: str, said: str) -> None:
    with translation.override(language):
        assert formats.date_format(date(2026, 3, 4), "SHORT_DATE_FORMAT") == said


def test_spanish_days_and_months_are_those_of_cldr_in_small_letters() -> None:
    """CLDR, Gregorian calendar of `es`, as Babel carries it; it writes `sept` and Django `sep`."""
    days = [date(2026, 1, 1) + timedelta(days=n) for n in range(365)]

    with translation.override("es"):
        said = [formats.date_format(day, "SHORT_DATE_FORMAT") for day in days]

    assert said == [format_date(d, "EEE d MMM", locale="es").replace("sept", "sep") for d in days]
    assert said == [text.lower() for text in said]
