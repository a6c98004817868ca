// @ts-check
// Served at /phone/sw.js with VERSION and FILES before it: every address of the program and the
// SHA-256 of what it must hold. Either all of them are kept, each as it was meant, or none.

/** @type {any} */
const worker = self;
/* global VERSION, FILES */
const KEPT = `program-${VERSION}`;

/** @param {string} address @param {string} digest @returns {Promise<[string, Response]>} */
async function fetched(address, digest) {
  const reply = await fetch(address, { cache: "no-store" });
  const bytes = await reply.clone().arrayBuffer();
  const hash = new Uint8Array(await crypto.subtle.digest("SHA-256", bytes));
  const found = [...hash].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  if (!reply.ok || found !== digest) throw new Error(`${address} is not of version ${VERSION}.`);
  return [address, reply];
}

async function install() {
  const replies = await Promise.all(Object.entries(FILES).map(([address, digest]) => fetched(address, digest)));
  const kept = await caches.open(KEPT);
  await Promise.all(replies.map(([address, reply]) => kept.put(address, reply)));
}

async function activate() {
  const names = await caches.keys();
  await Promise.all(names.filter((name) => name.startsWith("program-") && name !== KEPT).map((name) => caches.delete(name)));
  await worker.clients.claim();
}

/** @param {Request} request @param {string} address */
async function answer(request, address) {
  const kept = await caches.open(KEPT);
  return (await kept.match(address)) ?? fetch(request);
}

// Nudges: one note that replaces the one before, and says nothing of what there is to see.

const UNKNOWN = { title: "Something is new in your work / Hay algo nuevo en su trabajo", lang: "en" };

/** The phone's pages that are open. @returns {Promise<any[]>} */
async function pages() {
  const open = await worker.clients.matchAll({ type: "window", includeUncontrolled: true });
  return open.filter((/** @type {any} */ page) => new URL(page.url).pathname.startsWith("/phone/"));
}

async function note() {
  const kept = await (await caches.open("nudge")).match("/phone/nudge");
  const { title, lang } = kept ? await kept.json() : UNKNOWN;
  await worker.registration.showNotification(title, { lang, tag: "see", icon: Object.keys(FILES).find((address) => address.endsWith("icon-180.png")) });
  for (const page of await pages()) page.postMessage("news");
}

async function openPage() {
  const [page] = await pages();
  await (page ? page.focus() : worker.clients.openWindow("/phone/"));
}

/** Which farm this phone belongs to, and by what token, as the page keeps it. @returns {Promise<{site?: string, token?: string}>} */
function pairing() {
  return new Promise((resolve, reject) => {
    const opening = indexedDB.open("penround");
    opening.onupgradeneeded = () => opening.transaction?.abort();  // nothing is kept yet
    opening.onerror = () => reject(opening.error);
    opening.onsuccess = () => {
      const tx = opening.result.transaction(["facts"]);
      const [site, token] = ["site", "token"].map((key) => tx.objectStore("facts").get(key));
      tx.oncomplete = () => { opening.result.close(); resolve({ site: site.result, token: token.result }); };
      tx.onabort = () => reject(tx.error);
    };
  });
}

/**
 * The push service has given this phone another address: the farm is told (W3C Push API, pushsubscriptionchange).
 * Where it does not hear of it, the page says it when it is open again.
 * @param {any} made the new subscription; none where the browser leaves it to us
 */
async function tellAddress(made) {
  const { site, token } = await pairing();
  if (!site || !token) return;
  const about = { headers: { Authorization: `Bearer ${token}`, "Content-Type": "application/json" } };
  const nudges = `/api/v1/sites/${site}/nudges/`;
  const key = made ? "" : (await (await fetch(nudges, about)).json()).public_key;
  const kept = made ?? (key && (await worker.registration.pushManager.subscribe({ userVisibleOnly: true, applicationServerKey: key })));
  if (kept) await fetch(nudges, { ...about, method: "PUT", body: JSON.stringify(kept.toJSON()) });
}

worker.addEventListener("pushsubscriptionchange", (/** @type {any} */ event) => event.waitUntil(tellAddress(event.newSubscription)));
worker.addEventListener("push", (/** @type {any} */ event) => event.waitUntil(note()));
worker.addEventListener("notificationclick", (/** @type {any} */ event) => {
  event.notification.close();
  event.waitUntil(openPage());
});

worker.addEventListener("install", (/** @type {any} */ event) => event.waitUntil(install()));
worker.addEventListener("activate", (/** @type {any} */ event) => event.waitUntil(activate()));
worker.addEventListener("message", (/** @type {any} */ event) => { if (event.data === "take") worker.skipWaiting(); });
worker.addEventListener("fetch", (/** @type {any} */ event) => {
  const { method, url } = event.request;
  const { origin, pathname } = new URL(url);
  if (method === "GET" && origin === worker.location.origin && pathname in FILES) event.respondWith(answer(event.request, pathname));
});
