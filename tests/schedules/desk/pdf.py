"""Paper read back from its PDF: size, words, boxes to tick, and the code that leads back."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from typing import Any

import segno
from django.test import Client
from pypdf import PageObject, PdfReader

from .reading import url

BORDER = 2  # light modules around the code
# US Letter is 8.5 x 11 in (ANSI/ASME Y14.1); A4 is 210 x 297 mm (ISO 216); a point is 1/72 in.
PAPERS_PT = {"letter": (612, 792), "a4": (595.28, 841.89)}
FIGURES_ALONE = re.compile(r"\d{1,2}/\d{1,2}|\d{4}-\d{2}-\d{2}")


def read_pdf(client: Client, name: str, *args: Any, slug: str = "ours", **query: Any) -> PdfReader:
    """Print a sheet and open it."""
    response = client.get(url(name, *args, slug=slug), query)
    assert response.status_code == 200, response.content
    assert response["Content-Type"] == "application/pdf"
    return PdfReader(io.BytesIO(response.content))


def text_of(page: PageObject) -> str:
    """All that a page says, on one line."""
    return " ".join(page.extract_text().split())


def pages_with(pdf: PdfReader, words: str) -> list[tuple[PageObject, str]]:
    """The pages that say something, each with its text."""
    pages = [(page, text_of(page)) for page in pdf.pages]
    return [(page, text) for page, text in pages if words in text]


def drawn(page: PageObject) -> str:
    """What the page draws, as PDF operators."""
    content = page.get_contents()
    assert content is not None
    return content.get_data().decode("latin-1")


def n_boxes(page: PageObject) -> int:
    """Closed squares of 6 mm: 17.01 pt."""
    return len(re.findall(r"17\.007\d* 17\.007\d* l", drawn(page)))


def size_pt(page: PageObject) -> list[float]:
    """Width and height of a page."""
    return [float(x) for x in page.mediabox[2:]]


def dark_modules(page: PageObject) -> set[tuple[int, int]]:
    """The longest path of the page, read back as runs of dark modules (column, row)."""
    path = max(re.findall(r"(?:[-\d.]+ [-\d.]+ [ml]\s+){20,}", drawn(page)), key=len)
    runs = re.findall(r"([\d.]+) ([\d.]+) m\s+([\d.]+) [\d.]+ l", path)
    return {
        (x - BORDER, int(float(y)) - BORDER)
        for start, y, end in runs
        for x in range(int(float(start)), int(float(end)))
    }


def code_of(address: str) -> set[tuple[int, int]]:
    """Dark modules of the QR code (ISO/IEC 18004) of an address on the test server."""
    code = segno.make(f"http://testserver{address}", error="m").matrix
    return {(x, y) for y, row in enumerate(code) for x, bit in enumerate(row) if bit}


def sizes_of_type(page: PageObject) -> set[float]:
    """Sizes in which the page sets type, as its font operators name them."""
    return {float(size) for size in re.findall(r"/F?\w+ ([\d.]+) Tf", drawn(page))}


def greys(page: PageObject) -> Iterator[str]:
    """Colours that the page sets, other than black and white."""
    for operands, _name in re.findall(r"((?:[\d.]+ )+)(rg|RG|g|G|scn|SCN|k|K)\b", drawn(page)):
        if set(operands.split()) - {"0", "1", "0.0", "1.0"}:
            yield operands
