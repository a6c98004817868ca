"""Pages read as a person reads them: words without tags, tables as rows."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from typing import Protocol

from django.urls import reverse


class Page(Protocol):
    """An answer with a body; the test client's own type has no name."""

    content: bytes


PAGES = (
    "today",
    "day-list",
    "alerts",
    "map",
    "wall",
    "week",
    "problems",
    "came-late",
    "plan",
    "replan",
    "pens",
    "crew",
    "roster",
    "sand",
    "lane",
    "water",
    "weather",
    "basins",
    "machines",
    "look-back",
    "records",
    "year",
    "standing-orders",
    "set-up",
    "status",
)


def url(name: str, *args: object, slug: str = "ours") -> str:
    return reverse(name, args=[slug, *args])


class _Words(HTMLParser):
    """Collects text, and the cells of each table row."""

    def __init__(self) -> None:
        super().__init__()
        self.said: list[str] = []
        self.rows: list[list[str]] = []
        self.cell: list[str] | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "tr":
            self.rows.append([])
        if tag in ("td", "th"):
            self.cell = []

    def handle_endtag(self, tag: str) -> None:
        if tag in ("td", "th") and self.cell is not None:
            self.rows[-1].append(_plain(" ".join(self.cell)))
            self.cell = None

    def handle_data(self, data: str) -> None:
        self.said.append(data)
        if self.cell is not None:
            self.cell.append(data)


def _plain(text: str) -> str:
    return re.sub(r"\s+", " ", text).strip()


def words(response: Page) -> str:
    """All that the page says, on one line."""
    return _plain(" ".join(_read(response.content.decode()).said))


def rows(html: str) -> list[list[str]]:
    """Every table row of a piece of HTML, as the words of its cells."""
    return [row for row in _read(html).rows if row]


def section(response: Page, element_id: str) -> str:
    """What the element of an id says, with all in it."""
    html = response.content.decode()
    start = html.index(f'id="{element_id}"')
    tag_at = html.rindex("<", 0, start)
    tag = re.match(r"<(\w+)", html[tag_at:])
    assert tag is not None
    depth, at = 0, tag_at
    for found in re.finditer(rf"<(/?){tag[1]}\b", html[tag_at:]):
        depth += -1 if found[1] else 1
        if depth == 0:
            at = tag_at + found.end()
            break
    return _plain(" ".join(_read(html[tag_at:at]).said))


def _read(html: str) -> _Words:
    reader = _Words()
    reader.feed(html)
    return reader
