// @ts-check
// What the phone keeps: facts, the events said here, the documents pulled, photos and voice notes.
// Each function is one transaction.

import { transact } from "./disk.js";
import { makeId, stamp } from "./net.js";

/** @typedef {import("./view.js").Doc} Doc */
/** @typedef {import("./view.js").Told} Told */
/** @typedef {import("./view.js").Kept} Kept */

/** @param {string} key @returns {Promise<any>} */
export function getFact(key) {
  return transact(["facts"], "readonly", (tx, give) => {
    const asking = tx.objectStore("facts").get(key);
    asking.onsuccess = () => give(asking.result);
  });
}

/** @param {string[]} keys @returns {Promise<any[]>} as they stood at one moment */
export function getFacts(keys) {
  return transact(["facts"], "readonly", (tx, give) => readFacts(tx, (facts) => give(keys.map((key) => facts[key]))));
}

/** @param {string} key @param {any} value @returns {Promise<void>} */
export function setFact(key, value) {
  return setFacts({ [key]: value });
}

/** @param {Record<string, any>} facts @returns {Promise<void>} */
export function setFacts(facts) {
  return transact(["facts"], "readwrite", (tx) => putFacts(tx, facts));
}

/** @param {IDBTransaction} tx @param {Record<string, any>} facts */
function putFacts(tx, facts) {
  for (const [key, value] of Object.entries(facts)) tx.objectStore("facts").put(value, key);
}

/**
 * All that the screens are drawn from, as it stood at one moment.
 * @returns {Promise<{facts: Record<string, any>, documents: Doc[], events: Kept[], files: KeptFile[]}>}
 */
export function readAll() {
  return transact(["facts", "documents", "events", "files"], "readonly", (tx, give) => {
    const found = { facts: /** @type {Record<string, any>} */ ({}), documents: [], events: [], files: [] };
    give(found);
    readFacts(tx, (facts) => { found.facts = facts; });
    for (const store of /** @type {const} */ (["documents", "events", "files"])) {
      const asking = tx.objectStore(store).getAll();
      asking.onsuccess = () => { found[store] = /** @type {any} */ (asking.result); };
    }
  });
}

/** @param {IDBTransaction} tx @param {(facts: Record<string, any>) => void} give */
function readFacts(tx, give) {
  /** @type {Record<string, any>} */
  const facts = {};
  const asking = tx.objectStore("facts").openCursor();
  asking.onsuccess = () => {
    const cursor = asking.result;
    if (!cursor) { give(facts); return; }
    facts[String(cursor.key)] = cursor.value;
    cursor.continue();
  };
}

// Events -------------------------------------------------------------------------------------------

/** @typedef {{kind: string, payload: Record<string, any>, back?: import("./view.js").Back | null}} Word what is said; `back`, of what takes a word back: what that comes to */

/**
 * Adds events with the next numbers of this phone's gapless sequence, in one transaction.
 * @param {Word[]} words
 * @param {number | null} worker who says it, on a phone of several people
 * @param {{not_before?: number, doesRelease?: boolean}} [how] `not_before`: until when they can be taken back and are not sent, in ms;
 *   `doesRelease`: nothing said before can be taken back any more
 * @returns {Promise<Told[]>}
 */
export function addEvents(words, worker, { not_before, doesRelease = false } = {}) {
  return transact(["facts", "events", "files"], "readwrite", (tx, give) => {
    if (doesRelease) releaseIn(tx);
    changeFiles(tx, words.flatMap(({ payload }) => filesOf(payload)), "unsaid", { state: "waiting" });
    const facts = tx.objectStore("facts");
    const asking = facts.get("last_seq");
    asking.onsuccess = () => {
      const last = asking.result ?? 0;
      /** @type {Told[]} */
      const events = words.map(({ kind, payload }, index) => ({ seq: last + index + 1, id: makeId(), kind, payload, client_at: stamp(), schema_version: 1, ...(worker !== null && { worker }) }));
      events.forEach((event, index) => tx.objectStore("events").put({ ...event, state: "waiting", back: words[index].back ?? null, ...(not_before && { not_before }) }));
      facts.put(last + words.length, "last_seq");
      give(events);
    };
  });
}

/** From now on nothing said until now can be taken back, and it waits for nothing. @returns {Promise<void>} */
export function releaseHeld() {
  return transact(["events"], "readwrite", releaseIn);
}

/** @param {IDBTransaction} tx */
function releaseIn(tx) {
  eachEvent(tx, ({ not_before, ...event }, put) => { if (not_before) put(event); });
}

/**
 * Chooses what is sent now; from then on it cannot be taken back. One transaction, so that an event is
 * either sent or taken back.
 * @param {(kept: Kept[]) => Kept[]} choose from all, in the order they were said @returns {Promise<Kept[]>}
 */
export function takeBatch(choose) {
  return transact(["events"], "readwrite", (tx, give) => {
    const asking = tx.objectStore("events").getAll();
    asking.onsuccess = () => {
      const batch = choose(asking.result);
      const begun = new Set(batch.map((event) => event.id));
      for (const { not_before, ...event } of asking.result) if (not_before && begun.has(event.id)) tx.objectStore("events").put(event);
      give(batch);
    };
  });
}

/**
 * Takes back what was said, all of it or nothing: only while none of it has begun to be sent. What was
 * said after it waited for it, so its numbers were never used. Photos and voice notes that it alone
 * named, and that still wait, are sent no more, unless something names them again.
 * @param {string[]} ids @returns {Promise<boolean>} whether it is taken back
 */
export function takeBack(ids) {
  return transact(["facts", "events", "files"], "readwrite", (tx, give) => {
    const asking = tx.objectStore("events").getAll();
    asking.onsuccess = () => {
      const waiting = asking.result.filter((event) => event.state === "waiting");
      const gone = waiting.filter((event) => event.not_before && ids.includes(event.id));
      give(gone.length === ids.length);
      if (gone.length !== ids.length) return;
      for (const event of gone) tx.objectStore("events").delete(event.n);
      renumberIn(tx, waiting[0].seq);
      const named = new Set(asking.result.filter((event) => !gone.includes(event)).flatMap((event) => filesOf(event.payload)));
      changeFiles(tx, gone.flatMap((event) => filesOf(event.payload)).filter((id) => !named.has(id)), "waiting", { state: "unsaid" });
    };
  });
}

/** @returns {Promise<Kept[]>} all kept events, in the order they were said */
export function allEvents() {
  return transact(["events"], "readonly", (tx, give) => {
    const asking = tx.objectStore("events").getAll();
    asking.onsuccess = () => give(asking.result);
  });
}

/**
 * Changes kept events by their ids; an event that is not there any more stays away.
 * @param {Map<string, Partial<Kept>>} changes @returns {Promise<void>}
 */
export function changeEvents(changes) {
  return transact(["events"], "readwrite", (tx) => {
    eachEvent(tx, (event, put) => {
      const change = changes.get(event.id);
      if (change) put({ ...event, ...change });
    });
  });
}

/**
 * Writes down what came of events. A farm that came back from a backup (`epoch` is another one) may not
 * know what it knew: then all that is kept here goes out again, in its order, and no answer counts.
 * @param {Map<string, Partial<Kept>>} changes @param {string} epoch whose answers they are
 * @param {string | null} before the farm's epoch when they were sent
 * @returns {Promise<boolean>} whether they count
 */
export function settleEvents(changes, epoch, before) {
  return transact(["facts", "events", "files"], "readwrite", (tx, give) => {
    give(false);
    isAnswerOf(tx, epoch, before, () => {
      give(true);
      eachEvent(tx, (event, put) => {
        const change = changes.get(event.id);
        if (change) put({ ...event, ...change });
      });
    });
  });
}

/**
 * Goes on if the farm that answered is the one that was asked; else all that is kept here goes out again,
 * and the next pull asks what the farm holds of it.
 * @param {IDBTransaction} tx @param {string} epoch @param {string | null} before @param {() => void} goOn
 */
function isAnswerOf(tx, epoch, before, goOn) {
  readFacts(tx, (facts) => {
    const known = facts.epoch ?? null;
    if (known !== before) return;  // an answer from before a restore that is known by now
    if (known === null || known === epoch) { goOn(); return; }
    sayAgain(tx, facts);
    putFacts(tx, { epoch, is_unsure: true });
  });
}

/** @param {IDBTransaction} tx @param {(event: Kept, put: (event: Kept | null) => void) => void} does @param {() => void} [then] once all are done */
function eachEvent(tx, does, then = () => {}) {
  const asking = tx.objectStore("events").openCursor();
  asking.onsuccess = () => {
    const cursor = asking.result;
    if (!cursor) { then(); return; }
    does(cursor.value, (event) => { if (event) cursor.update(event); else cursor.delete(); });
    cursor.continue();
  };
}

/**
 * Numbers what waits anew from `first`, in the order it was said: after a pairing, or where the
 * server counts otherwise (an older state of it was restored). Ids stay, so nothing is taken twice.
 * @param {number} first @returns {Promise<void>}
 */
export function renumber(first) {
  return transact(["facts", "events"], "readwrite", (tx) => renumberIn(tx, first));
}

/** @param {IDBTransaction} tx @param {number} first */
function renumberIn(tx, first) {
  readFacts(tx, ({ taken_seq }) => {
    const taken = taken_seq ?? 0;
    const asking = tx.objectStore("events").getAll();
    asking.onsuccess = () => {
      const waiting = asking.result.filter((e) => e.state === "waiting");
      waiting.forEach((event, index) => tx.objectStore("events").put({ ...event, seq: first + index, held: event.held || event.seq <= taken }));
      putFacts(tx, { last_seq: first + waiting.length - 1, taken_seq: Math.min(taken, first - 1) });
    };
  });
}

/**
 * Begins a newly paired phone in one step: who it is, and what still waits, numbered from 1. What
 * another person's phone had said is that person's: where it was sent it does not go out again, and
 * where it waits it goes out in that person's name. Nothing goes to another farm. Documents of the
 * same person's stay until the next pull.
 * @param {Record<string, any>} facts @returns {Promise<void>}
 */
export function beginPaired(facts) {
  return transact(["facts", "events", "documents", "files", "bytes"], "readwrite", (tx) => {
    readFacts(tx, (former) => {
      const isElsewhere = (former.site ?? facts.site) !== facts.site;
      const isOther = isElsewhere || former.worker_id !== facts.worker_id || former.crew_id !== facts.crew_id;
      if (isElsewhere) keepFilesHere(tx);
      const goOn = () => { putFacts(tx, { ...facts, pair_again: false, is_unsure: true }); renumberIn(tx, 1); };
      if (isOther) {
        putFacts(tx, { cursor: null, version: 0, documents_of: null, person: null, taken_seq: 0 });
        tx.objectStore("documents").clear();
        eachEvent(tx, (event, put) => put(leftBehind(event, former, isElsewhere)), goOn);
      } else if (former.epoch && former.epoch !== facts.epoch) {
        sayAgain(tx, former, goOn);
      } else {
        goOn();
      }
    });
  });
}

/** Why something stays here for good: it was for the farm of before. */
export const OTHER_FARM = "other_farm";

/**
 * What stays of an event where the phone becomes another's.
 * @param {Kept} event @param {Record<string, any>} former @param {boolean} isElsewhere @returns {Kept | null}
 */
function leftBehind(event, former, isElsewhere) {
  const isUnread = event.answer?.code === OTHER_FARM && !event.seen;
  if (event.state !== "waiting") return isUnread ? event : null;
  const worker = event.worker ?? former.worker_id;
  const { not_before, ...said } = worker ? { ...event, worker } : event;
  if (!isElsewhere) return said;
  return { ...said, state: "refused", answer: { id: event.id, state: "refused", code: OTHER_FARM, detail: "", expected_seq: null, result: null, version: null } };
}

/** Photos and voice notes of a farm never go to another one. @param {IDBTransaction} tx */
function keepFilesHere(tx) {
  const asking = tx.objectStore("files").openCursor();
  asking.onsuccess = () => {
    const cursor = asking.result;
    if (!cursor) return;
    if (cursor.value.state === "waiting") cursor.update({ ...cursor.value, state: "refused", code: OTHER_FARM });
    if (cursor.value.state === "sent" || cursor.value.state === "unsaid") dropFileIn(tx, cursor.value.id);
    cursor.continue();
  };
}

/** The farm knows this token no more: the phone must be paired again, unless it has another by now. @param {string} token @returns {Promise<void>} */
export function losePairing(token) {
  return transact(["facts"], "readwrite", (tx) => {
    const asking = tx.objectStore("facts").get("token");
    asking.onsuccess = () => { if (asking.result === token) putFacts(tx, { token: null, pair_again: true }); };
  });
}

// What was pulled ----------------------------------------------------------------------------------

const KEPT_MOST = 2000;
const MOST_UNSURE = 100;  // what a pull may ask about
const SHOWN_SENT = 20;

/**
 * What waits and may be at the farm already, the oldest first: where this phone was paired anew, or the farm
 * came back from a backup, their numbers do not say it. Null: they do.
 * @returns {Promise<string[] | null>} ids
 */
export function unsureIds() {
  return transact(["facts", "events"], "readonly", (tx, give) => {
    give(null);
    readFacts(tx, ({ is_unsure }) => {
      if (!is_unsure) return;
      const asking = tx.objectStore("events").getAll();
      asking.onsuccess = () => give(asking.result.filter((event) => event.state === "waiting").slice(0, MOST_UNSURE).map((event) => event.id));
    });
  });
}

/**
 * Takes one answer of the pull: documents, where it stands, and what that means for events, all or nothing.
 * @param {import("./view.js").Pulled} pulled @param {Record<string, any>} facts
 * @param {string | null} before the farm's epoch when it was asked
 * @param {boolean} hasAsked whether it says which of the events that wait the documents hold @returns {Promise<void>}
 */
export function takePulled(pulled, facts, before, hasAsked) {
  return transact(["facts", "events", "documents", "files"], "readwrite", (tx) => {
    isAnswerOf(tx, pulled.epoch, before, () => {
      takeDocuments(tx, pulled);
      const { cursor, epoch, version, taken_seq } = pulled;
      putFacts(tx, { ...facts, cursor, epoch, version, taken_seq, documents_of: epoch, ...(hasAsked && { is_unsure: false }) });
      const goOn = () => dropCovered(tx, version, Math.min(version, pulled.kept_through));
      if (hasAsked) markHeld(tx, new Set(pulled.held), goOn);
      else goOn();
    });
  });
}

/** @param {IDBTransaction} tx @param {Set<string>} ids of the events that wait and are in the documents @param {() => void} then */
function markHeld(tx, ids, then) {
  eachEvent(tx, (event, put) => { if (event.state === "waiting") put({ ...event, held: ids.has(event.id) }); }, then);
}

/** @param {IDBTransaction} tx @param {import("./view.js").Pulled} pulled */
function takeDocuments(tx, pulled) {
  const documents = tx.objectStore("documents");
  if (pulled.whole) documents.clear();
  for (const scope of pulled.dropped_scopes) documents.delete(IDBKeyRange.bound([scope], [scope, []]));
  for (const doc of pulled.documents) {
    if (doc.body === null) documents.delete([doc.scope, doc.kind, doc.key]);
    else documents.put(doc);
  }
}

/**
 * The farm came back from a backup: all that it has heard from here goes out again. What it could not
 * even read (no version of the farm has it) stays refused.
 * @param {IDBTransaction} tx
 * @param {Record<string, any>} stand where the documents stand, of before the restore
 * @param {() => void} [then]
 */
function sayAgain(tx, stand, then) {
  eachEvent(tx, (event, put) => {
    if (event.state === "refused" && event.answer?.version == null) return;
    const { answer } = event;
    const isHeld = answer?.epoch === stand.documents_of && (answer?.version ?? Infinity) <= (stand.version ?? 0);
    put({ ...event, state: "waiting", answer: undefined, held: Boolean(event.held || isHeld) });
  }, then);
  const asking = tx.objectStore("files").openCursor();
  asking.onsuccess = () => {
    const cursor = asking.result;
    if (!cursor) return;
    if (cursor.value.state === "sent") cursor.update({ ...cursor.value, state: "waiting" });
    cursor.continue();
  };
}

/**
 * Lets go of events that a backup of the server holds, and of the oldest beyond what is kept at
 * most; never of one that the documents do not hold yet.
 * @param {IDBTransaction} tx @param {number} pulled @param {number} backed_up versions through which documents and a backup hold everything
 */
function dropCovered(tx, pulled, backed_up) {
  const asking = tx.objectStore("events").getAll();
  asking.onsuccess = () => {
    const settled = asking.result.filter((e) => e.state === "applied" || (e.state === "refused" && e.seen));
    settled.slice(0, -SHOWN_SENT).forEach((event, index) => {
      const at = event.answer?.version ?? 0;
      if (at <= backed_up || (at <= pulled && index < settled.length - KEPT_MOST)) tx.objectStore("events").delete(event.n);
    });
  };
}

// Photos and voice notes ---------------------------------------------------------------------------

/**
 * @typedef {{id: string, kind: "photo" | "voice", type: string, size: number, made_at: number, state: "waiting" | "sent" | "refused" | "unsaid", code?: string, detail?: string}} KeptFile
 *   `unsaid`: what it was about is taken back, so it stays here; `code`: why it is refused, where the phone itself knows
 */

/** @type {Record<string, number>} */
const FILES_KEPT = { sent: 60, unsaid: 10 };

/** @param {KeptFile} file @param {ArrayBuffer} bytes @returns {Promise<void>} */
export function addFile(file, bytes) {
  return transact(["files", "bytes"], "readwrite", (tx) => {
    tx.objectStore("files").put(file);
    tx.objectStore("bytes").put(bytes, file.id);
  });
}

/** What an event names. @param {any} payload @returns {string[]} */
const filesOf = ({ attachment, attachments }) => [...(attachment ? [attachment] : []), ...(attachments ?? [])];

/** @param {IDBTransaction} tx @param {string[]} ids @param {KeptFile["state"]} from which of them @param {Partial<KeptFile>} change */
function changeFiles(tx, ids, from, change) {
  const files = tx.objectStore("files");
  for (const id of new Set(ids)) {
    const asking = files.get(id);
    asking.onsuccess = () => { if (asking.result?.state === from) files.put({ ...asking.result, ...change }); };
  }
}

/** @param {string} id @returns {Promise<ArrayBuffer | undefined>} */
export function bytesOf(id) {
  return transact(["bytes"], "readonly", (tx, give) => {
    const asking = tx.objectStore("bytes").get(id);
    asking.onsuccess = () => give(asking.result);
  });
}

/**
 * The oldest photo or voice note that can go out now, and where to, as all stood at one moment. What is named by something that can still be taken back waits.
 * @returns {Promise<{file: KeptFile, bytes: ArrayBuffer, facts: Record<string, any>} | undefined>}
 */
export function nextFile() {
  return transact(["facts", "events", "files", "bytes"], "readonly", (tx, give) => {
    readFacts(tx, (facts) => {
      const said = tx.objectStore("events").getAll();
      const asking = tx.objectStore("files").getAll();
      asking.onsuccess = () => {
        const held = new Set(said.result.filter((event) => event.not_before).flatMap((event) => filesOf(event.payload)));
        const [file] = inOrder(asking.result.filter((f) => f.state === "waiting" && !held.has(f.id)));
        if (!file) return;
        const bytes = tx.objectStore("bytes").get(file.id);
        bytes.onsuccess = () => give({ file, bytes: bytes.result, facts });
      };
    });
  });
}

/** As they were made. @param {KeptFile[]} files */
const inOrder = (files) => files.sort((a, b) => a.made_at - b.made_at || a.id.localeCompare(b.id));

/**
 * Writes down what came of a file, unless what it was about is taken back by now. Of those that wait no more the newest stay, for a farm that comes
 * back from a backup.
 * @param {string} id @param {Partial<KeptFile>} change @param {any} epoch the farm's when it was sent @returns {Promise<boolean>} whether it counts
 */
export function settleFile(id, change, epoch) {
  return transact(["facts", "files", "bytes"], "readwrite", (tx, give) => {
    const asking = tx.objectStore("facts").get("epoch");
    asking.onsuccess = () => {
      give(asking.result === epoch);
      if (asking.result !== epoch) return;
      changeFiles(tx, [id], "waiting", change);
      dropOldFiles(tx);
    };
  });
}

/** @param {IDBTransaction} tx */
function dropOldFiles(tx) {
  const asking = tx.objectStore("files").getAll();
  asking.onsuccess = () => {
    for (const state of ["sent", "unsaid"]) {  // what a restore may want again is not pushed out by what was taken back
      const newest = asking.result.filter((f) => f.state === state).sort((a, b) => b.made_at - a.made_at);
      for (const old of newest.slice(FILES_KEPT[state])) dropFileIn(tx, old.id);
    }
  };
}

/** @param {string} id @returns {Promise<void>} */
export function dropFile(id) {
  return transact(["files", "bytes"], "readwrite", (tx) => dropFileIn(tx, id));
}

/** @param {IDBTransaction} tx @param {string} id */
function dropFileIn(tx, id) {
  tx.objectStore("files").delete(id);
  tx.objectStore("bytes").delete(id);
}
