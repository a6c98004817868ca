// @ts-check
// Photos and voice notes: made small, kept here, and sent by themselves after what was said.

import { alone, ask, makeId, now, patience, retryAfter } from "./net.js";
import { addFile, nextFile, settleFile } from "./store.js";

/** @typedef {import("./store.js").KeptFile} KeptFile */

const MOST_BYTES = 300_000;
const SIDES_PX = [1600, 1200, 900];
const QUALITIES = [0.82, 0.7, 0.55];
/** What sending again cannot mend. */
const LASTING = [400, 404, 409, 413, 415, 422];

/** @type {(() => void)[]} */
const listeners = [];
/** @param {() => void} does */
export function onFilesChange(does) { listeners.push(does); }
const tell = () => listeners.forEach((does) => does());

/** @param {Blob} blob @param {"photo" | "voice"} kind @returns {Promise<string>} its id, once it is saved */
export async function keep(blob, kind) {
  const small = kind === "photo" ? await shrunk(blob, SIDES_PX, MOST_BYTES) : blob;
  const type = small.type.split(";")[0];
  /** @type {KeptFile} */
  const file = { id: makeId(), kind, type, size: small.size, made_at: now(), state: "waiting" };
  await addFile(file, await small.arrayBuffer());
  tell();
  return file.id;
}

/**
 * A photo as JPEG that the farm's people can read and a weak signal can carry.
 * @param {Blob} photo @param {number[]} sides_px longest sides to try @param {number} most_bytes @returns {Promise<Blob>} the smallest where none is small enough
 */
export async function shrunk(photo, sides_px, most_bytes) {
  const picture = await createImageBitmap(photo, { imageOrientation: "from-image" });
  let small = photo;
  for (const side of sides_px) {
    for (const quality of QUALITIES) {
      small = await drawn(picture, side, quality);
      if (small.size <= most_bytes) { picture.close(); return small; }
    }
  }
  picture.close();
  return small;
}

/** @param {ImageBitmap} picture @param {number} side longest side at most, in px @param {number} quality @returns {Promise<Blob>} */
function drawn(picture, side, quality) {
  const scale = Math.min(1, side / Math.max(picture.width, picture.height));
  const canvas = document.createElement("canvas");
  canvas.width = Math.max(1, Math.round(picture.width * scale));
  canvas.height = Math.max(1, Math.round(picture.height * scale));
  canvas.getContext("2d")?.drawImage(picture, 0, 0, canvas.width, canvas.height);
  return new Promise((resolve, reject) => canvas.toBlob((blob) => (blob ? resolve(blob) : reject(new Error("The photo cannot be drawn."))), "image/jpeg", quality));
}

// Sending ----------------------------------------------------------------------------------------------

const { mayTry, stop, answered, failed } = patience(drainFiles);

/** Sends what waits, oldest first, until all is sent or the farm does not answer. @param {{at_once?: boolean}} [how] */
export async function drainFiles({ at_once = false } = {}) {
  if (at_once) stop();
  if (!mayTry()) return;
  await alone("files", async () => {
    while (await sendNext()) tell();
  });
}

/** @returns {Promise<boolean>} whether something came of one, so that going on makes sense */
async function sendNext() {
  const { file, bytes, facts = {} } = (await nextFile()) ?? {};
  const { site, token, epoch } = facts;
  if (!file || !site || !token) return false;
  const headers = { "Content-Type": file.type };
  const reply = await ask(`/api/v1/sites/${site}/attachments/${file.id}/`, { method: "PUT", token, headers, body: bytes }).catch(() => null);
  if (reply?.ok) {
    answered();
    return settleFile(file.id, { state: "sent" }, epoch);
  }
  if (reply && LASTING.includes(reply.status)) {
    const problem = await reply.json().catch(() => ({}));
    return settleFile(file.id, { state: "refused", detail: problem.detail ?? "" }, epoch);
  }
  failed(reply ? retryAfter(reply) : 0);
  return false;
}
