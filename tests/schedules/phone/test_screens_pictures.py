"""The last photo of a job's place is seen with the job, also where there is no signal."""

from __future__ import annotations

from io import BytesIO
from typing import Any

import pytest
from PIL import Image

from .phone_farm import everything, job
from .phone_taps import Made, Taps

pytestmark = pytest.mark.browser
LAST = "0198c0de-0000-7000-8000-000000000001"
KEPT = """async () => new Promise((give) => { const asking = indexedDB.open('penround');
    asking.onsuccess = () => { const all = asking.result.transaction('bytes').objectStore('bytes');
        const keys = all.getAllKeys(), values = all.getAll();
        values.onsuccess = () => give(Object.fromEntries(
            keys.result.map((key, n) => [key, values.result[n].byteLength])));
    }; })"""
WIDTH = "document.querySelector('figure img')?.naturalWidth"


def noisy(side: int) -> bytes:
    """Give a photo that no compression makes small of itself."""
    out = BytesIO()
    Image.effect_noise((side, side * 3 // 4), 90).convert("RGB").save(out, "PNG")
    return out.getvalue()


def with_picture(name: str, **more: Any) -> list[Any]:
    others = [one for one in everything() if one["kind"] != "job"]
    return [*others, job(1, picture=name, **more)]


def until(phone: Taps, script: str, is_it: Any) -> Any:
    """Ask the page again and again until the answer is what is wanted."""
    found = None
    for _ in range(200):
        found = phone.page.evaluate(script)
        if is_it(found):
            return found
        phone.page.wait_for_timeout(25)
    raise AssertionError(found)


def test_picture_is_carried_small_and_seen_without_signal(made: Made) -> None:
    phone = made(documents=with_picture(LAST), photos={LAST: noisy(1200)})
    kept = until(phone, KEPT, lambda found: f"small-{LAST}" in found)
    assert 1_000 < kept[f"small-{LAST}"] <= 30_000

    phone.world.has_signal = False
    phone.page.reload()
    phone.tap("#job-1").page.wait_for_selector("figure img")

    assert until(phone, WIDTH, bool) in (320, 480)
    assert phone.text("figcaption") == "The last photo from here"


def test_job_without_a_picture_says_nothing_of_one(made: Made) -> None:
    phone = made(documents=with_picture("")).tap("#job-1")
    phone.page.wait_for_selector("#read-aloud")
    assert phone.page.locator("figure").count() == 0


def test_picture_that_no_job_names_any_more_goes(made: Made) -> None:
    phone = made(documents=with_picture(LAST), photos={LAST: noisy(64)})
    until(phone, KEPT, lambda found: f"small-{LAST}" in found)
    other = LAST[:-1] + "2"
    phone.world.documents = with_picture(other)  # of which the farm has no file
    phone.world.version += 1

    phone.page.evaluate("import('/phone/files/store.js').then((s) => s.setFact('cursor', null))")
    phone.page.reload()  # what asked with the cursor asks no more

    until(phone, KEPT, lambda found: found == {})
