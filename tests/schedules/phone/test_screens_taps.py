"""How many taps each thing takes, and what the farm is then told."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Browser

from .phone_farm import ANA, BETO, CARO, DINO, FITO, Body, everything, job
from .phone_taps import HELD_MS, Made
from .phone_world import HOST, World

pytestmark = pytest.mark.browser


def begun(**more: Any) -> list[Body]:
    """Give the farm with Ana's one job under way."""
    others = [d for d in everything() if d["kind"] != "job"]
    return [*others, job(1, status="IN-PROCESS", **more)]


# Taps -------------------------------------------------------------------------------------------


def test_start_and_done_take_one_tap_each(made: Made) -> None:
    phone = made()
    assert phone.tap("#start").n == 1
    assert phone.last("start") == {"work_order": 1, "machine": 1}
    assert phone.tap("#done").n == 2
    assert phone.last("done") == {"work_order": 1, "machine": 1}


def test_part_takes_two_taps_and_digits(made: Made) -> None:
    phone = made().tap("#part").type_in("12").tap("#send")
    assert phone.n == 2
    assert phone.last("part") == {"work_order": 1, "machine": 1, "n_left": 12}


def test_could_not_takes_two_taps(made: Made) -> None:
    phone = made().tap("#could-not", "#why-sand")
    assert phone.n == 2
    assert phone.last("could_not") == {"work_order": 1, "reason": "No sand"}


def test_one_more_load_takes_one_tap_and_its_count_is_80_px_high(made: Made) -> None:
    phone = made(documents=begun(counts_loads=True, loads=9))
    assert phone.tap("#load").n == 1
    assert phone.last("load") == {"work_order": 1, "machine": 1}
    assert phone.text("#n-loads") == "10"
    size = "getComputedStyle(document.querySelector('#n-loads')).fontSize"
    assert phone.page.evaluate(size) == "80px"


ELSEWHERE = """async () => {
    const [{ beginPaired }, { app }] = await Promise.all(
        ['store', 'app'].map((name) => import(`/phone/files/${name}.js`)));
    await beginPaired({ token: 't2', site: 'other', worker_id: 9, crew_id: null, epoch: 'f' });
    await app.choose({ theme: 'day' }); }"""


def test_what_was_for_another_farm_is_shown_with_its_words(made: Made) -> None:
    phone = made()
    phone.world.has_signal = False
    phone.tap("#tab-tell_us").page.fill("#field-text", "gate hinge")
    phone.tap("#send").page.wait_for_selector("#undo")
    phone.page.evaluate(ELSEWHERE)
    phone.tap("#tab-sent").page.wait_for_selector("[id^=seen-]")
    words = "Not sent: this phone was paired with another farm. Tell your lead."
    assert words in phone.text()
    assert "gate hinge" in phone.text()


def test_problem_with_a_photo_takes_three_taps_and_has_the_place_of_the_job(made: Made) -> None:
    phone = made(documents=begun()).tap("#tab-tell_us")
    assert "Beds 1 north" in phone.text("#where")
    assert phone.photo("#photo-problem").tap("#send").n == 3
    told = phone.last("problem")
    assert (told["text"], told["place"], told["is_safety"]) == ("See the photo", 101, False)
    [photo] = told["attachments"]
    for _ in range(200):
        if photo in phone.world.puts:
            break
        phone.page.wait_for_timeout(25)
    assert phone.world.puts == [photo]


def test_hours_take_three_taps_and_digits(made: Made) -> None:
    phone = made().tap("#tab-machines", "#meter-1").type_in("4815.5").tap("#send")
    assert phone.n == 3
    assert phone.last("reading") == {"machine": 1, "meter_h": 4815.5}


def test_language_takes_one_tap_and_the_page_stays(made: Made) -> None:
    phone = made().tap("#tab-tell_us")
    assert phone.tap("#language").n == 2
    assert phone.last("language") == {"language": "es"}
    assert phone.page.locator("html").get_attribute("lang") == "es"
    assert "Enviar" in phone.text()


def test_job_is_given_to_another_in_three_taps_and_given_back_by_undo(made: Made) -> None:
    phone = made(DINO).tap(f"#person-{BETO}", "#give", f"#to-{CARO}")
    assert phone.n == 3
    assert phone.last("give") == {"work_order": 6, "worker": CARO, "instead_of": BETO, "version": 4}
    phone.tap("#undo").page.wait_for_selector(f"#person-{BETO}")
    assert phone.last("give") == {"work_order": 6, "worker": BETO, "instead_of": CARO}


def test_handover_is_taken_by_one_tap(made: Made) -> None:
    assert made(DINO).tap("#take-9").n == 1
    assert made(DINO).tap("#take-9").last("take_handover") == {"handover": 9}


def test_forgotten_pin_is_given_back_in_three_taps_from_where_others_stand(made: Made) -> None:
    phone = made(DINO).tap("#tab-more")
    phone.n = 0
    assert phone.tap("#more-people", f"#name-{ANA}", "#reset-pin").n == 3
    assert phone.last("reset_pin") == {"worker": ANA}


# What is told -----------------------------------------------------------------------------------


def test_two_quick_taps_of_one_finger_say_one_thing(made: Made) -> None:
    phone = made()
    phone.page.dblclick("#start", force=True)
    phone.last("start")
    assert [e["kind"] for e in phone.world.events] == ["start"]
    assert phone.page.locator("#done").count() == 1


def test_what_is_said_without_signal_is_counted_and_goes_in_order(made: Made) -> None:
    phone = made(has_signal=True)
    phone.world.has_signal = False
    phone.tap("#start", "#done")
    phone.page.wait_for_selector("#tab-sent:has-text('Saved (2)')")
    phone.tap("#tab-sent")
    for language in ("es", "en"):
        phone.tap("#language").page.wait_for_selector(f"html[lang={language}]")
        phone.page.set_viewport_size({"width": 320, "height": 740})
        assert phone.page.evaluate("document.documentElement.scrollWidth") == 320
    assert "Saved on this phone (4)" in phone.text("#sent-fact")
    assert phone.world.events == []
    phone.world.has_signal = True
    phone.tap("#send-now").page.wait_for_selector("#sent-fact:has-text('All sent')")
    told = [e["kind"] for e in phone.world.events]
    assert told == ["start", "done", "language", "language"]


def test_refused_reading_says_why_and_is_put_right(made: Made) -> None:
    phone = made(refuses={"reading": "The meter stood at 4,812.5 h."})
    phone.tap("#tab-machines", "#meter-1").type_in("4813").tap("#send")
    phone.page.wait_for_selector("#undo")
    phone.page.clock.fast_forward(HELD_MS)
    phone.page.wait_for_selector("#tab-sent:has-text('1 needs you')")
    phone.tap("#tab-sent")
    assert "Not accepted: The meter stood at 4,812.5 h." in phone.text()
    phone.tap("[id^=again-]").page.wait_for_selector("#field-meter_h")
    phone.page.wait_for_selector("#tab-sent:not(:has-text('needs you'))")


@pytest.mark.parametrize(
    ("typed", "asked", "answer", "told"),
    [
        ("4.813", "Which one", "#number-4813", {"meter_h": 4813}),
        ("12", "lower than last", "#new-meter", {"meter_h": 12, "is_new_meter": True}),
        ("4900", "24 hours a day", "#meter-right", {"meter_h": 4900}),
    ],
)
def test_odd_hours_are_asked_about_once(
    made: Made, typed: str, asked: str, answer: str, told: Body
) -> None:
    phone = made().tap("#tab-machines", "#meter-1").type_in(typed).tap("#send")
    assert asked in phone.text("[role=alert] .fact")
    assert phone.world.events == []
    assert phone.tap(answer).last("reading").items() >= {"machine": 1, **told}.items()


def test_hours_say_what_they_make_due(made: Made) -> None:
    phone = made(FITO).tap("#tab-machines", "#meter-2").type_in("9140")
    assert "Engine oil and filter, oil sample: 10 h left" in phone.text(".due")
    phone.tap("[aria-label=More]", *["[aria-label=More]"] * 9)
    assert "Due now: Engine oil" in phone.text(".due")


@pytest.mark.parametrize(
    ("bad", "can_work", "found"),
    [
        (None, None, "Run it"),
        (1, "yes", "Run it with care"),
        (1, "no", "Park it"),
        (3, "yes", "Park it"),
    ],
)
def test_verdict_of_the_look_round(
    made: Made, bad: int | None, can_work: str | None, found: str
) -> None:
    phone = made().tap("#tab-machines", "#look-round-1")
    phone.tap(*[f"#ok-{n}" for n in range(1, 6) if n != bad])
    if bad:
        phone.tap(f"#not-ok-{bad}", "#send")
        assert "1 line still needs an answer" in phone.text("#fault")
        phone.photo(f"#photo-line-{bad}").tap(f"#{can_work}-{bad}")
    phone.tap("#send")
    assert phone.text("#verdict") == found
    wanted = [{"item": n, "ok": n != bad} for n in range(1, 6)]
    is_parked = found == "Park it"
    told = phone.last("check", is_urgent=is_parked)["answers"]
    assert [{"item": a["item"], "ok": a["ok"]} for a in told] == wanted
    if bad:
        assert phone.last("photo", is_urgent=is_parked).keys() == {"attachment", "machine"}


def test_lines_stand_by_where_they_are_looked_at_in_walking_order(made: Made) -> None:
    phone = made().tap("#tab-machines", "#look-round-1")
    spots = phone.page.locator("main h2")
    assert spots.all_inner_texts() == ["Round it", "In the cab", "Moving off"]
    lines = phone.page.locator("main section:has(> h2)").first.locator("section.line")
    assert [line.split("\n")[0] for line in lines.all_inner_texts()] == [
        "Tires whole, wheel nuts tight",
        "No oil, fuel or water on the ground",
    ]


def test_lines_that_name_no_spot_stand_by_what_must_hold(made: Made) -> None:
    documents = everything()
    for one in documents:
        if one["kind"] == "check_line":
            one["body"]["spot"] = {"en": "", "es": ""}
    phone = made(documents=documents).tap("#tab-machines", "#look-round-1")
    assert phone.page.locator("main h2").all_inner_texts() == [
        "Must be right, or park it",
        "Also look at",
    ]


TONE = """() => { navigator.mediaDevices.getUserMedia = async () => {
    const all = new AudioContext(), tone = all.createOscillator();
    const out = all.createMediaStreamDestination();
    tone.connect(out); tone.start(); return out.stream; }; }"""


def test_voice_note_is_recorded_stopped_and_sent(made: Made) -> None:
    phone = made().tap("#tab-tell_us")
    phone.page.evaluate(TONE)
    phone.tap("#voice").page.wait_for_selector("#voice-stop")
    phone.tap("#voice-stop").page.wait_for_selector("#voice.taken")
    told = phone.tap("#kind-leak", "#danger", "#send").last("problem", is_urgent=True)
    assert (told["text"], told["is_safety"], len(told["attachments"])) == ("Leak", True, 1)


def test_sending_ends_the_recording_and_takes_it_along(made: Made) -> None:
    phone = made().tap("#tab-tell_us")
    phone.page.evaluate(TONE)
    phone.tap("#voice").page.wait_for_selector("#voice-stop")
    told = phone.tap("#send").last("problem")
    assert (told["text"], len(told["attachments"])) == ("Hear the voice note", 1)


def test_what_is_wrong_is_asked_for_in_words_before_it_is_sent(made: Made) -> None:
    phone = made().tap("#tab-tell_us", "#send")
    assert "Take a photo" in phone.text("#fault")
    phone.page.fill("#field-text", "gate hinge")
    phone.page.select_option("#field-machine", label="Loader 2")
    told = phone.tap("#kind-broken", "#where", "#place-23", "#send").last("problem")
    assert (told["text"], told["place"], told["machine"]) == ("Broken: gate hinge", 23, 1)


def test_leads_settle_answer_walk_and_hand_over(made: Made) -> None:
    phone = made(DINO).tap("#tab-more", "#more-look", "#settle-work-9-count")
    assert phone.last("settle") == {"work_order": 9, "answer": "count"}
    assert phone.tap("#settle-0198-a-leave").last("settle") == {
        "event": "0198-a",
        "answer": "leave",
    }
    phone.tap("#tab-more", "#more-problems", "#answer-4-today")
    assert phone.last("answer_problem") == {"problem": 4, "text": "We fix it today"}
    phone.tap("#own-defect-5").page.fill("#field-words", "New horn on Friday")
    told = phone.tap("#send-defect-5")
    assert told.last("answer_problem") == {"defect": 5, "text": "New horn on Friday"}
    phone.tap("#tab-more", "#more-walk", "#not-ok-1").page.fill("#field-words-1", "wet at 14")
    phone.photo("#photo-walk-1").tap("#save-1")
    walked = phone.last("walk")
    assert {**walked, "attachments": len(walked["attachments"])} == {
        "line": 1,
        "ok": False,
        "text": "wet at 14",
        "attachments": 1,
    }
    phone.tap("#tab-handover", "#write", "#closed-31").page.fill("#field-watch", "Pen 6\nBasin 2")
    told_over = phone.tap("#send").last("hand_over")
    assert told_over["watch"] == ["Pen 6", "Basin 2"]
    assert (told_over["crew"], told_over["safety"], told_over["closed"]) == (3, [], [31])
    assert "Loader 1: Brake pedal soft" in told_over["broken"]


def test_shop_ticks_a_service_with_its_reading_and_parks_a_machine(made: Made) -> None:
    phone = made(FITO).tap("#tab-service", "#service-1-5").type_in("4820")
    phone.tap("#more-minutes", "#part-0", "#send")
    assert phone.last("service") == {
        "machine": 1,
        "item": 5,
        "meter_h": 4820,
        "minutes": 50,
        "parts": "grease cartridges",
    }
    phone.tap("#service-2-6", "#park", "#cause-brake")
    assert phone.last("hold") == {"machine": 2, "cause": "Brakes"}


def test_places_of_the_day_are_said_with_their_locks_and_cows(made: Made) -> None:
    phone = made().tap("#tab-cows", "#pen-1-last_out")
    assert phone.last("pen_time") == {"visit": 1, "moment": "last_out"}
    phone.tap("#tab-more", "#more-locks", "#off-1")
    assert phone.last("lock_off") == {"lock": 1}
    phone.tap("#put-lock", "#send")
    assert phone.last("lock_on") == {"place": 21, "what": ""}
    phone.tap("#undo")
    assert phone.last("lock_off") == {"lock": 77}  # the number that the farm gave


def test_moisture_and_where_sand_went_are_told(made: Made) -> None:
    where = {"goes_to": "bay", "batch": 7, "counts_loads": True}
    phone = made(documents=begun(**where)).tap("#job-1", "#moisture").type_in("5.2")
    told = phone.tap("#basis-db", "#send").last("moisture_test")
    assert told == {"batch": 7, "moisture_frac": 0.052, "basis": "db", "n_spots": 3}
    assert phone.tap("#done", "#to-42").last("done", books_sand=True) == {
        "work_order": 1,
        "machine": 1,
        "to_place": 42,
    }


# Levels of basins -------------------------------------------------------------------------------


def test_level_is_told_in_the_farms_unit_with_the_last_one_shown(made: Made) -> None:
    phone = made().tap("#tab-tell_us", "#levels")
    assert "Last: 6 ft" in phone.text("#level-61")
    assert "You can drown." in phone.text(".safety.warning")
    phone.tap("#level-61").type_in("7.5")
    assert "Act at 8 ft." in phone.text(".due")
    told = phone.tap("#send").last("level")
    assert told == {"basin": 61, "level_m": 2.286}  # the international foot, 0.3048 m
    assert "Last: 7.5 ft" in phone.text("#level-61")


def test_level_that_is_far_is_asked_about_once_and_one_above_the_rim_not_taken(
    made: Made,
) -> None:
    phone = made().tap("#tab-tell_us", "#levels", "#level-61").type_in("12").tap("#send")
    assert "The rim is at 10 ft." in phone.text("#fault")
    phone.page.fill("#field-level", "9")
    assert "At the line of 8 ft: tell your lead." in phone.text(".due.now")
    phone.tap("#send")
    assert "9 ft: Are you sure?" in phone.text("[role=alert] .fact")
    told = phone.tap("#number-right").last("level")
    assert told == {"basin": 61, "level_m": 2.743}
    assert [e["kind"] for e in phone.world.events] == ["level"]


# A phone of several people ----------------------------------------------------------------------


def test_shared_phone_asks_who_without_signal_and_forgets_after_a_quarter_of_an_hour(
    made: Made,
) -> None:
    phone = made(None)
    phone.world.has_signal = False
    phone.tap(f"#name-{ANA}")
    assert "Choose 4 digits" in phone.text("#pin-asks")
    for digit in "12341234":
        phone.page.click(f"#key-{digit}")
    phone.page.wait_for_selector("#start")
    phone.tap("#start").page.clock.fast_forward("15:01")
    phone.page.wait_for_selector(f"#name-{ANA}")
    phone.tap(f"#name-{ANA}")
    for digit in "9999":
        phone.page.click(f"#key-{digit}")
    phone.page.wait_for_selector("#fault:has-text('not right')")
    for digit in "1234":
        phone.page.click(f"#key-{digit}")
    phone.page.wait_for_selector("#done")
    phone.world.has_signal = True
    phone.tap("#tab-sent", "#send-now")
    phone.last("start")
    assert {e["worker"] for e in phone.world.events} == {ANA}


# What stands on the screen ------------------------------------------------------------------------


def test_crew_stands_with_what_is_stuck_first_and_who_has_nothing_soon(made: Made) -> None:
    documents = everything()
    documents.append(job(30, 600, worker=FITO))
    phone = made(DINO, documents)
    phone.page.wait_for_selector(f"#person-{BETO}")  # a lead's screens are loaded when looked at
    names = phone.page.locator("button.card > strong, main > .stack > .card > strong")
    assert [n.split()[0] for n in names.all_inner_texts() if n != "Handover"] == [
        "Beto",
        "Carolina",
        "Fito",
        "Ana",
        "Elsa",
    ]
    assert "Stuck" in phone.text(f"#person-{BETO}")
    assert "Late" in phone.text(f"#person-{CARO}")
    assert "No job now" in phone.text(f"#person-{FITO}")


def test_code_that_is_wrong_is_answered_in_words_and_nothing_waits_on_it(browser: Browser) -> None:
    page = browser.new_context(locale="en-US").new_page()
    world = World()
    world.serve(page.context)
    page.goto(f"{HOST}/phone/")
    world.has_signal = False
    page.fill("#code", "ABCD")
    page.click("#pair")
    page.wait_for_selector("#fault:has-text('No answer')")
    assert page.input_value("#code") == "ABCD"
    world.has_signal = True
    page.click("#pair")
    page.wait_for_selector("nav button")
    page.context.close()


def test_old_news_stands_out(made: Made) -> None:
    phone = made()
    assert phone.text(".age") == "As of 9:00 am"
    phone.world.has_signal = False
    phone.page.clock.fast_forward("11:00")
    phone.page.wait_for_selector(".age.needs:has-text('Last heard 9:00 am')")


def test_what_is_typed_outlives_a_drawing_that_nobody_asked_for(made: Made) -> None:
    phone = made().tap("#tab-tell_us", "#kind-leak")
    phone.page.fill("#field-text", "hose")
    phone.page.evaluate("window.typing = document.activeElement")
    phone.page.clock.fast_forward(60_000)
    assert phone.page.evaluate("document.activeElement === window.typing")  # or its keys go
    assert phone.page.input_value("#field-text") == "hose"
    phone.page.evaluate("document.activeElement.blur()")
    phone.page.clock.fast_forward(60_000)
    assert phone.page.input_value("#field-text") == "hose"
    assert phone.page.get_attribute("#kind-leak", "aria-pressed") == "true"


@pytest.mark.parametrize(("language", "voice"), [("en", "en-US"), ("es", "es-MX")])
def test_job_is_read_aloud_in_the_persons_language(made: Made, language: str, voice: str) -> None:
    documents = everything()
    for one in documents:
        if one["kind"] == "worker":
            one["body"]["language"] = language
    phone = made(documents=documents).tap("#job-1")
    phone.page.evaluate("speechSynthesis.speak = (saying) => { window.saying = saying; }")
    phone.tap("#read-aloud")
    said = phone.page.evaluate("[saying.lang, saying.text]")
    assert said[0] == voice
    assert documents[8]["body"]["how"][language] in said[1]


def test_page_without_a_secure_address_says_so_in_both_languages(browser: Browser) -> None:
    page = browser.new_page()
    world = World()
    page.route("http://farm.test/**", world.answer)
    page.goto("http://farm.test/phone/")
    assert "This page needs a secure address" in page.locator("[role=alert] [lang=en]").inner_text()
    assert "Esta página necesita" in page.locator("[role=alert] [lang=es]").inner_text()
    page.close()


def test_back_of_the_phone_itself_goes_one_screen_back(made: Made) -> None:
    phone = made().tap("#job-1", "#part")
    phone.page.go_back()
    phone.page.wait_for_selector("#read-aloud, #part")
    assert HOST in phone.page.url
    phone.page.go_back()
    phone.page.wait_for_selector("#job-2")
