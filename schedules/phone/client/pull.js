// @ts-check
// Fetches what the farm has new for this phone, and keeps it in one step with where it stands.

import { alone, ask, jitter, now, retryAfter, stamp } from "./net.js";
import { getFact, getFacts, losePairing, setFacts, takePulled, unsureIds } from "./store.js";

const WAIT_S = 25;  // the farm answers at once when there is news
const TOKEN_MS = 7 * 24 * 3600 * 1000;
const BETWEEN_MS = { shown: 500, hidden: 20_000, most: 60_000 };

/** @type {(() => void)[]} */
const listeners = [];
/** @param {() => void} does */
export function onPulled(does) { listeners.push(does); }

/**
 * Asks once; another page of this phone that asks already asks for this one too.
 * @param {number} [wait_s] how long the farm may wait for news
 * @returns {Promise<number | null>} how long the farm wants to be left alone, in ms; null: no answer
 */
export async function pull(wait_s = 0) {
  /** @type {number | null} */
  let asked_ms = null;
  try {
    const [site, token, cursor, epoch] = await getFacts(["site", "token", "cursor", "epoch"]);
    if (!site || !token) return null;
    await alone("pull", async () => { asked_ms = await pullSince({ site, token, cursor: cursor ?? "", epoch: epoch ?? null }, wait_s); });
  } catch { return null; /* no signal, or the storage failed: what was pulled last stands */ }
  listeners.forEach((does) => does());
  return asked_ms;
}

/** @param {{site: string, token: string, cursor: string, epoch: string | null}} at where the phone stands @param {number} wait_s */
async function pullSince({ site, token, cursor, epoch }, wait_s) {
  const unsure = await unsureIds();
  if (unsure) wait_s = 0;
  const query = new URLSearchParams({ cursor, wait_s: String(wait_s), ...(unsure && { unsure: unsure.join(",") }) });
  const reply = await ask(`/api/v1/sites/${site}/pull/?${query}`, { token, wait_ms: wait_s * 1000 });
  if (reply.status === 401) await losePairing(token);
  if (!reply.ok) return retryAfter(reply) || null;
  /** @type {import("./view.js").Pulled} */
  const pulled = await reply.json();
  if ((await getFact("token")) !== token) return null;
  const facts = /** @type {Record<string, any>} */ ({ heard_at: stamp(), offset_ms: Date.parse(pulled.now) - now() });
  if (pulled.worker !== null) facts.worker_id = pulled.worker;
  await takePulled(pulled, facts, epoch, unsure !== null);
  await renew(site, token).catch(() => {});
  return retryAfter(reply);
}

/** Now and then the phone gets a new token; the old one is good until the new one is first used. @param {string} site @param {string} token */
async function renew(site, token) {
  const had_ms = Math.abs(now() - ((await getFact("token_at")) ?? 0));
  if (had_ms < TOKEN_MS) return;
  const reply = await ask(`/api/v1/sites/${site}/phone/token/`, { method: "POST", token });
  if (reply.ok) await setFacts({ token: (await reply.json()).token, token_at: now() });
}

/** Asks again and again for as long as the page lives; on the way back to the front, at once. */
export async function keepPulling() {
  let nFailed = 0;
  for (;;) {
    const asked_ms = await pull(document.hidden ? 0 : WAIT_S);
    nFailed = asked_ms === null ? nFailed + 1 : 0;
    const failed_ms = nFailed && jitter(0, Math.min(BETWEEN_MS.most, 2_000 * 2 ** nFailed));
    const wait_ms = (document.hidden ? BETWEEN_MS.hidden : BETWEEN_MS.shown) + failed_ms + (asked_ms ?? 0);
    await rest(wait_ms);
  }
}

/** Waits, or less where the page comes to the front or the signal is back. @param {number} ms @returns {Promise<void>} */
function rest(ms) {
  return new Promise((resolve) => {
    const stop = () => {
      if (document.hidden && left) return;
      clearTimeout(left);
      document.removeEventListener("visibilitychange", stop);
      removeEventListener("online", stop);
      resolve();
    };
    let left = setTimeout(() => { left = 0; stop(); }, ms);
    document.addEventListener("visibilitychange", stop);
    addEventListener("online", stop);
  });
}
