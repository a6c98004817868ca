// @ts-check
// Sends what was saved, oldest first, one batch at a time; keeps what was refused for the person.

import { addEvent, allEvents, dropEvents, getFact, saveEvents, setFact } from "./store.js";

const BATCH = 50;
const KEEP_DONE = 20;
const PAUSE_MS = 20_000;

/** @type {(() => void)[]} */
const listeners = [];
/** @param {() => void} does */
export function onOutboxChange(does) { listeners.push(does); }
const tell = () => listeners.forEach((does) => does());

/** @param {string} kind @param {Record<string, any>} payload */
export async function say(kind, payload) {
  const event = await addEvent(kind, payload);
  tell();
  void drain();
  return event;
}

/** @param {string} path @param {RequestInit} [init] */
export async function ask(path, init = {}) {
  const token = await getFact("token");
  const headers = { Accept: "application/json", "Content-Type": "application/json", Authorization: `Bearer ${token}` };
  return fetch(path, { ...init, headers, signal: AbortSignal.timeout(15_000) });
}

/** Sends until the outbox is empty or the server does not answer. One drainer at a time. */
export async function drain() {
  await navigator.locks.request("outbox", { ifAvailable: true }, async (lock) => {
    if (!lock) return;
    while (await sendBatch()) tell();
    tell();
  });
}

let batchSize = BATCH;

/** @returns {Promise<boolean>} whether something was settled, so that going on makes sense */
async function sendBatch() {
  const site = await getFact("site");
  const waiting = (await allEvents()).filter((e) => e.state === "waiting").slice(0, batchSize);
  if (!site || waiting.length === 0) return false;
  const events = waiting.map(({ state, answer, ...event }) => event);
  let reply;
  try {
    reply = await ask(`/api/v1/sites/${site}/events/`, { method: "POST", body: JSON.stringify({ events }) });
  } catch {
    return false;
  }
  if (reply.status === 401) { await setFact("pair_again", true); return false; }
  if (reply.status === 400) return refuseUnreadable(waiting, await reply.json());
  if (!reply.ok) return false;
  batchSize = BATCH;
  await setFact("heard_at", new Date().toISOString());
  return settle(waiting, (await reply.json()).answers);
}

/**
 * A batch that cannot be read is sent one by one; the one at fault stays, refused, to be seen.
 * @param {any[]} waiting @param {any} problem @returns {Promise<boolean>}
 */
async function refuseUnreadable(waiting, problem) {
  if (waiting.length > 1) { batchSize = 1; return true; }
  await saveEvents([{ ...waiting[0], state: "refused", answer: { code: problem.code, detail: problem.detail } }]);
  return true;
}

/** @param {any[]} sent @param {any[]} answers @returns {Promise<boolean>} */
async function settle(sent, answers) {
  const byId = new Map(answers.map((a) => [a.id, a]));
  const settled = sent.filter((e) => ["applied", "refused"].includes(byId.get(e.id)?.state))
    .map((e) => ({ ...e, state: byId.get(e.id).state, answer: byId.get(e.id) }));
  await saveEvents(settled);
  const applied = (await allEvents()).filter((e) => e.state === "applied");
  await dropEvents(applied.slice(0, Math.max(0, applied.length - KEEP_DONE)).map((e) => e.seq));
  return settled.length > 0;
}

/** How many wait, how many need the person. */
export async function counts() {
  const events = await allEvents();
  const n = (/** @type {string} */ state) => events.filter((e) => e.state === state).length;
  return { waiting: n("waiting"), refused: n("refused"), heard_at: await getFact("heard_at") };
}

export function keepSending() {
  addEventListener("online", () => void drain());
  document.addEventListener("visibilitychange", () => { if (!document.hidden) void drain(); });
  setInterval(() => void drain(), PAUSE_MS);
  void drain();
}
