"""A phone in a browser with an invented farm behind it, and no service.

What the client asks is answered here, so that a screen can be looked at in any state and in
milliseconds. `test_screens.py` has the real farm behind the same screens.
"""

from __future__ import annotations

import json
import re
from pathlib import PurePath
from typing import Any
from urllib.parse import parse_qs, urlparse

from django.template.loader import render_to_string
from playwright.sync_api import BrowserContext, Page, Route

from schedules.phone.pages import ADDRESS
from schedules.phone.program import TYPES, served

from .phone_farm import ANA, CREW, NOW, Body, Doc, everything
from .phone_walks import SETTLE_MS

HOST = "http://localhost:9"  # a secure context by its name; nothing listens there


def doubled(source: str) -> str:
    """Double every word of up to 20 letters in a table of words."""

    def twice(found: re.Match[str]) -> str:
        word = found[1]
        is_short = len(word) <= 20 and not word.startswith("./")  # a file's name is none
        return f'"{word} {word}"' if is_short else found[0]

    return re.sub(r'"([^"\n]+)"', twice, source)


def shell() -> str:
    """Give the page as it is served, with the files' own addresses."""
    return render_to_string("phone/shell.html", {"files": ADDRESS})


class World:
    """What stands behind the phone: its documents, its answers, and what it was told."""

    def __init__(self, documents: list[Doc] | None = None, *, worker: int | None = ANA) -> None:
        self.documents = everything() if documents is None else documents
        self.worker = worker  # None: a phone of the crew
        self.is_doubled = False  # short words twice, as a longer language would be
        self.events: list[Body] = []
        self.puts: list[str] = []
        self.photos: dict[str, bytes] = {}  # the farm's, PNG, by their ids
        self.refuses: dict[str, str] = {}
        self.version = 1
        self.has_signal = True

    def serve(self, context: BrowserContext) -> None:
        context.route(f"{HOST}/**", self.answer)

    def speak(self, language: str) -> None:
        """Let everybody on the farm speak one language."""
        for one in self.documents:
            if one["kind"] == "worker":
                one["body"]["language"] = language

    def answer(self, route: Route) -> None:
        """Answer one request of the phone."""
        at = urlparse(route.request.url)
        if at.path.startswith(ADDRESS):
            self._file(route, at.path.removeprefix(ADDRESS))
        elif at.path == "/phone/":
            route.fulfill(body=shell(), content_type="text/html")
        elif not self.has_signal:
            route.abort("internetdisconnected")
        else:
            self._api(route, at.path, parse_qs(at.query))

    def _file(self, route: Route, name: str) -> None:
        text = served()[name]
        if self.is_doubled and name.startswith("words_"):
            text = doubled(text.decode()).encode()
        route.fulfill(body=text, content_type=TYPES[PurePath(name).suffix])

    def _api(self, route: Route, path: str, query: dict[str, list[str]]) -> None:
        if path.endswith("/pair/"):
            shared = {"worker": "", "worker_id": None, "crew": "Mornings", "crew_id": CREW}
            own = {"worker": "Ana Ruelas", "worker_id": self.worker, "crew": "", "crew_id": None}
            who = own if self.worker else shared
            self._json(
                route,
                {
                    "token": "t",
                    "site": "three-cairns",
                    "site_name": "Three Cairns",
                    "language": "en",
                    **who,
                },
            )
        elif path.endswith("/pull/"):
            if not query.get("cursor", [""])[0]:
                self._pulled(route)  # with a cursor it waits for news, and there is none
        elif path.endswith("/events/"):
            self._json(
                route,
                {
                    "epoch": "e",
                    "answers": [
                        self._take(e) for e in json.loads(route.request.post_data or "{}")["events"]
                    ],
                },
            )
        elif "/attachments/" in path and route.request.method == "PUT":
            self.puts.append(path.split("/")[-2])
            self._json(route, {"id": self.puts[-1]}, status=201)
        elif path.split("/")[-2] in self.photos:
            route.fulfill(body=self.photos[path.split("/")[-2]], content_type="image/png")
        else:
            route.fulfill(status=404)

    def _pulled(self, route: Route) -> None:
        body = {
            "cursor": f"c{self.version}",
            "epoch": "e",
            "version": self.version,
            "kept_through": 0,
            "taken_seq": 0,
            "held": [],
            "now": NOW.isoformat(),
            "whole": True,
            "documents": self.documents,
            "dropped_scopes": [],
            "worker": self.worker,
        }
        self._json(route, body)

    def _take(self, event: Body) -> Body:
        self.events.append(event)
        detail = self.refuses.get(event["kind"])
        self.version += 1
        return {
            "id": event["id"],
            "state": "refused" if detail else "applied",
            "code": "no" if detail else "",
            "detail": detail or "",
            "expected_seq": None,
            "result": None if detail else {"lock": 77} if event["kind"] == "lock_on" else {},
            "version": self.version,
        }

    @staticmethod
    def _json(route: Route, body: Any, status: int = 200) -> None:
        route.fulfill(status=status, body=json.dumps(body), content_type="application/json")


def open_phone(page: Page, *, is_paired: bool = True) -> Page:
    page.clock.install(time=NOW)
    page.goto(f"{HOST}/phone/")
    page.wait_for_selector("#code")
    if is_paired:
        page.fill("#code", "ABCD")
        page.click("#pair")
        page.wait_for_selector("nav button, [id^=name-]")
        page.clock.fast_forward(SETTLE_MS)  # who has arrived takes taps a moment later
        page.wait_for_selector("[data-settling]", state="detached")
    return page
