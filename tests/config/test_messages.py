"""Catalogues compiled by Babel work in Django, all three Spanish plural forms included.

Forms: CLDR, plural rules of Spanish (`one`: n = 1; `many`: whole millions; `other`).
"""

import gettext
import os
from pathlib import Path

import pytest
from babel import Locale

from config.messages import compile_stale
from config.rooms import BASE_DIR

CATALOGUE = BASE_DIR / "config" / "locale" / "es" / "LC_MESSAGES" / "django.po"
PLURAL = """
msgid "%(n)s load"
msgid_plural "%(n)s loads"
msgstr[0] "%(n)s carga"
msgstr[1] "%(n)s de cargas"
msgstr[2] "%(n)s cargas"
"""


def header() -> str:
    """Return the first entry of the real catalogue."""
    return CATALOGUE.read_text().split("\n\n")[0] + "\n"


@pytest.fixture
def catalogue(tmp_path: Path) -> Path:
    po = tmp_path / "es" / "LC_MESSAGES" / "django.po"
    po.parent.mkdir(parents=True)
    po.write_text(header() + PLURAL)
    return po


@pytest.mark.parametrize("n", [0, 1, 2, 5, 21, 1_000_000, 2_000_000, 1_000_001])
def test_plural_forms_are_those_of_cldr(catalogue: Path, n: int) -> None:
    compile_stale(catalogue.parents[2])
    translation = gettext.translation("django", catalogue.parents[2], ["es"])
    words = {"one": "carga", "many": "de cargas", "other": "cargas"}

    said = translation.ngettext("%(n)s load", "%(n)s loads", n) % {"n": n}

    assert said == f"{n} {words[Locale('es').plural_form(n)]}"


def test_only_stale_catalogues_are_compiled(catalogue: Path) -> None:
    folder = catalogue.parents[2]

    assert compile_stale(folder) == [catalogue]
    assert compile_stale(folder) == []
    os.utime(catalogue, (2**32, 2**32))
    assert compile_stale(folder) == [catalogue]


def test_there_is_one_spanish_catalogue_for_all_countries() -> None:
    assert [path.name for path in (BASE_DIR / "config" / "locale").iterdir()] == ["es"]
