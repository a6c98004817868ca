// @ts-check
// The seam between what the phone keeps and what it shows. Screens read `app.view` and `app.facts()`,
// listen with `app.on`, and speak with `app.say` and `app.attach`; they touch no store, no outbox, no net.

import { drainFiles, keep, onFilesChange } from "./files.js";
import { ask, now as phoneNow } from "./net.js";
import * as outbox from "./outbox.js";
import { isNudged, keepAddress, keepNote, leave, nudge, nudgeNoMore } from "./nudges.js";
import { carryPictures, smallOf } from "./pictures.js";
import { keepPulling, onPulled, pull } from "./pull.js";
import { beginPaired, bytesOf, changeEvents, dropFile, readAll, setFact, setFacts } from "./store.js";
import { hasUpdate, keepProgram, takeUpdate } from "./program.js";
import { isUrgent, viewOf, wordBack } from "./view.js";
import { makePin, speaker, tryPin } from "./who.js";

/** @typedef {import("./view.js").View} View */
/** @typedef {import("./view.js").Told} Told */
/**
 * @typedef {object} Facts
 * @property {string} [site] slug
 * @property {string} [site_name]
 * @property {boolean} is_paired
 * @property {boolean} pair_again whether the phone was paired and must be again
 * @property {string} [worker] name of whose phone it is; empty for a crew's
 * @property {string} [crew] name of the crew that shares it; empty for a person's own
 * @property {boolean} is_shared whether several people of a crew carry this phone
 * @property {number | null} worker_id who speaks: whose phone it is, or who picked their name; null: nobody yet
 * @property {string} [language] chosen here
 * @property {string} [theme] "day" or "night"
 * @property {string} [heard_at] when the farm answered last
 * @property {number} version of the farm, that the view shows
 * @property {number} n_files photos and voice notes that wait
 * @property {boolean} has_update whether a newer program waits until all is sent
 */

/** @typedef {import("./store.js").KeptFile} KeptFile */

/** @type {Record<string, any>} */
let facts = {};
/** @type {KeptFile[]} */
let files = [];
/** @type {((view: View) => void)[]} */
const listeners = [];
const NOBODY = { worker: null, is_shared: false, epoch: null, version: 0, taken: 0, at: 0 };

/** Reads what is kept and draws it anew for whoever listens. Readings never overtake each other. */
let refreshing = Promise.resolve();
function refresh() {
  refreshing = refreshing.catch(() => {}).then(async () => {
    const kept = await readAll();
    ({ facts, files } = kept);
    app.view = viewOf(kept.documents, kept.events, { worker: speaks(), is_shared: isShared(), epoch: facts.documents_of ?? null, version: facts.version ?? 0, taken: facts.taken_seq ?? 0, at: app.now() });
    for (const does of [...listeners]) does(app.view);
    carryPictures(app.view.crewJobs.map((j) => j.picture).filter(Boolean)).catch(() => {});  // tried again at the next change
  });
  return refreshing;
}

/** How much is only on this phone. */
const nUnsent = () => app.view.nWaiting + files.filter((f) => f.state === "waiting").length;

/** A lock by the event that put it on here, as well as by the farm's number. @param {Record<string, any>} payload */
function lockMeant(payload) {
  const of = app.view.locks.find((l) => l.id !== null && l.id === payload.lock)?.of;
  return of ? { ...payload, lock_of: of } : payload;
}

const isShared = () => (facts.crew_id ?? null) !== null;

/** Who speaks now. @returns {number | null} */
function speaks() {
  return isShared() ? speaker(facts.person) : facts.worker_id ?? null;
}

/** What was said goes out first, then what was photographed; where storage fails, again before long. @param {{at_once?: boolean, all?: boolean}} [how] */
async function send(how) {
  await outbox.drain(how).catch(() => {});
  await drainFiles(how).catch(() => {});
}

/** Draws anew unasked. */
const redraw = () => { refresh().catch(() => {}); };

const EVERY_MS = 20_000;

/** Sends at the start, on the way back to the front, when the signal is back, and again and again. */
function keepSending() {
  addEventListener("online", () => { void send({ at_once: true }); keepAddress().catch(() => {}); });
  document.addEventListener("visibilitychange", () => void send({ at_once: true, all: document.hidden }));  // a pocketed phone's timers stand still
  setInterval(() => void send(), EVERY_MS);
  void send();
}

/** @type {Promise<void> | null} */
let begun = null;

async function begin() {
  outbox.onOutboxChange(redraw);
  onPulled(redraw);
  onFilesChange(redraw);
  await refresh();
  keepSending();
  keepAddress().catch(() => {});  // tried again when the signal is back
  void keepPulling();
  void keepProgram({ mayTake: () => nUnsent() === 0, onChange: redraw, onNudge: () => void pull() });
}

export const app = {
  /** @type {View} what the screens show; never null, empty before the first pull */
  view: viewOf([], [], NOBODY),

  /** Opens what is kept, and from then on sends and fetches by itself. Before the first drawing; twice does nothing more. */
  begin() {
    begun ??= begin();
    return begun;
  },

  /**
   * Says what happened: saved on this phone when the promise is kept, and shown from then on.
   * @param {string} kind @param {Record<string, any>} payload
   * @param {{undo?: Record<string, any>, isHeld?: boolean, more?: [string, Record<string, any>][]}} [how] `undo`: payload of the event that takes it
   *   back ({work_order: ID}); `isHeld`: it can be taken back by `unsay` for ten seconds, and is sent only then, unless it keeps people safe;
   *   `more`: what belongs to it, and is saved with it or not at all
   * @returns {Promise<{event: Told, held: string[], undo: (() => Promise<void>) | null}>} `held`: ids for `unsay`; none where it is sent at once
   */
  async say(kind, payload, { undo, isHeld = false, more = [] } = {}) {
    const back = kind === "undo" ? wordBack([...app.view.events].reverse(), payload.work_order, app.view.crewJobs.find((j) => j.id === payload.work_order)) : null;
    const word = { kind, payload: kind === "lock_off" ? lockMeant(payload) : payload, back };
    const how = { isUrgent: isUrgent(kind, payload, app.view.checks), isHeld: isHeld && !isUrgent(kind, payload, app.view.checks) };
    const events = await outbox.say([word, ...more.map(([kind, payload]) => ({ kind, payload }))], isShared() ? speaks() : null, how);
    await refresh().catch(() => {});  // it is saved; what is shown follows with the next drawing
    return { event: events[0], held: how.isHeld ? events.map(({ id }) => id) : [], undo: undo ? async () => { await app.say("undo", undo); } : null };
  },

  /** Takes back what was said and is held, all or nothing. @param {string[]} ids @returns {Promise<boolean>} false: it has begun to be sent */
  async unsay(ids) {
    const isDone = await outbox.unsay(ids);
    await refresh().catch(() => {});
    return isDone;
  },

  /** @param {(view: View) => void} does after each change @returns {() => void} stops it */
  on(does) {
    listeners.push(does);
    return () => { listeners.splice(listeners.indexOf(does), 1); };
  },

  /** @returns {Facts} */
  facts() {
    const { site, site_name, worker, crew, language, theme, heard_at } = facts;
    return {
      site, site_name, worker, crew, language, theme, heard_at,
      is_paired: Boolean(facts.token), pair_again: Boolean(facts.pair_again), is_shared: isShared(),
      worker_id: speaks(), version: facts.version ?? 0, n_files: files.filter((f) => f.state === "waiting").length, has_update: hasUpdate(),
    };
  },

  /** The time now by the farm's clock as heard last, in ms. */
  now: () => phoneNow() + (facts.offset_ms ?? 0),

  /** Keeps what was chosen on this phone. @param {{language?: string, theme?: string}} chosen */
  async choose(chosen) {
    await setFacts(chosen);
    await refresh();
  },

  /**
   * Trades a code for this phone's access.
   * @param {string} code @param {string} language in which to be refused
   * @returns {Promise<{ok: boolean, detail: string | null}>} `detail` null: no answer
   */
  async pair(code, language) {
    const headers = { "Content-Type": "application/json", "Accept-Language": language };
    const reply = await ask("/api/v1/pair/", { method: "POST", headers, body: JSON.stringify({ code }) }).catch(() => null);
    const body = await reply?.json().catch(() => null);
    if (!reply || !body) return { ok: false, detail: null };
    if (!reply.ok) return { ok: false, detail: body.detail };
    await beginPaired({ ...body, token_at: phoneNow() });
    leave().catch(() => {});  // nudges of before were another phone's
    await navigator.storage?.persist?.();
    await pull();
    await refresh();
    void send({ at_once: true });
    return { ok: true, detail: "" };
  },

  /** Takes a refused event off the list once its person has read why. @param {string} id */
  async forget(id) {
    await changeEvents(new Map([[id, { seen: true }]]));
    await refresh();
  },

  /** A person asks to send and fetch now. */
  async sendNow() {
    await send({ at_once: true, all: true });
    await pull();
    await refresh();
  },

  // A phone of several people --------------------------------------------------------------------------

  /**
   * A person picks their name and types their PIN. `no_pin`: they have none yet and choose one (`choosePin`).
   * @param {number} worker @param {string} pin
   * @returns {Promise<{ok: boolean, no_pin: boolean, wait_ms: number}>}
   */
  async enter(worker, pin) {
    const kept = app.view.pins.get(worker);
    if (!kept) return { ok: false, no_pin: true, wait_ms: 0 };
    const { ok, wait_ms } = await tryPin(pin, kept);
    if (ok) await setFact("person", { worker, at: phoneNow() });
    await refresh();
    return { ok, no_pin: false, wait_ms };
  },

  /** Chooses the PIN of the person who speaks, or of one who has none yet and speaks from then on. @param {string} pin four digits @param {number} [worker] */
  async choosePin(pin, worker) {
    if (worker !== undefined && isShared() && !app.view.pins.has(worker)) await setFact("person", { worker, at: phoneNow() });
    await refresh();
    await app.say("set_pin", await makePin(pin));
  },

  /** The person goes: the next one picks a name. */
  async leave() {
    await setFact("person", null);
    await refresh();
  },

  /** Somebody touched the screen: on a shared phone the person goes on speaking for 15 minutes. */
  async touch() {
    if (!isShared() || !facts.person) return;
    const worker = speaks();
    if (worker !== null && Math.abs(phoneNow() - facts.person.at) < 30_000) return;
    await setFact("person", worker === null ? null : { worker, at: phoneNow() });
    await refresh();
  },

  // Photos and voice notes -------------------------------------------------------------------------------

  /**
   * Keeps a photo or a voice note; it goes out by itself. Events name it by the id given back.
   * @param {Blob} blob @param {"photo" | "voice"} kind
   * @returns {Promise<string>} its id; throws where the photo cannot be read or the phone is full
   */
  async attach(blob, kind) {
    const id = await keep(blob, kind);
    void send();
    return id;
  },

  /** What was attached here, oldest first. @returns {KeptFile[]} */
  files: () => files,

  /** A photo or voice note: the phone's own, else what is carried of it, else the farm's. @param {string} id @returns {Promise<Blob | null>} null: not here and no answer */
  async openFile(id) {
    const bytes = await bytesOf(id);
    if (bytes) return new Blob([bytes], { type: files.find((f) => f.id === id)?.type });
    const small = await smallOf(id);
    if (small) return new Blob([small], { type: "image/jpeg" });
    const reply = await ask(`/api/v1/sites/${facts.site}/attachments/${id}/`, { token: facts.token }).catch(() => null);
    return reply?.ok ? reply.blob() : null;
  },

  /** Takes a refused file off the list once its person has read why. @param {string} id */
  async forgetFile(id) {
    await dropFile(id);
    await refresh();
  },

  // Nudges: each begins with a tap, and says in words why not ---------------------------------------------

  isNudged, nudge, nudgeNoMore, keepNote,

  // The program itself -----------------------------------------------------------------------------------

  /** Takes the newer program, if all is sent; the page loads anew. @returns {boolean} whether it is taken */
  update() {
    return nUnsent() === 0 && takeUpdate();
  },
};
