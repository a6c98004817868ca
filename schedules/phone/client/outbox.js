// @ts-check
// Sends what was said, oldest first, one batch at a time; keeps what was refused for the person.

import { alone, ask, LATE_MS, now, patience, retryAfter, stamp } from "./net.js";
import { addEvents, allEvents, changeEvents, getFacts, losePairing, releaseHeld, renumber, setFact, settleEvents, takeBack, takeBatch } from "./store.js";

/** @typedef {import("./view.js").Kept} Kept */
/** @typedef {import("./view.js").Answer} Answer */

const BATCH = 50;
const UNDO_MS = 11_000; // a little longer than the screen shows "Undo"
const KEEPALIVE_BYTES = 64_000; // more than 64 KiB in flight a browser refuses (WHATWG Fetch, section 4.6)

/** @type {(() => void)[]} */
const listeners = [];
/** @param {() => void} does */
export function onOutboxChange(does) { listeners.push(does); }
const tell = () => listeners.forEach((does) => does());

/**
 * Says what belongs together: all of it is kept, or nothing.
 * @param {import("./store.js").Word[]} words @param {number | null} worker
 * @param {{isHeld?: boolean, isUrgent?: boolean}} [how] `isHeld`: it can be taken back for a while, and is sent only then;
 *   `isUrgent`: it is sent at once, and all before it
 */
export async function say(words, worker, { isHeld = false, isUrgent = false } = {}) {
  const events = await addEvents(words, worker, { not_before: isHeld ? now() + UNDO_MS : undefined, doesRelease: isUrgent });
  tell();
  const send = () => { drain({ at_once: isUrgent }).catch(() => {}); };  // tried again before long
  if (isHeld) setTimeout(send, UNDO_MS + LATE_MS);
  else send();
  return events;
}

/** Takes back what is held, all or nothing. @param {string[]} ids @returns {Promise<boolean>} false: it has begun to be sent */
export async function unsay(ids) {
  const isDone = await takeBack(ids);
  tell();
  return isDone;
}

/** Whether an event waits for its undo; a clock that was set back must not hold it for long. @param {Kept} event */
const isHeldBack = ({ not_before = 0 }) => not_before > now() && not_before - now() <= UNDO_MS;

// When to try ----------------------------------------------------------------------------------------

let batchSize = BATCH;
const { mayTry, stop, answered, failed } = patience(drain);

/**
 * Sends until the outbox is empty or the server does not answer. One drainer at a time.
 * @param {{at_once?: boolean, all?: boolean}} [how] `at_once`: a person asks, or the signal is back; `all`: also what could still be taken back
 */
export async function drain({ at_once = false, all = false } = {}) {
  if (at_once) stop();
  if (all) await releaseHeld();
  if (!mayTry()) return;
  await alone("outbox", async () => {
    while (await sendBatch()) tell();
    tell();
  });
}

// One batch ------------------------------------------------------------------------------------------

/** @returns {Promise<boolean>} whether something was settled, so that going on makes sense */
async function sendBatch() {
  const [site, token, epoch] = await getFacts(["site", "token", "epoch"]);
  const batch = site && token ? await takeBatch(sendable) : [];
  if (batch.length === 0) return false;
  const events = batch.map(({ n, state, answer, seen, back, held, not_before, ...event }) => event);
  try {
    const headers = { "Content-Type": "application/json" };
    const body = JSON.stringify({ events });
    const reply = await ask(`/api/v1/sites/${site}/events/`, { method: "POST", token, headers, body, keepalive: outlivesThePage(body) });
    if (reply.ok) return await settle(await reply.json(), epoch ?? null);
    return await unanswered(batch, reply, token);
  } catch (error) {
    if (!isSilence(error)) throw error;
    failed(0);
    return false;
  }
}

/** Whether a request goes on by itself where the phone is pocketed, which stops the page. @param {string} body */
const outlivesThePage = (body) => document.hidden && new TextEncoder().encode(body).length < KEEPALIVE_BYTES;

/** No signal, no answer in time, or an answer that broke off. @param {any} error */
const isSilence = (error) => error instanceof TypeError || error instanceof SyntaxError || ["AbortError", "TimeoutError", "NetworkError"].includes(error?.name);

/**
 * What can go out now, in its order; behind what is held back for its undo, the rest waits too. Who takes off a lock that was put on here means it by that
 * event (`lock_of`): the farm's number for it stands in that event's answer, and is another one
 * after the farm came back from a backup.
 * @param {Kept[]} kept @returns {Kept[]}
 */
function sendable(kept) {
  const batch = [];
  for (const event of kept.filter((e) => e.state === "waiting").slice(0, batchSize)) {
    if (isHeldBack(event)) break;
    const { lock_of: of, ...payload } = event.payload;
    const putOn = of && kept.find((e) => e.id === of);
    if (putOn?.state === "waiting") break;
    const lock = putOn?.answer?.result?.lock ?? payload.lock ?? 0;
    batch.push(of ? { ...event, payload: { ...payload, lock } } : event);
  }
  return batch;
}

/** @param {Kept[]} batch @param {Response} reply @param {string} token @returns {Promise<boolean>} */
async function unanswered(batch, reply, token) {
  if (reply.status === 401) {
    await losePairing(token);
    return false;
  }
  const isUnreadable = [400, 413, 422].includes(reply.status);
  if (isUnreadable && batch.length > 1) { batchSize = 1; return true; }
  if (isUnreadable) return refuse(batch[0], await reply.json());
  failed(retryAfter(reply));
  return false;
}

/** The one event that cannot be read stays, refused, to be seen; its number was not used. @param {Kept} event @param {any} problem */
async function refuse(event, problem) {
  const answer = { id: event.id, state: "refused", code: problem.code, detail: problem.detail, expected_seq: null, result: null, version: null };
  await changeEvents(new Map([[event.id, { state: /** @type {const} */ ("refused"), answer }]]));
  await renumber(event.seq);
  return true;
}

/**
 * Writes the answers down. Where the server counts otherwise than this phone (it stands at an older
 * state, or the phone lost a write), what waits is numbered as the server expects it.
 * @param {{answers: Answer[], epoch: string}} reply @param {string | null} before the farm's epoch when they were sent
 * @returns {Promise<boolean>}
 */
async function settle({ answers, epoch }, before) {
  answered();
  batchSize = BATCH;
  /** @type {Map<string, Partial<Kept>>} */
  const changes = new Map();
  /** @type {number | null} */
  let expected = null;
  for (const answer of answers) {
    if (answer.state === "gap" || answer.code === "seq_used") expected ??= answer.expected_seq;
    else changes.set(answer.id, { state: answer.state, answer: { ...answer, epoch } });
  }
  const doCount = await settleEvents(changes, epoch, before);
  await setFact("heard_at", stamp());
  if (!doCount || expected === null) return !doCount || changes.size > 0;
  const first = (await allEvents()).find((e) => e.state === "waiting");
  const isOff = first !== undefined && first.seq !== expected;
  if (isOff) await renumber(expected);
  return isOff || changes.size > 0;
}
