// @ts-check
// The world outside: the one place that asks the server, reads the clock, waits and throws dice.

export const TIMEOUT_MS = 15_000;

/** The phone's own clock, in ms. It may be wrong: it is evidence, never an order. */
export const now = () => Date.now();

/** @param {number} [at] in ms @returns {string} RFC 3339, UTC */
export const stamp = (at = now()) => new Date(at).toISOString();

/** @param {number} least in ms @param {number} most in ms: evenly between both */
export const jitter = (least, most) => least + Math.random() * (most - least);

/**
 * Asks the server; throws where there is no signal or no answer in time.
 * @param {string} path @param {RequestInit & {token?: string, wait_ms?: number}} [init]
 * @returns {Promise<Response>}
 */
export function ask(path, { token, wait_ms = 0, ...init } = {}) {
  const headers = /** @type {Record<string, string>} */ ({ Accept: "application/json", ...init.headers });
  if (token) headers.Authorization = `Bearer ${token}`;
  return fetch(path, { ...init, headers, cache: "no-store", signal: AbortSignal.timeout(TIMEOUT_MS + wait_ms) });
}

/** How long the server asked to be left alone, in ms; 0 where it did not say. @param {Response} reply */
export function retryAfter(reply) {
  const said = Number(reply.headers.get("Retry-After"));
  return said > 0 ? said * 1000 : 0;
}

const BACK_OFF_MS = { first: 2_000, most: 60_000 };
const ASKED_MOST_MS = 600_000;
/** A timer may ring a moment early, by a clock that is set right. */
export const LATE_MS = 200;

/**
 * When to try again after no answer: with full jitter, and at least for as long as the farm asked. One
 * timer comes back then. A clock that is set, forth or back, keeps the phone silent for no longer.
 * @param {() => Promise<void>} again
 */
export function patience(again) {
  let nFailed = 0;
  let asked_at = 0;
  let wait_ms = 0;
  let timer = 0;
  const stop = () => { wait_ms = 0; clearTimeout(timer); };
  return {
    mayTry: () => now() < asked_at || now() >= asked_at + wait_ms,
    stop,
    answered() { nFailed = 0; stop(); },
    /** @param {number} asked_ms how long the farm asked to be left alone */
    failed(asked_ms) {
      stop();
      asked_at = now();
      wait_ms = Math.min(ASKED_MOST_MS, asked_ms + jitter(0, Math.min(BACK_OFF_MS.most, BACK_OFF_MS.first * 2 ** nFailed)));
      nFailed += 1;
      timer = setTimeout(() => { again().catch(() => {}); }, wait_ms + LATE_MS);
    },
  };
}

/**
 * Does the work if no other page of this phone does it now.
 * @param {string} name @param {() => Promise<void>} work @returns {Promise<void>}
 */
export async function alone(name, work) {
  await navigator.locks.request(name, { ifAvailable: true }, (lock) => (lock ? work() : undefined));
}

/** UUIDv7 (RFC 9562, section 5.7): time first, so that ids sort as they were made. */
export function makeId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  let ms = now();
  for (let i = 5; i >= 0; i -= 1) { bytes[i] = ms % 256; ms = Math.floor(ms / 256); }
  bytes[6] = (bytes[6] & 0x0f) | 0x70;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((b) => b.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}
