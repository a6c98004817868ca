"""A shift of twelve hours without signal: three phones in real browsers, two of them killed.

Promised (R12 to R14, R18, R20): nothing that a phone called saved is lost or doubled, one clock may
be wrong, and all is in within a minute of signal, without help of the browser's background sync.
"""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import time_machine
from playwright.sync_api import BrowserContext, BrowserType, Error, Page

from crews.devices.services import make_pairing_code
from crews.people.models import Worker
from equipment.attachments.models import Attached, Attachment
from equipment.site.models import Event
from schedules.work.models import Status, WorkOrder
from tests.factories import utc
from tests.farm import Farm

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

NOW = utc("2026-03-04 13:00")
SHIFT = timedelta(hours=12)
N_LOADS, N_PHOTOS = 54, 14  # a phone; times three: 204 words with those of photos, 42 photos
ALL_IN_S = 60.0

BEGIN = "const { app } = await import('/phone/files/app.js'); await app.begin();"
# A photo of coarse noise, as large as a phone's camera makes them small.
PHOTO = """const shot = new OffscreenCanvas(640, 480), ink = shot.getContext('2d');
for (let i = 0; i < 300; i += 1) {
    ink.fillStyle = `hsl(${(i * given.salt) % 360} 60% 50%)`;
    ink.fillRect((i * 97) % 640, (i * 53) % 480, 60, 40);
}
const blob = await shot.convertToBlob({ type: 'image/jpeg' });"""
SAY_ALL = """window.saved = [];
for (let n = 0; n < given.n_loads; n += 1) {
    const { event } = await app.say('load', { work_order: given.order, machine: null });
    window.saved.push(event.id);
}"""
SEND_PHOTOS = f"""{PHOTO}
for (let n = 0; n < given.n_photos; n += 1) {{
    const id = await app.attach(blob, 'photo');
    const {{ event }} = await app.say('photo', {{ attachment: id, work_order: given.order }});
    window.saved.push(event.id);
}}"""
KEPT = "return app.view.events.map((event) => event.id)"
WHEN_SAID = """(n) => new Promise((done) => {
    const look = () => (window.saved?.length >= n ? done(window.saved) : setTimeout(look, 5));
    look(); })"""
# What a browser does once its share of the phone is used up (Indexed Database API, section 5.5).
FULL = """() => { IDBObjectStore.prototype.put = IDBObjectStore.prototype.add = () => {
    throw new DOMException('full', 'QuotaExceededError'); }; }"""
IS_SENT = """await new Promise((sent) => {
    const look = () => app.view.nWaiting === 0 && app.facts().n_files === 0 && sent();
    app.on(look); look(); })"""


@dataclass
class Phone:
    """One phone: a browser with its own folder, so that it can be killed and started again."""

    folder: Path
    start: Callable[[Path], BrowserContext]
    clock: datetime
    order: WorkOrder
    saved: set[str] = field(default_factory=set)
    context: BrowserContext = field(init=False)
    page: Page = field(init=False)

    def __post_init__(self) -> None:
        self.open()

    def open(self) -> None:
        """Start the browser and open the page, with signal or without."""
        self.context = self.start(self.folder)
        self.context.add_init_script("delete globalThis.SyncManager;")
        self.context.clock.install(time=self.clock)
        self.page = self.context.pages[0]

    def show(self) -> None:
        self.page.goto("/phone/")

    def do(self, script: str, **given: Any) -> Any:
        """Do something with the page's own program."""
        return self.page.evaluate(f"async (given) => {{ {BEGIN} {script} }}", given)

    def pair(self, farm: Farm, worker: Worker) -> None:
        code = make_pairing_code(
            site_id=farm.site.pk, worker_id=worker.pk, by=farm.manager.actor, at=NOW
        )
        paired = self.do("return app.pair(given.code, 'en')", code=code)
        assert paired == {"ok": True, "detail": ""}
        self.page.evaluate(
            "() => navigator.serviceWorker.controller ?? new Promise((had) => {"
            " navigator.serviceWorker.oncontrollerchange = had; }).then(() => 0)"
        )

    def work(self) -> None:
        """Say all loads, then take all photos."""
        facts = {"order": self.order.pk, "n_loads": N_LOADS, "n_photos": N_PHOTOS, "salt": 7}
        self.do(f"{SAY_ALL} {SEND_PHOTOS}", **facts)
        self.saved |= set(self.page.evaluate("window.saved"))

    def kill_at_work(self, after: int) -> None:
        """End the browser by force while it says one load after another, and open it again."""
        facts = {"order": self.order.pk, "n_loads": 10_000}
        self.page.evaluate(f"(given) => {{ (async () => {{ {BEGIN} {SAY_ALL} }})(); }}", facts)
        said = set(self.page.evaluate(WHEN_SAID, after))
        kill(self.folder)
        with pytest.raises(Error):  # it is really gone
            self.page.evaluate("1")
        self.saved |= said
        self.open()
        self.context.set_offline(True)
        self.show()

    def kept(self) -> set[str]:
        return set(self.do(KEPT))


def kill(folder: Path) -> None:
    """End every process of the browser that has this folder."""
    for entry in Path("/proc").iterdir():
        if not entry.name.isdigit():
            continue
        try:
            command = (entry / "cmdline").read_bytes()
        except (FileNotFoundError, ProcessLookupError):
            continue
        if str(folder).encode() in command:
            os.kill(int(entry.name), signal.SIGKILL)


@pytest.fixture
def clock() -> Iterator[time_machine.Traveller]:
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


@pytest.fixture
def farm(db: None, clock: time_machine.Traveller) -> Farm:
    return Farm("ours", NOW)


@pytest.fixture
def make_phone(
    farm: Farm,
    live_server: Any,
    tmp_path: Path,
    browser_type: BrowserType,
    browser_type_launch_args: dict[str, Any],
) -> Iterator[Callable[..., Phone]]:
    """Start a phone and pair it; its clock may be ahead."""
    made: list[Phone] = []
    orders = list(WorkOrder.objects.filter(site=farm.site, status=Status.NEEDS_ACTION))

    def start(folder: Path) -> BrowserContext:
        return browser_type.launch_persistent_context(
            folder, base_url=str(live_server), **browser_type_launch_args
        )

    def make(worker: Worker, ahead: timedelta = timedelta(0)) -> Phone:
        folder = tmp_path / f"phone-{len(made)}"
        made.append(Phone(folder, start, NOW + ahead, orders[len(made)]))
        made[-1].show()
        made[-1].pair(farm, worker)
        return made[-1]

    yield make
    for phone in made:
        phone.context.close()


def test_twelve_hours_without_signal_lose_and_double_nothing(
    make_phone: Callable[..., Phone], farm: Farm, clock: time_machine.Traveller
) -> None:
    ahead = timedelta(minutes=7)
    phones = [make_phone(farm.worker), make_phone(farm.worker), make_phone(farm.manager, ahead)]
    n_before = {phone.order.pk: phone.order.loads for phone in phones}
    for phone in phones:
        phone.context.set_offline(True)
        phone.page.reload()
    phones[0].kill_at_work(after=20)
    phones[2].kill_at_work(after=5)
    for phone in phones:
        phone.work()
        phone.context.clock.fast_forward(int(SHIFT.total_seconds() * 1000))
        assert phone.saved <= phone.kept(), "what was called saved is kept"
    clock.move_to(NOW + SHIFT)
    assert not Event.objects.filter(site=farm.site, device_key__isnull=False).exists()

    begun = time.monotonic()
    for phone in phones:
        phone.context.set_offline(False)
    for phone in phones:
        phone.do(IS_SENT)
    took_s = time.monotonic() - begun

    said = set.union(*(phone.kept() for phone in phones))
    heard = Event.objects.filter(site=farm.site, device_key__isnull=False)
    assert len(said) > 200
    assert {str(event.pk) for event in heard} == said
    assert {event.state for event in heard} == {"applied"}
    for phone in phones:
        n_said = heard.filter(kind="load", payload__work_order=phone.order.pk).count()
        phone.order.refresh_from_db()
        assert phone.order.loads == n_before[phone.order.pk] + n_said
    assert all(event.happened_at <= event.received_at for event in heard)
    photos = Attachment.objects.filter(site=farm.site, device_key__isnull=False)
    assert photos.count() == 3 * N_PHOTOS
    assert Attached.objects.filter(attachment_id__in=photos.values("pk")).count() == 3 * N_PHOTOS
    assert took_s < ALL_IN_S


def test_full_phone_says_so_and_goes_on_once_there_is_room(
    make_phone: Callable[..., Phone], farm: Farm
) -> None:
    phone = make_phone(farm.worker)
    phone.context.set_offline(True)
    facts = {"order": phone.order.pk, "n_loads": 1, "n_photos": 1, "salt": 7}
    photo = f"{PHOTO} const id = await app.attach(blob, 'photo');"
    refused = f"try {{ {photo} return id; }} catch (fault) {{ return fault.name; }}"

    phone.page.evaluate(FULL)
    assert phone.do(refused, **facts) == "QuotaExceededError"
    kept = phone.kept()
    phone.do("try { await app.say('load', { work_order: given.order }); } catch {}", **facts)
    shown = phone.do("return [app.view.nWaiting, app.facts().n_files]")
    phone.page.reload()
    assert phone.do("return [app.view.nWaiting, app.facts().n_files]") == shown, "shown is kept"

    phone.do(f"{SAY_ALL} {SEND_PHOTOS}", **facts)
    phone.context.set_offline(False)
    phone.do(IS_SENT)
    heard = Event.objects.filter(site=farm.site, device_key__isnull=False)
    assert {str(event.pk) for event in heard} == phone.kept() >= kept
    assert {event.state for event in heard} == {"applied"}


def test_phone_that_may_keep_nothing_says_so(make_phone: Callable[..., Phone], farm: Farm) -> None:
    """As a browser does in a private window, or where its person refuses storage."""
    page = make_phone(farm.worker).page
    page.add_init_script(
        "IDBFactory.prototype.open = () => { throw new DOMException('no', 'SecurityError'); };"
    )
    page.reload()

    page.wait_for_selector("[role=alert]")
    assert "keep" in page.locator("[role=alert]").inner_text()
