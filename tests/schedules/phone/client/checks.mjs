// Checks of the program's modules by themselves. Prints what went wrong with each, as JSON.

import assert from "node:assert/strict";
import { createRequire } from "node:module";
import { answered, cutInAnUndo, cutInAWord, everyCut, Lonely, nudged, page, paired, PULLED, rePaired, saidWhile, serviceWorker, subscription, taken, takenBackInFlight, withNote } from "./phones.mjs";

const { IDBDatabase } = createRequire(`${process.env.NODE_TOOLS}/`)("fake-indexeddb");

const CHECKS = {
  async phone_cut_off_anywhere_in_a_pull_has_the_documents_with_their_cursor_or_neither() {
    assert.deepEqual(await everyCut({}), ["c2 1", "null 0"]);
  },

  async cursor_that_is_kept_apart_from_its_documents_is_found_out() {
    const apart = [["await takePulled(pulled, facts, epoch, unsure !== null);", "await setFacts({ cursor: pulled.cursor }); await takePulled(pulled, facts, epoch, unsure !== null);"]];
    assert.deepEqual(await everyCut({ "pull.js": apart }), ["c2 0", "c2 1", "null 0"]);
  },

  async one_failed_call_of_the_storage_loses_nothing() {
    const { n } = await saidWhile(() => false);
    assert.ok(n > 10);
    for (let which = 1; which <= n; which += 1) {
      const { failed, shown, kept } = await saidWhile((call) => call === which);
      assert.equal(failed, null, `call ${which}`);
      assert.equal(kept.length, 1, `call ${which}`);
      assert.deepEqual(shown, kept, `call ${which}`);
    }
  },

  async storage_that_fails_for_good_shows_nothing_that_is_not_kept() {
    const { n } = await saidWhile(() => false);
    for (let from = 1; from <= n; from += 1) {
      const { failed, shown, kept } = await saidWhile((call) => call >= from);
      assert.ok(failed || kept.length === 1, `from call ${from}`);
      assert.ok(shown.every((id) => kept.includes(id)), `from call ${from}`);
    }
  },

  async what_is_said_is_written_through_to_the_disk() {
    const phone = new Lonely();
    const app = await phone.app();
    const { transaction } = IDBDatabase.prototype;
    const found = [];
    IDBDatabase.prototype.transaction = function (stores, mode, how) {
      if (mode === "readwrite") found.push([[...stores].includes("events"), how?.durability]);
      return transaction.call(this, stores, mode, how);
    };
    await phone.do(() => app.say("problem", { text: "bent" }));
    IDBDatabase.prototype.transaction = transaction;
    assert.ok(found.length > 0);
    assert.deepEqual([...new Set(found.map(String))], ["true,strict"]);
  },

  async what_waited_in_storage_of_before_goes_on_waiting() {
    const phone = new Lonely();
    await phone.load("net.js");
    await phone.do(() => new Promise((resolve, reject) => {
      const asking = phone.disk.factory.open("penround", 1);
      asking.onupgradeneeded = () => {
        asking.result.createObjectStore("facts");
        asking.result.createObjectStore("outbox", { keyPath: "seq" });
      };
      asking.onsuccess = () => {
        const tx = asking.result.transaction(["facts", "outbox"], "readwrite");
        const event = (seq, state) => ({ seq, id: `e${seq}`, kind: "problem", payload: { text: "bent" }, client_at: "2026-03-04T16:00:00.000Z", schema_version: 1, state });
        for (const kept of [event(1, "applied"), event(2, "refused"), event(3, "waiting"), event(4, "waiting")]) tx.objectStore("outbox").put(kept);
        for (const [key, value] of Object.entries({ token: "t", site: "ours", last_seq: 4 })) tx.objectStore("facts").put(value, key);
        tx.oncomplete = () => { asking.result.close(); resolve(); };
        tx.onabort = reject;
      };
    }));
    const app = await phone.restart();
    assert.deepEqual(app.view.events.map((e) => [e.seq, e.id, e.state]), [[4, "e4", "waiting"], [3, "e3", "waiting"], [2, "e2", "refused"], [1, "e1", "applied"]]);
    assert.equal(app.facts().is_paired, true);
    const { event } = await phone.do(() => app.say("problem", { text: "torn" }));
    assert.equal(event.seq, 5);
  },

  async what_can_be_taken_back_waits_eleven_seconds_and_what_was_said_after_it_waits_too() {
    const { phone, app, bodies } = await paired();
    const { event } = await phone.do(() => app.say("problem", { text: "bent" }, { isHeld: true }));
    await phone.do(() => app.say("language", { language: "en" }));
    assert.deepEqual([app.view.problems.length, app.view.nWaiting], [1, 2]);
    await phone.pass(10_000);
    assert.deepEqual(bodies(), []);
    await phone.pass(1_500);
    assert.deepEqual(bodies(), [["problem", 1], ["language", 2]]);
    assert.equal(await phone.do(() => app.unsay([event.id])), false);
    assert.deepEqual(app.view.events.map((e) => e.state), ["applied", "applied"]);
  },

  async what_is_taken_back_is_gone_and_the_numbers_have_no_gap() {
    const { phone, app, bodies } = await paired();
    const said = [];
    for (const kind of ["check", "photo"]) said.push((await phone.do(() => app.say(kind, { machine: 1, answers: [] }, { isHeld: true }))).event.id);
    await phone.do(() => app.say("language", { language: "en" }));
    assert.equal(await phone.do(() => app.unsay(said)), true);
    assert.deepEqual(app.view.events.map((e) => [e.kind, e.seq]), [["language", 1]]);
    await phone.do(() => app.sendNow());
    await phone.do(() => app.say("problem", { text: "bent" }, { isHeld: true }));
    await phone.pass(60_000);
    assert.deepEqual(bodies(), [["language", 1], ["problem", 2]]);
    assert.equal(await phone.do(() => app.unsay(said)), false);
  },

  async what_is_held_outlives_the_page_and_goes_out_later() {
    const { phone, app, bodies } = await paired();
    await phone.do(() => app.say("problem", { text: "bent" }, { isHeld: true }));
    const again = await phone.restart();
    assert.deepEqual([again.view.nWaiting, bodies().length], [1, 0]);
    await phone.pass(40_000);
    assert.deepEqual(bodies(), [["problem", 1]]);
  },

  async person_who_sends_now_waits_for_no_undo() {
    const { phone, app, bodies } = await paired();
    await phone.do(() => app.say("problem", { text: "bent" }, { isHeld: true }));
    await phone.do(() => app.sendNow());
    assert.deepEqual(bodies(), [["problem", 1]]);
  },

  async clock_that_is_set_back_holds_nothing() {
    const { phone, app, bodies } = await paired();
    await phone.do(() => app.say("problem", { text: "bent" }, { isHeld: true }));
    phone.run.off_ms -= 3_600_000;
    await phone.pass(20_500);
    assert.deepEqual(bodies(), [["problem", 1]]);
  },

  async clock_that_runs_a_moment_late_holds_nothing_longer() {
    const { phone, app, bodies } = await paired();
    await phone.do(() => app.say("problem", { text: "bent" }, { isHeld: true }));
    phone.run.off_ms -= 1;
    await phone.pass(11_500);
    assert.deepEqual(bodies(), [["problem", 1]]);
  },

  async what_keeps_people_safe_is_sent_at_once_and_all_before_it() {
    const parks = { machine: 1, answers: [{ item: 5, ok: false, can_work: false }] };
    const urgent = [["problem", { text: "bent", is_safety: true }], ["hold", { machine: 1, cause: "Brakes" }], ["check", parks], ["lock_on", { place: 1, what: "" }], ["lock_off", { lock: 1 }]];
    for (const [kind, payload] of urgent) {
      const { phone, app, bodies } = await paired();
      const { event, held } = await phone.do(() => app.say("reading", { machine: 1, meter_h: 5 }, { isHeld: true }));
      assert.deepEqual([...held], [event.id]);
      const told = await phone.do(() => app.say(kind, payload, { isHeld: true, more: [["photo", { attachment: "a" }]] }));
      assert.deepEqual([[...told.held], bodies()], [[], [["reading", 1], [kind, 2], ["photo", 3]]]);
      assert.equal(await phone.do(() => app.unsay([event.id])), false);
    }
  },

  async check_is_urgent_where_its_verdict_parks_the_machine() {
    const { isUrgent } = await new Lonely().load("view.js");
    const lines = [{ id: 5, is_safety: true }, { id: 6, is_safety: false }];
    const found = (item, ok, can_work) => isUrgent("check", { answers: [{ item, ok, can_work }] }, lines);
    assert.deepEqual([found(5, false, true), found(6, false, true), found(6, false, false), found(5, true)], [true, false, true, false]);
    assert.deepEqual(["start", "walk", "reading"].map((kind) => isUrgent(kind, {}, lines)), [false, false, false]);
    assert.equal(isUrgent("problem", { is_safety: false }, lines), false);
  },

  async what_keeps_people_safe_waits_for_no_undo_where_the_signal_comes_back() {
    let hears = false;
    const { phone, app, bodies } = await paired({}, (events) => (hears ? taken(events) : null));
    await phone.do(() => app.say("reading", { machine: 1, meter_h: 5 }, { isHeld: true }));
    await phone.do(() => app.say("hold", { machine: 1, cause: "Brakes" }));
    hears = true;
    phone.asked.length = 0;
    await phone.world.run(phone.run, () => { phone.run.tell("online"); });
    assert.deepEqual(bodies(), [["reading", 1], ["hold", 2]]);
  },

  async pocketed_phone_sends_all_that_is_held_with_what_outlives_the_page() {
    const { phone, app, bodies } = await paired();
    const posts = () => phone.asked.filter((a) => a.path.endsWith("/events/")).map((a) => a.keepalive);
    await phone.do(() => app.say("language", { language: "en" }));
    assert.deepEqual(posts(), [false]);
    await phone.do(() => app.say("problem", { text: "bent" }, { isHeld: true }));
    await phone.do(() => app.say("photo", { attachment: "a" }));
    assert.equal(posts().length, 1);
    await phone.pocket();
    assert.deepEqual(bodies(), [["language", 1], ["problem", 2], ["photo", 3]]);
    assert.deepEqual(posts(), [false, true]);
    await phone.pocket(false);
    await phone.do(() => app.say("problem", { text: "é".repeat(40_000) }, { isHeld: true }));
    await phone.pocket();
    assert.deepEqual(posts(), [false, true, false]);
  },

  async what_is_kept_counts_as_saved_though_nothing_can_be_drawn() {
    const { phone, app } = await paired();
    const { transaction } = IDBDatabase.prototype;
    IDBDatabase.prototype.transaction = function (stores, ...how) {
      if (stores.length === 4) throw new DOMException("No more memory.", "UnknownError");
      return transaction.call(this, stores, ...how);
    };
    const { event, held } = await phone.do(() => app.say("problem", { text: "bent" }, { isHeld: true }));
    const isDone = await phone.do(() => app.unsay(held));
    await phone.do(() => app.say("problem", { text: "torn" }));
    IDBDatabase.prototype.transaction = transaction;
    assert.deepEqual([[...held], isDone], [[event.id], true]);
    assert.deepEqual([...(await phone.restart()).view.problems.map((p) => p.text)], ["torn"]);
  },

  async phone_cut_off_anywhere_in_a_word_has_all_that_belongs_to_it_or_nothing() {
    const found = new Set();
    for (let steps = 0; ; steps += 1) {
      const { wasCut, events } = await cutInAWord(steps);
      found.add(events);
      if (!wasCut) break;
    }
    assert.deepEqual([...found].sort(), [" of 0", "check 1, photo 2 of 2"]);
  },

  async words_of_one_person_go_out_as_theirs_from_a_phone_that_is_anothers_by_now() {
    const { phone, app, does, pair, posts } = await rePaired();
    await phone.do(() => app.say("reading", { machine: 1, meter_h: 5 }, { isHeld: true }));
    await phone.do(() => app.say("problem", { text: "bent" }));
    phone.asked.length = 0;
    does.hear = true;
    await pair("ours", 2);
    await phone.do(() => app.say("problem", { text: "torn" }));
    assert.deepEqual(posts(), [["ours", "reading", 1, 1], ["ours", "problem", 2, 1], ["ours", "problem", 3, undefined]]);
  },

  async words_and_photos_of_one_farm_never_go_to_another() {
    const { phone, app, does, pair, posts } = await rePaired();
    const voice = () => new Blob(["sound"], { type: "audio/webm" });
    does.hear = true;
    const sent = await phone.do(() => app.attach(voice(), "voice"));
    await phone.do(() => app.sendNow());
    assert.equal(app.files()[0].state, "sent");
    does.hear = false;
    const waits = await phone.do(() => app.attach(voice(), "voice"));
    await phone.do(() => app.say("problem", { text: "bent" }, { isHeld: true }));
    phone.asked.length = 0;
    does.hear = true;
    does.epoch = "f";
    await pair("theirs", 7);
    await phone.do(() => app.say("problem", { text: "torn" }));
    does.epoch = "g";  // the other farm comes back from a backup: what it heard goes out again
    await phone.do(() => app.say("problem", { text: "worn" }));
    await phone.do(() => app.sendNow());
    assert.deepEqual([...new Set(posts().map(String))], ["theirs,problem,1,", "theirs,problem,2,"]);
    assert.deepEqual(phone.asked.filter((a) => a.method === "PUT"), []);
    assert.deepEqual(app.view.refused.map((e) => [e.payload.text, e.answer.code, e.worker]), [["bent", "other_farm", 1]]);
    assert.deepEqual(app.files().map((f) => [f.id, f.state, f.code]), [[waits, "refused", "other_farm"]]);
    assert.deepEqual([await phone.do(() => app.openFile(sent)), (await phone.do(() => app.openFile(waits))).size], [null, 5]);
    await pair("ours", 1);
    assert.deepEqual(app.view.refused.map((e) => e.payload.text), ["bent"]);
    await phone.do(() => app.forget(app.view.refused[0].id));
    await pair("theirs", 7);
    assert.deepEqual(app.view.refused, []);
  },

  async load_that_came_in_over_the_pairing_before_is_counted_once() {
    const { phone, app, store, does, pair } = await rePaired();
    const { event } = await phone.do(() => app.say("load", { work_order: 4 }));
    assert.equal(event.seq, 1);
    const body = { worker_ids: [1], locked_for: [], planned_start: "", loads: 1 };
    const asked = [];
    does.pulled = (unsure) => {
      asked.push(unsure);
      return { ...PULLED, documents: [{ scope: "site", kind: "job", key: "4", body }], held: unsure?.split(",") ?? [] };
    };
    await pair("ours", 1);
    const { pull } = await phone.run.load("pull.js");
    await phone.do(() => pull());
    assert.deepEqual([app.view.jobs[0].loads, app.view.nWaiting], [1, 1]);
    await phone.do(() => pull());
    assert.deepEqual([app.view.jobs[0].loads, app.view.nWaiting], [1, 1]);
    assert.deepEqual(asked.filter(Boolean), [event.id]);
    assert.equal((await phone.do(() => store.getFacts(["is_unsure"])))[0], false);
  },

  async what_has_begun_to_be_sent_stays() {
    assert.deepEqual(await takenBackInFlight({}), { isDone: false, n: 1 });
  },

  async sending_that_does_not_say_that_it_begins_is_found_out() {
    const silent = [["if (not_before && begun.has(event.id))", "if (not_before && begun.has(0))"]];
    assert.deepEqual(await takenBackInFlight({ "store.js": silent }), { isDone: true, n: 0 });
  },

  async phone_cut_off_anywhere_in_an_undo_has_all_or_nothing_of_it() {
    const found = new Set();
    for (let steps = 0; ; steps += 1) {
      const { wasCut, events } = await cutInAnUndo(steps);
      found.add(events);
      if (!wasCut) break;
    }
    assert.deepEqual([...found].sort(), ["check 1, photo 2, language 3 of 3", "language 1 of 1"]);
  },

  async ending_that_is_taken_back_leaves_the_work_as_begun_as_the_farm_has_it() {
    const phone = new Lonely();
    const { viewOf } = await phone.load("view.js");
    const who = { worker: 1, is_shared: false, epoch: "e", version: 5, taken: 3, at: 0 };
    const said = (seq, kind, more = {}) => ({ seq, n: seq, id: `${seq}`, kind, payload: { work_order: 7, ...more }, client_at: "", schema_version: 1, state: "waiting" });
    const shown = (body, ...events) => {
      const whole = { title: {}, worker_ids: [1], locked_for: [], planned_start: "", loads: 0, outcome: "", n_left: null, ...body };
      const [job] = viewOf([{ scope: "crew-1", kind: "job", key: "7", body: whole }], events, who).jobs;
      return job.status;
    };
    const begun = { status: "IN-PROCESS", is_begun: true };  // its beginning was sent long ago and is not kept here
    for (const ending of ["part", "could_not", "done"]) {
      assert.equal(shown(begun, said(4, ending), said(5, "undo")), "IN-PROCESS", ending);
      assert.equal(shown({ ...begun, status: "COMPLETED", outcome: ending }, said(4, "undo")), "IN-PROCESS", ending);
    }
    const open = { status: "NEEDS-ACTION", is_begun: false };
    assert.equal(shown(open, said(4, "could_not"), said(5, "undo")), "NEEDS-ACTION");
    assert.equal(shown(open, said(4, "start"), said(5, "undo"), said(6, "could_not"), said(7, "undo")), "NEEDS-ACTION");
    assert.equal(shown(begun, said(4, "undo"), said(5, "could_not"), said(6, "undo")), "NEEDS-ACTION");
  },

  async nudge_is_one_note_without_details_and_a_tap_on_it_opens_the_page() {
    const { events, kept, worker, open } = await serviceWorker();
    await worker("push");
    assert.deepEqual(events, [["note", "Something is new in your work / Hay algo nuevo en su trabajo", { lang: "en", tag: "see", icon: "/phone/files/icon-180.png" }]]);
    kept.set("/phone/nudge", { json: async () => ({ title: "Hay algo nuevo en su trabajo", lang: "es" }) });
    open.push(page(events, "http://localhost/other/"), page(events, "http://localhost/phone/"));
    events.length = 0;
    await worker("push");
    assert.deepEqual(events.map(([what, words]) => [what, words]), [["note", "Hay algo nuevo en su trabajo"], ["told /phone/", "news"]]);
    await worker("notificationclick");
    open.length = 0;
    await worker("notificationclick");
    assert.deepEqual(events.slice(2).map(([what, words]) => [what, words]), [["closed", undefined], ["focused /phone/", undefined], ["closed", undefined], ["opened", "/phone/"]]);
  },

  async another_address_of_the_push_service_is_told_to_the_farm() {
    const { worker, puts } = await serviceWorker();
    await worker("pushsubscriptionchange", { newSubscription: subscription("https://push/2") });
    await worker("pushsubscriptionchange", { newSubscription: null });
    assert.deepEqual(puts(), ["2", "of-key"].map((end) => ["/api/v1/sites/ours/nudges/", "Bearer t", `https://push/${end}`]));
  },

  async page_tells_of_an_address_that_the_farm_did_not_hear_of_once() {
    const { phone, app, puts } = await nudged("https://push/2");
    await phone.do(() => app.begin());
    assert.deepEqual(puts(), ["https://push/2"]);
    for (const status of [200, 200]) { phone.status = status; await phone.do(async () => phone.run.tell("online")); await phone.pass(1_000); }
    assert.deepEqual(puts(), ["https://push/2", "https://push/2"]);
  },

  // RFC 9562, appendix A.6: the time and the random bits of its example give its UUID.
  async ids_are_uuids_of_version_7() {
    const phone = new Lonely();
    phone.world.now = Date.parse("2022-02-22T19:22:22Z");
    const { makeId } = await phone.load("net.js");
    const random = [0, 0, 0, 0, 0, 0, 0x0c, 0xc3, 0x18, 0xc4, 0xdc, 0x0c, 0x0c, 0x07, 0x39, 0x8f];
    phone.run.dice.below = () => random.shift();
    assert.equal(makeId().toUpperCase(), "017F22E2-79B0-7CC3-98C4-DC0C0C07398F");
  },

  // RFC 7914, section 11: the first 32 bytes of its first test vector of PBKDF2-HMAC-SHA-256.
  async pins_are_hashed_as_the_standard_says() {
    const phone = new Lonely();
    const { matches, makePin } = await phone.load("who.js");
    const hash = Buffer.from("55ac046e56e3089fec1691c22544b605f94185216dde0465e68b9d57c20dacbc", "hex").toString("base64");
    const pin = { salt: Buffer.from("salt").toString("base64"), iterations: 1, hash };
    assert.equal(await phone.do(() => matches("passwd", pin)), true);
    assert.equal(await phone.do(() => matches("passwe", pin)), false);
    const made = await phone.do(() => makePin("4711"));
    assert.equal(await phone.do(() => matches("4711", made)), true);
    assert.match(made.salt, /^[A-Za-z0-9+/_=-]{16,88}$/);
  },

  async five_wrong_pins_make_the_phone_wait_a_minute_and_a_person_ends_after_fifteen_idle() {
    const phone = new Lonely();
    const { tryPin, speaker } = await phone.load("who.js");
    const { makePin } = await phone.run.load("who.js");
    const pin = await phone.do(() => makePin("4711"));
    for (let n = 1; n <= 5; n += 1) assert.equal((await phone.do(() => tryPin("0000", pin))).ok, false);
    assert.equal((await phone.do(() => tryPin("4711", pin))).wait_ms, 60_000);
    phone.world.now += 60_000;
    assert.equal((await phone.do(() => tryPin("4711", pin))).ok, true);
    const person = { worker: 5, at: phone.world.now };
    phone.world.now += 15 * 60_000 - 1;
    assert.equal(speaker(person), 5);
    phone.world.now += 1;
    assert.equal(speaker(person), null);
    phone.world.now -= 3600_000;
    assert.equal(speaker(person), null);
  },

  async files_go_out_oldest_first_and_stay_where_they_are_not_taken() {
    let taken = 0; // no answer
    const phone = new Lonely(({ method }) => (method === "PUT" && taken ? [taken, { detail: "too large" }, { "Retry-After": "5" }] : null));
    const app = await phone.app();
    const store = await phone.run.load("store.js");
    await phone.do(() => store.setFacts({ token: "t", site: "ours" }));
    const voice = () => new Blob(["sound"], { type: "audio/webm;codecs=opus" });
    const first = await phone.do(() => app.attach(voice(), "voice"));
    await phone.do(() => app.sendNow());
    assert.deepEqual(app.files().map((f) => [f.id, f.state]), [[first, "waiting"]]);
    taken = 503;
    await phone.do(() => app.sendNow());
    assert.deepEqual(app.files().map((f) => [f.id, f.state]), [[first, "waiting"]]);
    assert.deepEqual(phone.asked.filter((a) => a.method === "PUT").map((a) => [a.path, a.headers["Content-Type"]])[0], [`/api/v1/sites/ours/attachments/${first}/`, "audio/webm"]);
    taken = 201;
    phone.world.now += 10_000;
    const second = await phone.do(() => app.attach(voice(), "voice"));
    await phone.do(() => app.sendNow());
    assert.deepEqual(app.files().map((f) => [f.id, f.state]), [[first, "sent"], [second, "sent"]]);
    taken = 413;
    phone.world.now += 1_000;
    const third = await phone.do(() => app.attach(voice(), "voice"));
    await phone.do(() => app.sendNow());
    assert.deepEqual(app.files().at(-1).detail, "too large");
    assert.equal(app.files().at(-1).state, "refused");
    await phone.do(() => app.forgetFile(third));
    assert.deepEqual((await phone.restart()).files().map((f) => f.state), ["sent", "sent"]);
  },

  async note_whose_word_is_taken_back_stays_here_unless_it_is_named_again() {
    const { phone, app, farm, note, held, puts } = await withNote();
    assert.equal(await phone.do(() => app.unsay(held)), true);
    assert.deepEqual([app.facts().n_files, app.files().map((f) => f.state)], [0, ["unsaid"]]);
    farm.put = () => [201];
    const before = puts();
    await phone.do(() => app.sendNow());
    assert.equal(puts(), before);
    await phone.do(() => app.say("problem", { text: "bent", attachments: [note] }));
    await phone.do(() => app.sendNow());
    assert.deepEqual([puts(), app.files().map((f) => f.state)], [before + 1, ["sent"]]);
    assert.ok(await phone.do(() => app.openFile(note)));
  },

  async note_waits_as_long_as_its_word_can_be_taken_back() {
    const { phone, app, farm, puts } = await withNote();
    farm.put = () => [201];
    const before = puts();
    await phone.pass(3_000);
    await phone.world.run(phone.run, () => phone.run.tell("online"));
    assert.equal(puts(), before);
    await phone.pass(30_000);
    assert.deepEqual([puts(), app.files().map((f) => f.state)], [before + 1, ["sent"]]);
  },

  async note_that_another_word_names_goes_out() {
    const { phone, app, farm, note, held } = await withNote();
    await phone.do(() => app.say("problem", { text: "bent", attachments: [note] }));
    assert.equal(await phone.do(() => app.unsay(held)), true);
    farm.put = () => [201];
    await phone.do(() => app.sendNow());
    assert.deepEqual(app.files().map((f) => f.state), ["sent"]);
  },

  async note_on_its_way_while_its_word_is_taken_back_does_not_go_again() {
    let reply = null;
    const { phone, app, held, puts } = await withNote(() => new Promise((resolve) => { reply = resolve; }));
    assert.equal(await phone.do(() => app.unsay(held)), true);
    reply([201]);
    await phone.do(() => app.sendNow());
    assert.deepEqual([puts(), app.files().map((f) => f.state)], [1, ["unsaid"]]);
  },

  async photo_that_belongs_nowhere_holds_up_no_other() {
    const phone = new Lonely(({ method }) => (method === "PUT" ? [phone.asked.filter((a) => a.method === "PUT").length === 1 ? 404 : 201, { detail: "not here" }] : null));
    const app = await phone.app();
    const store = await phone.run.load("store.js");
    for (const second of [0, 1]) {
      phone.world.now += second * 1000;
      await phone.do(() => app.attach(new Blob(["sound"], { type: "audio/webm" }), "voice"));
    }
    await phone.do(() => store.setFacts({ token: "t", site: "ours" }));
    await phone.do(() => app.sendNow());
    assert.deepEqual(app.files().map((f) => [f.state, f.detail]), [["refused", "not here"], ["sent", undefined]]);
  },

  async phone_comes_back_when_the_farm_asked_for_it_by_one_timer() {
    const reply = { now: [503, {}, { "Retry-After": "1" }] };
    const { phone, app, posts } = await answered(reply);
    const timers = () => phone.world.queue.filter((entry) => !entry.cancelled).length;
    const before = timers();
    for (let n = 0; n < 4; n += 1) await phone.do(() => app.sendNow());
    assert.deepEqual([posts(), timers()], [5, before]);
    const once = await answered(reply);
    reply.now = null;
    await once.phone.pass(3_300);
    assert.deepEqual([once.posts(), once.app.view.nWaiting], [2, 0]);
  },

  async farm_cannot_ask_for_more_than_ten_minutes() {
    const { phone, posts } = await answered({ now: [503, {}, { "Retry-After": "86400" }] });
    await phone.pass(599_000);
    assert.equal(posts(), 1);
    await phone.pass(2_000);
    assert.equal(posts(), 2);
  },

  async clock_that_is_set_back_keeps_no_phone_silent() {
    const { phone, posts } = await answered({ now: [503, {}, { "Retry-After": "300" }] });
    phone.run.off_ms -= 300_000;
    await phone.pass(20_500);
    assert.equal(posts(), 2);
  },

  async what_keeps_people_safe_is_tried_at_once_whatever_came_before() {
    const { phone, app, posts } = await answered({ now: [503, {}, { "Retry-After": "300" }] });
    await phone.do(() => app.say("problem", { text: "torn" }));
    assert.equal(posts(), 1);
    await phone.do(() => app.say("hold", { machine: 1, cause: "Brakes" }));
    assert.equal(posts(), 2);
  },

  async what_waits_is_numbered_as_the_farm_expects_it() {
    let expected = 8;
    const told = [];
    const phone = new Lonely(({ path, body }) => {
      if (!path.includes("/events/") || told.length > 20) return null;
      const { events } = JSON.parse(body);
      told.push(events.map((e) => e.seq));
      return [200, { epoch: "e", answers: events.map((e) => {
        const isNext = e.seq === expected;
        expected += isNext ? 1 : 0;
        return { id: e.id, state: isNext ? "applied" : "gap", code: "", detail: "", expected_seq: isNext ? null : expected, result: {}, version: 1 };
      }) }];
    });
    const app = await phone.app();
    const store = await phone.run.load("store.js");
    await phone.do(() => store.setFacts({ token: "t", site: "ours" }));
    await phone.do(() => app.say("load", { work_order: 1 }));
    await phone.do(() => app.say("load", { work_order: 1 }));
    await phone.do(() => app.sendNow());
    assert.deepEqual(told.flat().slice(-2), [8, 9]);
    assert.equal(app.view.nWaiting, 0);
  },

  async farm_that_asks_for_time_gets_it_and_a_lost_token_asks_for_pairing() {
    let reply = [503, {}, { "Retry-After": "120" }];
    const phone = new Lonely(({ path }) => (path.endsWith("/events/") ? reply : null));
    const app = await phone.app();
    const store = await phone.run.load("store.js");
    const { drain } = await phone.run.load("outbox.js");
    await phone.do(() => store.setFacts({ token: "t", site: "ours" }));
    const posts = () => phone.asked.filter((a) => a.method === "POST").length;
    await phone.do(() => app.say("problem", { text: "bent" }));
    await phone.do(() => drain());
    assert.equal(posts(), 1);
    phone.world.now += 119_000;
    await phone.do(() => drain());
    assert.equal(posts(), 1);
    phone.world.now += 10_000;
    reply = [401];
    await phone.do(() => drain());
    await phone.do(() => app.forget("nothing"));
    assert.equal(posts(), 2);
    assert.deepEqual([app.facts().is_paired, app.facts().pair_again, app.view.nWaiting], [false, true, 1]);
  },
};

const found = {};
for (const [name, check] of Object.entries(CHECKS)) {
  found[name] = await check().then(() => null, (error) => `${error.stack}`);
}
process.stdout.write(JSON.stringify(found));
process.exit(0);
