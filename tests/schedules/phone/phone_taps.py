"""A phone whose taps are counted, and whose words are waited for."""

from __future__ import annotations

from collections.abc import Callable

from playwright.sync_api import FilePayload, Page

from .phone_farm import Body
from .phone_walks import SETTLE_MS
from .phone_world import World

PHOTO = bytes.fromhex(  # one grey pixel: the smallest PNG there is
    "89504e470d0a1a0a0000000d4948445200000001000000010800000000"
    "3a7e9b550000000a49444154789c636000000002000148afa4710000000049454e44ae426082"
)
PICTURE: FilePayload = {"name": "curb.png", "mimeType": "image/png", "buffer": PHOTO}
Made = Callable[..., "Taps"]
HELD_MS = 11_200  # so long most things can be taken back, and are not sent
AT_ONCE = {"start", "done", "part", "could_not", "load", "undo", "give", "language"}
AT_ONCE |= {"lock_on", "lock_off", "set_pin"}  # facts that another fact takes back
AT_ONCE |= {"hold"}  # keeps people safe


class Taps:
    """A phone whose taps are counted."""

    def __init__(self, page: Page, world: World) -> None:
        self.page, self.world, self.n = page, world, 0
        self.heard: dict[str, int] = {}

    def tap(self, *selectors: str) -> Taps:
        for selector in selectors:
            self.page.click(selector)
            self.page.clock.fast_forward(SETTLE_MS)
            self.page.wait_for_function("!document.querySelector('[data-settling]')")
            self.n += 1
        return self

    def type_in(self, digits: str) -> Taps:
        """Type by the keys of the screen; digits are not counted."""
        for digit in digits:
            self.page.locator(".key", has_text=digit).first.click()
        return self

    def photo(self, selector: str) -> Taps:
        self.page.set_input_files(selector, PICTURE)
        self.page.wait_for_selector(".taken")
        self.n += 1
        return self

    def last(self, kind: str, *, books_sand: bool = False, is_urgent: bool = False) -> Body:
        """Wait for the next thing of a kind that the farm hears, and give what it says."""
        n = self.heard[kind] = self.heard.get(kind, 0) + 1
        is_held = books_sand or not (is_urgent or kind in AT_ONCE)
        if is_held and len(self._told(kind)) < n:
            self.page.wait_for_selector("#undo")  # then it is kept
            self.page.clock.fast_forward(HELD_MS)
        for _ in range(200):
            found = self._told(kind)
            if len(found) >= n:
                return found[-1]
            self.page.wait_for_timeout(25)
        raise AssertionError([e["kind"] for e in self.world.events])

    def _told(self, kind: str) -> list[Body]:
        return [e["payload"] for e in self.world.events if e["kind"] == kind]

    def text(self, selector: str = "main") -> str:
        return self.page.locator(selector).inner_text()
