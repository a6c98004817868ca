// A phone that runs the shipped program in a world of its own: its storage, clock, dice, timers and
// signal are the simulation's, so that a seed decides everything and a phone can be cut off anywhere.

import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import vm from "node:vm";

const require = createRequire(`${process.env.NODE_TOOLS}/`);
const { IDBFactory, IDBKeyRange } = require("fake-indexeddb");
const nextTurn = globalThis.setImmediate;

/** Numbers from a seed (mulberry32): the same seed gives the same row of them. */
export function dice(seed) {
  let state = seed >>> 0;
  const roll = () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let t = state;
    t = Math.imul(t ^ (t >>> 15), t | 1);
    t ^= t + Math.imul(t ^ (t >>> 7), t | 61);
    return ((t ^ (t >>> 14)) >>> 0) / 4294967296;
  };
  return {
    roll,
    below: (n) => Math.floor(roll() * n),
    between: (a, b) => a + roll() * (b - a),
    pick: (list) => list[Math.floor(roll() * list.length)],
    chance: (p) => roll() < p,
  };
}

/** True time, and what happens when. One thing at a time, each followed by all that comes of it. */
export class World {
  constructor(start_ms) {
    this.now = start_ms;
    this.n = 0;
    this.queue = [];
    this.tasks = [];
    this.owner = null;
    globalThis.setImmediate = (does) => { this.tasks.push({ owner: this.owner, does }); };
  }

  /** @returns {{cancelled: boolean}} */
  at(time_ms, owner, does) {
    const entry = { time_ms, n: (this.n += 1), owner, does, cancelled: false };
    let low = 0;
    let high = this.queue.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (this.queue[middle].time_ms <= time_ms) low = middle + 1; else high = middle;
    }
    this.queue.splice(low, 0, entry);
    return entry;
  }

  /** Does the next thing; false where nothing is left before `until_ms`. */
  async step(until_ms) {
    while (this.queue.length && (this.queue[0].cancelled || this.queue[0].owner?.isGone)) this.queue.shift();
    if (!this.queue.length || this.queue[0].time_ms > until_ms) { this.now = Math.max(this.now, until_ms); return false; }
    const { time_ms, owner, does } = this.queue.shift();
    this.now = Math.max(this.now, time_ms);
    await this.run(owner, does);
    return true;
  }

  /** Waits for something of a phone's that also takes real time, such as a hash. */
  async wait(owner, does) {
    let done = false;
    const given = this.as(owner, does);
    given.then(() => {}, () => {}).finally(() => { done = true; });
    while (!done && !owner.isGone) await this.run(owner);
  }

  /** Runs something of a phone's and all that follows at once; a phone may break off in the midst of it. */
  async run(owner, does) {
    const given = does && this.as(owner, does);
    for (;;) {
      await new Promise(nextTurn);
      const task = this.tasks.shift();
      if (!task) return given;
      if (task.owner?.isGone) continue;
      if (task.owner?.cutAfter !== undefined && (task.owner.cutAfter -= 1) < 0) { task.owner.cut(); continue; }
      this.as(task.owner, task.does);
      const { soon } = task.owner ?? {};
      if (soon && (soon.left -= 1) < 0) { task.owner.soon = null; this.as(task.owner, soon.does); }
    }
  }

  as(owner, does) {
    this.owner = owner;
    return does();
  }
}

const compiled = new Map();

/** The source of one file of the program, with what a sabotage changes in it. */
function source(name, changes) {
  let text = readFileSync(`${process.env.PHONE_FILES}/${name}`, "utf8");
  for (const [from, to] of changes[name] ?? []) {
    if (text.split(from).length !== 2) throw new Error(`${name} does not hold exactly once: ${from}`);
    text = text.replace(from, to);
  }
  return text;
}

/** A file as a browser gives it (W3C File API), as far as the program asks. */
export class SimBlob {
  constructor(bytes, type) { Object.assign(this, { bytes, type, size: bytes.length }); }

  async arrayBuffer() { return this.bytes.buffer.slice(this.bytes.byteOffset, this.bytes.byteOffset + this.bytes.length); }
}

/** A canvas that gives the picture drawn on it as it is: phones of a history send what they took. */
function canvas() {
  let drawn = null;
  return { getContext: () => ({ drawImage: (picture) => { drawn = picture.of; } }), toBlob: (give) => give(drawn) };
}

/** Storage that outlives the program: what a phone keeps when its battery falls out. */
export class Disk {
  constructor() { this.factory = new IDBFactory(); }

  /** Takes back what no transaction has completed, and lets go of all connections. */
  cut() {
    for (const raw of this.factory._databases.values()) {
      for (const tx of raw.transactions) {
        if (tx._state !== "finished") for (const undo of tx._rollbackLog.reverse()) undo();
        tx._state = "finished";
      }
      raw.transactions = [];
      for (const connection of raw.connections) connection._closed = true;
      raw.connections = [];
    }
  }
}

/** One run of the program on a disk, from its start until it is cut. */
export class Run {
  /** @param {{world: World, disk: Disk, seed: number, off_ms: number, network: any, changes?: Record<string, [string, string][]>}} how */
  constructor({ world, disk, seed, off_ms, network, changes = {} }) {
    Object.assign(this, { world, disk, off_ms, network, changes });
    this.isGone = false;
    this.cutAfter = undefined;
    this.soon = null;  // what a person does after so many more steps of the storage
    this.dice = dice(seed);
    this.listeners = new Map();
    this.faults = [];
    this.modules = new Map();
    this.context = vm.createContext(this.globals(), { microtaskMode: undefined });
    vm.runInContext(`{ const Real = Date; globalThis.Date = class extends Real {
      constructor(...given) { super(...(given.length ? given : [theNow()])); } static now() { return theNow(); } };
      Math.random = theRoll; }`, this.context);
  }

  /** Loads a file of the program with all that it imports. */
  async load(name) {
    const link = async (specifier) => this.module(specifier.replace("./", ""));
    const module = this.module(name);
    if (module.status === "unlinked") await module.link(link);
    await module.evaluate();
    return module.namespace;
  }

  module(name) {
    if (!this.modules.has(name)) {
      const text = source(name, this.changes);
      const cachedData = compiled.get(text);
      const module = new vm.SourceTextModule(text, { identifier: name, context: this.context, cachedData });
      if (!cachedData) compiled.set(text, module.createCachedData());
      this.modules.set(name, module);
    }
    return this.modules.get(name);
  }

  /** An error as the program's own world makes it. */
  error(kind, ...words) {
    return kind === "DOMException" ? new DOMException(...words) : new (vm.runInContext(kind, this.context))(...words);
  }

  clock() { return Math.floor(this.world.now + this.off_ms); }

  /** The battery falls out: what was not written is lost, and nothing of this run goes on. */
  cut() {
    this.isGone = true;
    this.disk.cut();
  }

  /** Tells the program of something, as a browser does. */
  tell(kind) { for (const does of [...(this.listeners.get(kind) ?? [])]) does(); }

  after(ms, does) { return this.world.at(this.world.now + Math.max(0, ms), this, does); }

  again(ms, does) {
    const timer = { cancelled: false };
    const next = () => { if (!timer.cancelled) { this.after(ms, next); does(); } };
    this.after(ms, next);
    return timer;
  }

  globals() {
    const run = this;
    const listen = {
      addEventListener: (kind, does) => { run.listeners.set(kind, [...(run.listeners.get(kind) ?? []), does]); },
      removeEventListener: (kind, does) => { run.listeners.set(kind, (run.listeners.get(kind) ?? []).filter((d) => d !== does)); },
    };
    const clear = (timer) => { if (timer) timer.cancelled = true; };
    return {
      ...listen,
      theNow: () => run.clock(), theRoll: () => run.dice.roll(),
      indexedDB: run.disk.factory, IDBKeyRange, DOMException, URLSearchParams, TextEncoder, Blob, Response, btoa, atob, console,
      setTimeout: (does, ms) => run.after(ms, does), clearTimeout: clear,
      setInterval: (does, ms) => run.again(ms, does), clearInterval: clear,
      AbortSignal: { timeout: (ms) => ({ timeout_ms: ms }) },
      document: { hidden: false, createElement: canvas, ...listen },
      createImageBitmap: async (of) => ({ of, width: 64, height: 48, close: () => {} }),
      navigator: { locks: locks() },
      crypto: { subtle: crypto.subtle, getRandomValues: (bytes) => { for (let i = 0; i < bytes.length; i += 1) bytes[i] = run.dice.below(256); return bytes; } },
      fetch: (path, init) => run.network.fetch(run, path, init),
    };
  }
}

/** Web Locks of a phone with one page (W3C): who comes second gets null, or waits. */
function locks() {
  const held = new Map();
  return {
    async request(name, how, does) {
      const work = does ?? how;
      if (held.has(name)) {
        if (how.ifAvailable) return work(null);
        await held.get(name);
      }
      const done = (async () => work({ name }))();
      held.set(name, done.catch(() => {}));
      try { return await done; } finally { held.delete(name); }
    },
  };
}
