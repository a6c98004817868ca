"""Every screen of the phone and the taps that lead to it: `#id` is tapped, `#id=words` filled."""

from playwright.sync_api import Page

from .phone_farm import ANA, DINO, FITO

SETTLE_MS = 400  # as long as a new screen takes no taps, and a little more
MORE = "#tab-more"
LEVEL = ("#tab-tell_us", "#levels", "#level-61")
LOOKED = ("#yes-1", "#ok-2", "#ok-3", "#ok-4", "#ok-5", "#send")

# Whose phone (None: the crew's), and from which screen on.
WALKS: dict[int | None, dict[str, tuple[str, ...]]] = {
    ANA: {
        "my jobs": ("#tab-jobs",),
        "job": ("#tab-jobs", "#job-1"),
        "could not": ("#tab-jobs", "#could-not"),
        "could not, no words": ("#tab-jobs", "#could-not", "#send"),
        "part": ("#tab-jobs", "#part"),
        "part, no number": ("#tab-jobs", "#part", "#send"),
        "job with a lock": ("#tab-jobs", "#job-2"),
        "lock first": ("#tab-jobs", "#job-2", "#start"),
        "tell us": ("#tab-tell_us",),
        "tell us, where": ("#tab-tell_us", "#where"),
        "levels": ("#tab-tell_us", "#levels"),
        "level": LEVEL,
        "level, too deep": (*LEVEL, "#field-level=12", "#send"),
        "level, far": (*LEVEL, "#field-level=1", "#send"),
        "cows": ("#tab-cows",),
        "machines": ("#tab-machines",),
        "hours": ("#tab-machines", "#meter-1"),
        "hours, which": ("#tab-machines", "#meter-1", "#field-meter_h=4.813", "#send"),
        "hours, odd": ("#tab-machines", "#meter-1", "#field-meter_h=12", "#send"),
        "before I start": ("#tab-machines", "#look-round-1", "#not-ok-1"),
        "no list": ("#tab-machines", "#look-round-3"),
        "verdict": ("#tab-machines", "#look-round-1", "#not-ok-1", *LOOKED),
        "parked": ("#tab-machines", "#look-round-1", "#not-ok-1", "#no-1", *LOOKED[1:]),
        "more": (MORE,),
        "me": (MORE, "#more-me"),
        "my PIN": (MORE, "#more-me", "#set-pin"),
        "locks": (MORE, "#more-locks"),
        "lock on": (MORE, "#more-locks", "#put-lock"),
        "sent": ("#tab-sent",),
        "loads": ("#tab-jobs", "#job-3", "#start", "#load"),
        "moisture": ("#tab-jobs", "#job-3", "#moisture"),
        "where it went": ("#tab-jobs", "#job-3", "#done"),
    },
    DINO: {
        "my crew now": ("#tab-crew",),
        "no jobs": ("#tab-jobs",),
        "job of somebody": ("#tab-crew", "#person-12"),
        "give": ("#tab-crew", "#person-12", "#give"),
        "handover": ("#tab-handover",),
        "write a handover": ("#tab-handover", "#write"),
        "more of a lead": (MORE,),
        "walk-round": (MORE, "#more-walk", "#not-ok-1"),
        "walk-round done": (MORE, "#more-walk", *(f"#ok-{n}" for n in (1, 2))),
        "needs a look": (MORE, "#more-look"),
        "problems": (MORE, "#more-problems"),
        "problems, own words": (MORE, "#more-problems", "#own-4"),
        "people": (MORE, "#more-people"),
        "person": (MORE, "#more-people", "#name-12"),
    },
    FITO: {
        "service": ("#tab-service",),
        "service sheet": ("#tab-service", "#service-1-5"),
        "park it": ("#tab-service", "#service-1-5", "#park"),
    },
    None: {
        "names": (),
        "PIN": ("#name-11",),
    },
}


def walk(page: Page, steps: tuple[str, ...]) -> None:
    """Tap and fill, one after the other; ends when the screen takes taps again."""
    for step in steps:
        at, _, words = step.partition("=")
        if words:
            page.fill(at, words)
        else:
            page.click(at)
            page.clock.fast_forward(SETTLE_MS)
    page.wait_for_function("!document.querySelector('[data-settling]')")
