// @ts-check
// The phone's storage: its places, and work on them in one transaction.
// Something counts as saved only when its transaction has completed (strict durability).

const NAME = "penround";
/** What trying again cannot mend. */
const LASTING = ["QuotaExceededError", "ConstraintError", "DataError", "DataCloneError", "VersionError"];
/** @type {Promise<IDBDatabase> | null} */
let opening = null;

/** @returns {Promise<IDBDatabase>} */
function open() {
  opening ??= new Promise((resolve, reject) => {
    const asking = indexedDB.open(NAME, 2);
    asking.onupgradeneeded = (event) => upgrade(asking.result, /** @type {IDBTransaction} */ (asking.transaction), event.oldVersion);
    asking.onsuccess = () => {
      const db = asking.result;
      db.onclose = () => { opening = null; };
      db.onversionchange = () => { opening = null; db.close(); };
      resolve(db);
    };
    asking.onerror = () => { opening = null; reject(asking.error); };
  });
  return opening;
}

/**
 * Version 2: events have a place of their own in the order they were said (`n`), whatever number
 * they are sent under; documents and files are kept. What waited in version 1 goes on waiting.
 * @param {IDBDatabase} db @param {IDBTransaction} tx @param {number} from
 */
function upgrade(db, tx, from) {
  if (from < 1) db.createObjectStore("facts");
  const events = db.createObjectStore("events", { keyPath: "n", autoIncrement: true });
  db.createObjectStore("documents", { keyPath: ["scope", "kind", "key"] });
  db.createObjectStore("files", { keyPath: "id" });
  db.createObjectStore("bytes");
  if (from !== 1) return;
  const asking = tx.objectStore("outbox").getAll();
  asking.onsuccess = () => {
    for (const event of asking.result) events.put({ ...event, n: event.seq });
    db.deleteObjectStore("outbox");
  };
}

/**
 * Does the work in one transaction; where the connection fails, opens it anew and tries once more.
 * @template T
 * @param {string[]} stores @param {IDBTransactionMode} mode
 * @param {(tx: IDBTransaction, give: (value: T) => void) => void} work may run twice: it only writes in `tx`
 * @returns {Promise<T>}
 */
export async function transact(stores, mode, work) {
  try {
    return await attempt(stores, mode, work);
  } catch (error) {
    if (error instanceof Fault || LASTING.includes(/** @type {any} */ (error)?.name)) throw error;
    opening?.then((db) => db.close(), () => {});
    opening = null;
    return attempt(stores, mode, work);
  }
}

/** A fault of the work itself, which trying again repeats. */
export class Fault extends Error {}

/**
 * @template T
 * @param {string[]} stores @param {IDBTransactionMode} mode
 * @param {(tx: IDBTransaction, give: (value: T) => void) => void} work
 * @returns {Promise<T>}
 */
async function attempt(stores, mode, work) {
  const db = await open();
  return new Promise((resolve, reject) => {
    const tx = db.transaction(stores, mode, { durability: "strict" });
    /** @type {any} */
    let result;
    tx.oncomplete = () => resolve(result);
    tx.onabort = () => reject(tx.error ?? new DOMException("The transaction was cut.", "AbortError"));
    work(tx, (value) => { result = value; });
  });
}
