// @ts-check
// Who speaks, on a phone that several people of a crew carry: a name is picked and a PIN typed, also
// without signal. A PIN guards against mixing people up, not against thieves: who holds the phone and
// its store can read what is on it.

import { now } from "./net.js";
import { getFact, setFact } from "./store.js";

/** @typedef {import("./view.js").Pin} Pin */

const IDLE_MS = 15 * 60_000;
const MAX_WRONG = 5;
const WAIT_MS = 60_000;
const ITERATIONS = 100_000;

/** @param {Uint8Array} bytes */
const toBase64 = (bytes) => btoa(String.fromCharCode(...bytes));
/** @param {string} text */
const fromBase64 = (text) => Uint8Array.from(atob(text), (c) => c.charCodeAt(0));

/** PBKDF2-SHA-256 (RFC 8018). @param {string} pin @param {Uint8Array<ArrayBuffer>} salt @param {number} iterations */
async function hashOf(pin, salt, iterations) {
  const key = await crypto.subtle.importKey("raw", new TextEncoder().encode(pin), "PBKDF2", false, ["deriveBits"]);
  return new Uint8Array(await crypto.subtle.deriveBits({ name: "PBKDF2", hash: "SHA-256", salt, iterations }, key, 256));
}

/** What is told of a PIN that a person chose. @param {string} pin four digits @returns {Promise<Pin>} */
export async function makePin(pin) {
  const salt = crypto.getRandomValues(new Uint8Array(16));
  return { salt: toBase64(salt), iterations: ITERATIONS, hash: toBase64(await hashOf(pin, salt, ITERATIONS)) };
}

/** @param {string} pin @param {Pin} kept @returns {Promise<boolean>} */
export async function matches(pin, kept) {
  const found = await hashOf(pin, fromBase64(kept.salt), kept.iterations);
  const wanted = fromBase64(kept.hash);
  return found.length === wanted.length && found.every((byte, i) => byte === wanted[i]);
}

/**
 * Tries a PIN; after five wrong ones the phone waits a minute, also through a reload.
 * @param {string} pin @param {Pin} kept @returns {Promise<{ok: boolean, wait_ms: number}>}
 */
export async function tryPin(pin, kept) {
  const tries = (await getFact("pin_tries")) ?? { n: 0, since: 0 };
  const waited_ms = Math.abs(now() - tries.since);
  if (tries.n >= MAX_WRONG && waited_ms < WAIT_MS) return { ok: false, wait_ms: WAIT_MS - waited_ms };
  const ok = await matches(pin, kept);
  const n = ok ? 0 : (tries.n >= MAX_WRONG ? 0 : tries.n) + 1;
  await setFact("pin_tries", { n, since: now() });
  return { ok, wait_ms: !ok && n >= MAX_WRONG ? WAIT_MS : 0 };
}

/** Who speaks now; nobody once the phone lay idle. @param {{worker: number, at: number} | null | undefined} person @returns {number | null} */
export function speaker(person) {
  return person && Math.abs(now() - person.at) < IDLE_MS ? person.worker : null;
}
