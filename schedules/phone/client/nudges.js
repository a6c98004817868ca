// @ts-check
// Nudges of this phone (W3C Push API; RFC 8030, 8291, 8292): that there is something to see, and nothing
// of what. Off until its person asks by a tap; all that they are about shows by itself without them.

import { ask } from "./net.js";
import { getFact, getFacts, setFact } from "./store.js";

/** @param {string} method @param {any} [body] @returns {Promise<Response | null>} null: no answer */
async function call(method, body) {
  const [site, token] = await getFacts(["site", "token"]);
  const headers = /** @type {Record<string, string>} */ (body ? { "Content-Type": "application/json" } : {});
  return ask(`/api/v1/sites/${site}/nudges/`, { method, token, headers, body: body && JSON.stringify(body) }).catch(() => null);
}

/** Why this phone cannot be nudged, as a key of the words; empty where it can. */
function whyNot() {
  if (!isSecureContext) return "insecure";
  const isHere = "serviceWorker" in navigator && "PushManager" in window && "Notification" in window;
  const isIphonePage = /** @type {any} */ (navigator).standalone === false;  // there only pages of the home screen may
  if (!isHere) return isIphonePage ? "nudge_iphone" : "nudge_cannot";
  return Notification.permission === "denied" ? "nudge_denied" : "";
}

const pushes = async () => (await navigator.serviceWorker.getRegistration("/phone/"))?.pushManager;

/** Takes this phone's address away from its push service, also without signal: the farm hears from there that it is gone. */
export async function leave() {
  if (!whyNot()) await (await (await pushes())?.getSubscription())?.unsubscribe();
}

/** Whether this phone is nudged; where the farm does not answer, as it stands here. @returns {Promise<boolean>} */
export async function isNudged() {
  if (whyNot() || !(await (await pushes())?.getSubscription())) return false;
  const reply = await call("GET");
  return reply?.ok ? (await reply.json()).is_subscribed : true;
}

/**
 * Asks the person's leave, and then for nudges. Only upon a tap.
 * @returns {Promise<string>} why not, as a key of the words or in the farm's own; empty where it is done
 */
export async function nudge() {
  const cannot = whyNot();
  if (cannot) return cannot;
  if ((await Notification.requestPermission()) !== "granted") return "nudge_denied";
  const told = await call("GET");
  const at = await pushes();
  if (!told?.ok || !at) return "no_answer";
  const { public_key } = await told.json();
  if (!public_key) return "nudge_off";
  await leave();
  const made = await at.subscribe({ userVisibleOnly: true, applicationServerKey: public_key }).catch(() => null);
  const reply = made && (await tellAddress(made));
  if (reply?.ok) return "";
  await leave();
  return reply ? (await reply.json().catch(() => ({}))).detail ?? "no_answer" : "no_answer";
}

/** Where nudges of this phone go from now on. @param {PushSubscription} made @returns {Promise<Response | null>} null: no answer */
async function tellAddress(made) {
  const reply = await call("PUT", made.toJSON());
  if (reply?.ok) await setFact("nudged_to", made.endpoint);
  return reply;
}

/** Tells the farm of an address that it has not heard of: the push service gave another one, and there was no signal. */
export async function keepAddress() {
  const made = whyNot() ? null : await (await pushes())?.getSubscription();
  const [token, known] = [await getFact("token"), await getFact("nudged_to")];
  if (made && token && made.endpoint !== known) await tellAddress(made);
}

/** Nudges this phone no more: neither its push service nor the farm. */
export async function nudgeNoMore() {
  await leave();
  await call("DELETE");
}

/** Keeps what a nudge says, for when no page is open. @param {string} title @param {string} lang */
export async function keepNote(title, lang) {
  const kept = await caches.open("nudge");
  await kept.put("/phone/nudge", new Response(JSON.stringify({ title, lang })));
}
