// @ts-check
// What the phone keeps: who it is, the last parcel of work, and the outbox of events.
// An event counts as saved only when its transaction has completed (strict durability).

const NAME = "penround";
/** @type {Promise<IDBDatabase> | null} */
let opening = null;

/** @returns {Promise<IDBDatabase>} */
function open() {
  opening ??= new Promise((resolve, reject) => {
    const asking = indexedDB.open(NAME, 1);
    asking.onupgradeneeded = () => {
      asking.result.createObjectStore("facts");
      asking.result.createObjectStore("outbox", { keyPath: "seq" });
    };
    asking.onsuccess = () => {
      asking.result.onclose = () => { opening = null; };
      resolve(asking.result);
    };
    asking.onerror = () => { opening = null; reject(asking.error); };
  });
  return opening;
}

/**
 * @template T
 * @param {string[]} stores @param {IDBTransactionMode} mode
 * @param {(tx: IDBTransaction, give: (value: T) => void) => void} work
 * @returns {Promise<T>}
 */
async function transact(stores, mode, work) {
  const db = await open();
  return new Promise((resolve, reject) => {
    const tx = db.transaction(stores, mode, { durability: "strict" });
    /** @type {any} */
    let result;
    tx.oncomplete = () => resolve(result);
    tx.onerror = tx.onabort = () => reject(tx.error);
    work(tx, (value) => { result = value; });
  });
}

/** @param {string} key @returns {Promise<any>} */
export function getFact(key) {
  return transact(["facts"], "readonly", (tx, give) => {
    const asking = tx.objectStore("facts").get(key);
    asking.onsuccess = () => give(asking.result);
  });
}

/** @param {string} key @param {any} value @returns {Promise<void>} */
export function setFact(key, value) {
  return transact(["facts"], "readwrite", (tx) => { tx.objectStore("facts").put(value, key); });
}

/**
 * Adds an event with the next number of this phone's gapless sequence, in one transaction.
 * @param {string} kind @param {Record<string, any>} payload @returns {Promise<any>}
 */
export function addEvent(kind, payload) {
  return transact(["facts", "outbox"], "readwrite", (tx, give) => {
    const facts = tx.objectStore("facts");
    const asking = facts.get("last_seq");
    asking.onsuccess = () => {
      const seq = (asking.result ?? 0) + 1;
      const event = { seq, id: makeId(), kind, payload, client_at: new Date().toISOString(), schema_version: 1 };
      facts.put(seq, "last_seq");
      tx.objectStore("outbox").put({ ...event, state: "waiting" });
      give(event);
    };
  });
}

/** @returns {Promise<any[]>} all kept events, oldest first */
export function allEvents() {
  return transact(["outbox"], "readonly", (tx, give) => {
    const asking = tx.objectStore("outbox").getAll();
    asking.onsuccess = () => give(asking.result);
  });
}

/** @param {any[]} events @returns {Promise<void>} */
export function saveEvents(events) {
  return transact(["outbox"], "readwrite", (tx) => {
    for (const event of events) tx.objectStore("outbox").put(event);
  });
}

/** @param {number[]} seqs @returns {Promise<void>} */
export function dropEvents(seqs) {
  return transact(["outbox"], "readwrite", (tx) => {
    for (const seq of seqs) tx.objectStore("outbox").delete(seq);
  });
}

/**
 * Begins the sequence of a newly paired phone: what still waits is numbered again from 1, so that
 * nothing said before the pairing is lost. Ids stay, so nothing is taken twice.
 * @returns {Promise<void>}
 */
export function beginSequence() {
  return transact(["facts", "outbox"], "readwrite", (tx) => {
    const outbox = tx.objectStore("outbox");
    const asking = outbox.getAll();
    asking.onsuccess = () => {
      const waiting = asking.result.filter((e) => e.state === "waiting");
      outbox.clear();
      waiting.forEach((event, index) => outbox.put({ ...event, seq: index + 1 }));
      tx.objectStore("facts").put(waiting.length, "last_seq");
    };
  });
}

/** UUIDv7 (RFC 9562, section 5.7): time first, so that ids sort as they were made. */
export function makeId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  let ms = Date.now();
  for (let i = 5; i >= 0; i -= 1) { bytes[i] = ms % 256; ms = Math.floor(ms / 256); }
  bytes[6] = (bytes[6] & 0x0f) | 0x70;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((b) => b.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}
