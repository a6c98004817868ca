// @ts-check
// The program's own files on the phone: a service worker keeps them, so that the page opens without
// signal. A newer program is taken only when nothing waits here to be sent.

/** @type {ServiceWorkerRegistration | null} */
let registration = null;
let isTaking = false;

export const hasUpdate = () => Boolean(registration?.waiting);

/** Lets the newer program take over; the page loads anew. @returns {boolean} whether there is one */
export function takeUpdate() {
  if (!registration?.waiting) return false;
  isTaking = true;
  registration.waiting.postMessage("take");
  return true;
}

/**
 * Keeps the program here and looks for a newer one. One that waits is taken where nobody looks.
 * @param {{mayTake: () => boolean, onChange: () => void, onNudge: () => void}} how
 */
export async function keepProgram({ mayTake, onChange, onNudge }) {
  if (!("serviceWorker" in navigator)) return;
  navigator.serviceWorker.addEventListener("controllerchange", () => { if (isTaking) location.reload(); });
  navigator.serviceWorker.addEventListener("message", onNudge);
  document.addEventListener("visibilitychange", () => {
    if (document.hidden && mayTake()) takeUpdate();
    else if (!document.hidden) registration?.update().catch(() => {});
  });
  try {
    registration = await navigator.serviceWorker.register("/phone/sw.js", { updateViaCache: "none" });
  } catch { return; /* no signal, or no room: the page works while it has signal */ }
  if (registration.waiting && mayTake()) { takeUpdate(); return; }
  registration.addEventListener("updatefound", () => {
    registration?.installing?.addEventListener("statechange", onChange);
  });
  onChange();
}
