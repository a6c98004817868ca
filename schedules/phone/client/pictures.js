// @ts-check
// What a job's place looked like last: carried small, so that it is seen without signal too.

import { transact } from "./disk.js";
import { shrunk } from "./files.js";
import { alone, ask } from "./net.js";
import { bytesOf, getFacts } from "./store.js";

const MOST = 40;  // pictures of 30 kB: 1.2 MB on the phone
const MOST_BYTES = 30_000;
const SIDES_PX = [480, 320];

/** Kept beside the photos made here, under names of their own. @param {string} id */
const nameOf = (id) => `small-${id}`;

/** @param {string} id @returns {Promise<ArrayBuffer | undefined>} */
export const smallOf = (id) => bytesOf(nameOf(id));

let carried = "";

/**
 * Fetches the pictures that jobs name and are not here yet, and lets go of those that none names any more.
 * Where there is no answer, the next pull goes on.
 * @param {string[]} named the most urgent first
 */
export async function carryPictures(named) {
  const ids = [...new Set(named)].slice(0, MOST);
  if (ids.join() === carried) return;
  await alone("pictures", async () => {
    const kept = await keepOnly(ids.map(nameOf));
    for (const id of ids) if (!kept.includes(nameOf(id)) && !(await carry(id))) return;
    carried = ids.join();
  });
}

/** @param {string[]} names @returns {Promise<string[]>} those that are here */
function keepOnly(names) {
  return transact(["bytes"], "readwrite", (tx, give) => {
    const asking = tx.objectStore("bytes").getAllKeys(IDBKeyRange.bound("small-", "small-~"));
    asking.onsuccess = () => {
      const [here, gone] = [true, false].map((is) => asking.result.map(String).filter((name) => names.includes(name) === is));
      for (const name of gone) tx.objectStore("bytes").delete(name);
      give(here);
    };
  });
}

/** @param {string} id @returns {Promise<boolean>} whether the farm answered; what it has no more, or nothing can read, is done with */
async function carry(id) {
  const [site, token] = await getFacts(["site", "token"]);
  const reply = await ask(`/api/v1/sites/${site}/attachments/${id}/`, { token, headers: { Accept: "image/jpeg" } }).catch(() => null);
  if (!reply || reply.status >= 500 || reply.status === 429 || reply.status === 401) return false;
  const small = reply.ok && (await shrunk(await reply.blob(), SIDES_PX, MOST_BYTES).catch(() => null));
  if (!small || small.size > MOST_BYTES) return true;
  const bytes = await small.arrayBuffer();
  await transact(["bytes"], "readwrite", (tx) => { tx.objectStore("bytes").put(bytes, nameOf(id)); });
  return true;
}
