// Phones of which each check sees one thing: alone, paired, cut off, with storage that fails.

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import vm from "node:vm";
import { Disk, Run, World } from "../../../simulator/phone.mjs";

const { IDBObjectStore, IDBDatabase, IDBFactory } = createRequire(`${process.env.NODE_TOOLS}/`)("fake-indexeddb");
const START_MS = Date.parse("2026-03-04T16:00:00Z");

/** A phone with nobody around it: `network` answers as a check wants. */
export class Lonely {
  constructor(answer = () => null) {
    this.world = new World(START_MS);
    this.disk = new Disk();
    this.asked = [];
    this.answer = answer;
  }

  async fetch(run, path, init) {
    this.asked.push({ path, method: init.method ?? "GET", body: init.body, headers: init.headers, keepalive: init.keepalive });
    const reply = await this.answer(this.asked.at(-1));
    if (!reply) throw run.error("TypeError", "no signal");
    const [status, body = {}, headers = {}] = reply;
    return { ok: status < 300, status, headers: { get: (name) => headers[name] ?? null }, json: async () => body };
  }

  /** Somebody puts the phone in a pocket, or takes it out. */
  async pocket(hidden = true) {
    this.run.context.document.hidden = hidden;
    await this.world.run(this.run, () => { this.run.tell("visibilitychange"); });
  }

  async load(name, changes = {}) {
    this.run = new Run({ world: this.world, disk: this.disk, seed: 7, off_ms: 0, network: this, changes });
    return this.run.load(name);
  }

  async do(does) {
    let given;
    await this.world.wait(this.run, () => (given = does()));
    return given;
  }

  async app() {
    await this.load("app.js");
    return this.begun();
  }

  async begun() {
    const { app } = await this.run.load("app.js");
    await this.do(() => app.begin());
    return app;
  }

  /** Lets time pass, and all that is due in it happen. */
  async pass(ms) {
    const until = this.world.now + ms;
    while (await this.world.step(until));
  }

  restart() { this.run.cut(); return this.app(); }
}

/** Storage of which single calls fail, as when a browser closes its connection under a page. */
const CALLS = [
  [IDBFactory.prototype, ["open"]],
  [IDBDatabase.prototype, ["transaction"]],
  [IDBObjectStore.prototype, ["get", "put", "getAll", "openCursor", "delete", "clear"]],
];
function failing(doesFail) {
  const kept = [];
  let n = 0;
  for (const [prototype, names] of CALLS) {
    for (const name of names) {
      const real = prototype[name];
      kept.push(() => { prototype[name] = real; });
      prototype[name] = function (...given) {
        n += 1;
        if (doesFail(n)) throw new DOMException("The connection is closing.", "InvalidStateError");
        return real.apply(this, given);
      };
    }
  }
  return { end: () => kept.forEach((back) => back()), count: () => n };
}

export async function saidWhile(doesFail) {
  const phone = new Lonely();
  const app = await phone.app();
  const storage = failing(doesFail);
  const failed = await phone.do(() => app.say("problem", { text: "bent" })).then(() => null, (error) => error);
  storage.end();
  const shown = app.view.events.map((event) => event.id);
  const kept = (await phone.restart()).view.events.map((event) => event.id);
  return { failed, shown, kept, n: storage.count() };
}

export const PULLED = { cursor: "c2", epoch: "e", version: 2, kept_through: 0, taken_seq: 0, held: [], worker: 1, now: "2026-03-04T16:00:00Z", whole: true, documents: [{ scope: "site", kind: "farm", key: "farm", body: { name: "Ours" } }], dropped_scopes: [] };

/** Cuts a phone off after so many steps of the storage while it takes a pull; gives what it has then. */
async function cutInAPull(steps, changes) {
  const phone = new Lonely(({ path }) => (path.includes("/pull/") ? [200, PULLED] : null));
  await phone.load("pull.js", changes);
  const [store, { pull }] = [await phone.run.load("store.js"), await phone.run.load("pull.js")];
  await phone.do(() => store.setFacts({ token: "t", site: "ours", token_at: START_MS }));
  phone.run.cutAfter = steps;
  await phone.world.run(phone.run, () => { pull(); });
  const wasCut = phone.run.isGone;
  phone.run.cut();
  await phone.load("store.js");
  const kept = await phone.do(() => phone.run.modules.get("store.js").namespace.readAll());
  return { wasCut, cursor: kept.facts.cursor ?? null, n: kept.documents.length };
}

/** Everything that a phone may have after it was cut off anywhere in a pull. */
export async function everyCut(changes) {
  const found = new Set();
  for (let steps = 0; ; steps += 1) {
    const { wasCut, cursor, n } = await cutInAPull(steps, changes);
    found.add(`${cursor} ${n}`);
    if (!wasCut) return [...found].sort();
  }
}

/** A paired phone whose events are all taken; gives what the farm was told, each with its number. */
export async function paired(changes = {}, answer = (events) => taken(events)) {
  const phone = new Lonely(({ path, body }) => (path.endsWith("/events/") ? answer(JSON.parse(body).events) : null));
  await phone.load("app.js", changes);
  const app = await phone.begun();
  const store = await phone.run.load("store.js");
  await phone.do(() => store.setFacts({ token: "t", site: "ours", token_at: START_MS }));
  const posts = () => phone.asked.filter((a) => a.path.endsWith("/events/")).flatMap((a) => JSON.parse(a.body).events);
  return { phone, app, store, bodies: () => posts().map((e) => [e.kind, e.seq]) };
}

export const taken = (events) => [200, { epoch: "e", answers: events.map(({ id }, n) => ({ id, state: "applied", code: "", detail: "", expected_seq: null, result: {}, version: n + 1 })) }];

/** A phone of worker 1 at the farm "ours", without signal until `does.hear`, that can be paired anew. */
export async function rePaired() {
  const does = { hear: false, epoch: "e" };
  const phone = new Lonely(({ path, method, body }) => {
    if (path.endsWith("/pair/")) return [200, does.pair];
    if (path.includes("/pull/") && does.pulled) return [200, does.pulled(new URL(path, "http://farm").searchParams.get("unsure"))];
    if (!does.hear) return null;
    if (path.endsWith("/events/")) return [200, { ...taken(JSON.parse(body).events)[1], epoch: does.epoch }];
    return method === "PUT" ? [201] : null;
  });
  const app = await phone.app();
  const store = await phone.run.load("store.js");
  await phone.do(() => store.setFacts({ token: "t", site: "ours", worker_id: 1, crew_id: null, epoch: "e", token_at: START_MS }));
  const pair = async (site, worker_id) => {
    does.pair = { token: `t${worker_id}`, site, site_name: site, worker: "", worker_id, crew: "", crew_id: null, language: "en", epoch: does.epoch };
    assert.equal((await phone.do(() => app.pair("123456", "en"))).ok, true);
    await phone.do(() => app.sendNow());
  };
  const posts = () => phone.asked.filter((a) => a.path.endsWith("/events/")).flatMap((a) => JSON.parse(a.body).events.map((e) => [a.path.split("/")[4], e.kind, e.seq, e.worker]));
  return { phone, app, store, does, pair, posts };
}

/** A paired phone of which one problem was answered so; counts how often it was sent. */
export async function answered(reply) {
  const { phone, app } = await paired({}, (events) => reply.now ?? taken(events));
  await phone.do(() => app.say("problem", { text: "bent" }));
  const posts = () => phone.asked.filter((a) => a.path.endsWith("/events/")).length;
  assert.equal(posts(), 1);
  return { phone, app, posts };
}

/** Cuts a phone off after so many steps of the storage while it says two things that belong together. */
export async function cutInAWord(steps) {
  const { phone, app } = await paired();
  phone.run.cutAfter = steps;
  await phone.world.run(phone.run, () => { app.say("check", { machine: 1, answers: [] }, { isHeld: true, more: [["photo", { attachment: "a" }]] }); });
  const wasCut = phone.run.isGone;
  phone.run.cut();
  const { readAll } = await phone.load("store.js");
  const { events, facts } = await phone.do(() => readAll());
  return { wasCut, events: `${events.map((e) => `${e.kind} ${e.seq}`).join(", ")} of ${facts.last_seq ?? 0}` };
}

/** Takes something back that is on its way to a farm which does not answer. */
export async function takenBackInFlight(changes) {
  const { phone, app } = await paired(changes, () => null);
  const { event } = await phone.do(() => app.say("problem", { text: "bent" }, { isHeld: true }));
  await phone.pass(11_300);
  assert.equal(phone.asked.filter((a) => a.path.endsWith("/events/")).length, 1);
  return { isDone: await phone.do(() => app.unsay([event.id])), n: app.view.events.length };
}

/** A paired phone with a voice note of which a word was said that can be taken back; `farm.put` answers to the note. */
export async function withNote(put = () => null) {
  const farm = { put };
  const phone = new Lonely(({ path, method, body }) => (method === "PUT" ? farm.put() : path.endsWith("/events/") ? taken(JSON.parse(body).events) : null));
  const app = await phone.app();
  const store = await phone.run.load("store.js");
  await phone.do(() => store.setFacts({ token: "t", site: "ours", token_at: START_MS }));
  const note = await phone.do(() => app.attach(new Blob(["sound"], { type: "audio/webm" }), "voice"));
  const { held } = await phone.do(() => app.say("photo", { attachment: note }, { isHeld: true }));
  return { phone, app, farm, note, held, puts: () => phone.asked.filter((a) => a.method === "PUT").length };
}

/** Cuts a phone off after so many steps of the storage while it takes back; gives what it has then. */
export async function cutInAnUndo(steps) {
  const { phone, app } = await paired();
  const ids = [];
  for (const kind of ["check", "photo"]) ids.push((await phone.do(() => app.say(kind, { machine: 1, answers: [] }, { isHeld: true }))).event.id);
  await phone.do(() => app.say("language", { language: "en" }));
  phone.run.cutAfter = steps;
  await phone.world.run(phone.run, () => { app.unsay(ids); });
  const wasCut = phone.run.isGone;
  phone.run.cut();
  const { readAll } = await phone.load("store.js");
  const { events, facts } = await phone.do(() => readAll());
  return { wasCut, events: `${events.map((e) => `${e.kind} ${e.seq}`).join(", ")} of ${facts.last_seq}` };
}

export const page = (events, url) => ({ url, postMessage: (words) => events.push([`told ${new URL(url).pathname}`, words]), focus: async () => { events.push([`focused ${new URL(url).pathname}`]); } });

/** A subscription as a push service gives it (W3C Push API). */
export const subscription = (endpoint) => ({ endpoint, toJSON: () => ({ endpoint, keys: {} }) });

/** The service worker of a paired phone with nothing around it but what it is told; gives what it does. */
export async function serviceWorker() {
  const phone = new Lonely(({ method }) => [200, method === "GET" ? { public_key: "key" } : {}]);
  await phone.load("store.js");
  await phone.do(() => phone.run.modules.get("store.js").namespace.setFacts({ site: "ours", token: "t" }));
  const [listeners, events, kept, open] = [{}, [], new Map(), []];
  const self = {
    addEventListener: (kind, does) => { listeners[kind] = does; },
    clients: { matchAll: async () => open, openWindow: async (address) => { events.push(["opened", address]); } },
    registration: {
      showNotification: async (title, how) => { events.push(["note", title, { ...how }]); },
      pushManager: { subscribe: async ({ applicationServerKey }) => subscription(`https://push/of-${applicationServerKey}`) },
    },
  };
  const fetch = (path, init) => phone.fetch(phone.run, path, init);
  const world = vm.createContext({ self, URL, fetch, indexedDB: phone.disk.factory, caches: { open: async () => ({ match: async (address) => kept.get(address) }) } });
  vm.runInContext(`const VERSION = "1"; const FILES = { "/phone/files/icon-180.png": "" }; ${readFileSync(`${process.env.PHONE_FILES}/sw.js`, "utf8")}`, world);
  const worker = async (kind, event = {}) => {
    let done;
    listeners[kind]({ ...event, notification: { close: () => events.push(["closed"]) }, waitUntil: (given) => { done = given; } });
    await phone.do(() => done);
  };
  const puts = () => phone.asked.filter((a) => a.method === "PUT").map((a) => [a.path, a.headers.Authorization, JSON.parse(a.body).endpoint]);
  return { events, kept, worker, open, puts };
}

/** A paired phone with a push service at that address, that has not begun; a farm that answers `phone.status`. */
export async function nudged(endpoint) {
  const phone = new Lonely(({ path }) => (path.endsWith("/nudges/") ? [phone.status] : null));
  phone.status = 503;
  const { app } = await phone.load("app.js");
  const store = await phone.run.load("store.js");
  await phone.do(() => store.setFacts({ token: "t", site: "ours", token_at: START_MS }));
  const pushManager = { getSubscription: async () => subscription(endpoint) };
  const { context } = phone.run;
  Object.assign(context, { isSecureContext: true, Notification: { permission: "granted" }, window: { PushManager: true, Notification: true } });
  context.navigator.serviceWorker = { addEventListener: () => {}, register: async () => { throw new Error("no room"); }, getRegistration: async () => ({ pushManager }) };
  const puts = () => phone.asked.filter((a) => a.method === "PUT").map((a) => JSON.parse(a.body).endpoint);
  return { phone, app, puts };
}
