// One history: phones with people who work, a network and a server that fail, all decided by a seed;
// and what must hold after each step and when all has come to rest.

import { createHash } from "node:crypto";
import { Violation } from "./faults.mjs";
import { Phone } from "./person.mjs";
import { World, dice } from "./phone.mjs";

const START_MS = Date.parse("2026-03-04T16:00:00Z");
const REST_MS = 900_000;
/** Every tenth history is a long one; how often things happen: below so many. */
const LONG = { work_ms: 150_000, acts: [4, 8], crashes: 3, outages: 3, outage_ms: 60_000 };
const SHORT = { work_ms: 40_000, acts: [1, 4], crashes: 2, outages: 2, outage_ms: 20_000 };
/** Small batches, few events kept for show, quick PINs: histories meet their edges sooner. */
const TUNED = {
  "outbox.js": [["const BATCH = 50;", "const BATCH = 3;"]],
  "store.js": [["const SHOWN_SENT = 20;", "const SHOWN_SENT = 1;"]],
  "who.js": [["const ITERATIONS = 100_000;", "const ITERATIONS = 10_000;"]],
};
/** What is switched off in the program, to see that the simulation finds it. */
export const SABOTAGES = {
  "cursor before its documents": { "pull.js": [["await takePulled(pulled, facts, epoch, unsure !== null);", "await setFacts({ cursor: pulled.cursor }); await takePulled(pulled, facts, epoch, unsure !== null);"]] },
  "a photo counts as sent unanswered": { "files.js": [["if (reply?.ok) {", "if (!reply || reply.ok) {"]] },
  "photos sent before a restore are not sent again": { "store.js": [["if (cursor.value.state === \"sent\") cursor.update({ ...cursor.value, state: \"waiting\" });", ""]] },
  "no overlay": { "view.js": [["if (isComparable) return (event.answer?.version ?? 0) > who.version;", "if (isComparable) return false;"]] },
  "let go once sent": { "store.js": [["if (at <= backed_up || (", "if (at <= pulled || ("]] },
  "taken back though it is being sent": { "store.js": [["if (not_before && begun.has(event.id)) tx.objectStore(\"events\").put(event);", ";"]] },
  "what is taken back leaves a hole": { "store.js": [["renumberIn(tx, waiting[0].seq);", ""]] },
  "a photo about nothing goes out": { "store.js": [["changeFiles(tx, gone.flatMap(", "[].push(gone.flatMap("]] },
  "a photo goes before its word": { "store.js": [[" && !held.has(f.id)", ""]] },
  "a restore goes unnoticed": { "store.js": [["if (known === null || known === epoch) { goOn(); return; }", "goOn(); return;"], ["former.epoch && former.epoch !== facts.epoch", "former.epoch === 0"]] },
};

export class History {
  /** @param {{seed: number, n_phones: number, server: (op: any) => Promise<any>, sabotage?: string}} how */
  constructor({ seed, n_phones, server, sabotage }) {
    this.dice = dice(seed);
    this.shape = seed % 10 === 7 ? LONG : SHORT;
    this.isDown = false;
    this.isWhole = true;  // no restore and no new pairing has set the numbers of a phone anew
    this.world = new World(START_MS);
    this.ask = (op) => server({ at: this.world.now - START_MS, ...op });
    this.trace = [];
    this.held = new Set();
    this.isCalm = false;
    this.counts = { requests: 0, events: 0, crashes: 0, restores: 0, photos: 0, names: 0, held: 0, unsaid: 0, too_late: 0, unsure: 0 };
    const changes = SABOTAGES[sabotage] ?? {};
    this.changes = Object.fromEntries(["outbox.js", "store.js", "view.js", "pull.js", "files.js", "who.js"].map((name) => [name, [...(TUNED[name] ?? []), ...(changes[name] ?? [])]]));
    this.phones = Array.from({ length: n_phones }, (_, number) => new Phone(this, number));
  }

  note(...facts) { this.trace.push([Math.round(this.world.now - START_MS), ...facts].join(" ")); }

  /** @returns {Promise<{hash: string, n_steps: number, counts: any}>} */
  async play() {
    Object.assign(this, await this.ask({ op: "begin" }));
    this.phones.forEach((phone, number) => { phone.facts = this.people[number]; });
    for (const phone of this.phones) this.io(0, () => phone.launch());
    this.plan();
    await this.go(this.shape.work_ms);
    await this.rest();
    const hash = createHash("sha256").update(this.trace.join("\n")).digest("hex");
    return { hash, n_steps: this.trace.length, counts: this.counts };
  }

  /** Does something of the outside at its time; it may ask the server. */
  io(after_ms, does) { const entry = this.world.at(this.world.now + after_ms, null, does); entry.isOutside = true; return entry; }

  async go(until_ms, isDone = () => false) {
    const { world } = this;
    while (!isDone()) {
      while (world.queue.length && (world.queue[0].cancelled || world.queue[0].owner?.isGone)) world.queue.shift();
      const next = world.queue[0];
      if (!next || next.time_ms > START_MS + until_ms) { world.now = Math.max(world.now, START_MS + until_ms); return false; }
      if (next.isOutside) {
        world.queue.shift();
        world.now = Math.max(world.now, next.time_ms);
        await next.does();
      } else {
        await world.step(next.time_ms);
        next.owner?.phone.check();
      }
    }
    return true;
  }

  // What happens -----------------------------------------------------------------------------------------

  plan() {
    const { dice: d } = this;
    const { work_ms, acts, crashes, outages, outage_ms } = this.shape;
    const at = () => d.between(3_000, work_ms);
    for (const phone of this.phones) {
      for (let n = acts[0] + d.below(acts[1]); n > 0; n -= 1) this.io(at(), () => phone.act());
      for (let n = d.below(crashes); n > 0; n -= 1) this.io(at(), () => phone.crash(0));
      for (let n = d.below(outages); n > 0; n -= 1) {
        const from_ms = at();
        this.io(from_ms, () => phone.signal(false));
        this.io(from_ms + d.between(1_000, outage_ms), () => phone.signal(true));
      }
      if (d.chance(0.3)) this.io(at(), () => phone.pocket());
      if (d.chance(0.07)) this.io(at(), () => this.outside("revoke", phone, { token: phone.token }));
      if (d.chance(0.15)) this.io(at(), () => this.outside("move", phone, { person: phone.number }));
    }
    if (d.chance(0.2)) this.io(at(), () => this.restart(d.between(500, 5_000)));
    for (let n = d.below(3); n > 0; n -= 1) this.io(at(), () => this.outside("backup"));
    if (d.chance(0.5)) {
      this.io(d.between(0, work_ms / 2), () => this.outside("backup"));
      this.io(d.between(work_ms / 2, work_ms), () => this.outside("restore", null, { n: 1 }));
    }
  }

  /** The server stops and is there again a while later: who asks meanwhile gets no answer. */
  restart(for_ms) {
    this.isDown = true;
    this.note("restart");
    this.io(for_ms, () => { this.isDown = false; });
  }

  async outside(op, phone = null, more = {}) {
    if (op === "revoke" && !more.token) more.token = phone.token;
    const done = await this.ask({ op, ...more });
    if (op === "restore" && done) this.counts.restores += 1;
    if (op === "restore" || op === "revoke") this.isWhole = false;
    this.note(op, phone?.number ?? "-", done ?? "");
    this.changed();
  }

  /** Something is new at the farm: whoever waits for news is answered soon. */
  changed() {
    for (const wake of this.held) wake();
  }

  // The network ------------------------------------------------------------------------------------------

  /** @param {Run} run @param {string} path @param {any} init */
  fetch(run, path, init) {
    const d = this.dice;
    return new Promise((resolve, reject) => {
      const request = { run, isOpen: true, token: init.headers.Authorization?.slice(7), method: init.method ?? "GET", path, body: init.body, type: init.headers["Content-Type"] };
      const settle = (does) => {
        if (!request.isOpen || run.isGone) return;
        request.isOpen = false;
        timeout.cancelled = true;
        does();
      };
      request.reply = (after_ms, answer, steps = 0) => run.after(after_ms, () => settle(() => {
        if (steps) run.phone.crash(steps);  // in the midst of writing the answer down
        resolve(replyOf(answer));
      }));
      request.breakOff = (after_ms) => run.after(after_ms, () => settle(() => reject(run.error("TypeError", "no signal"))));
      const timeout = run.after(init.signal.timeout_ms, () => settle(() => reject(run.error("DOMException", "no answer in time", "TimeoutError"))));
      this.counts.requests += 1;
      if (request.path.includes("/events/")) for (const { id } of JSON.parse(request.body).events) run.phone.posted.add(id);
      if (request.method === "PUT") run.phone.puts.push(request.path.split("/").at(-2));
      if (!run.phone.hasSignal) { request.breakOff(5); return; }
      this.io(this.latency(), () => this.arrive(request));
    });
  }

  latency() {
    const d = this.dice;
    return !this.isCalm && d.chance(0.05) ? d.between(2_000, 40_000) : d.between(20, 300);
  }

  async arrive(request) {
    const d = this.dice;
    const fate = this.isCalm ? 1 : d.roll();
    if (this.isDown) { this.note("down", request.run.phone.number, request.method); request.breakOff(10); return; }
    if (fate < 0.06) { this.note("lost", request.run.phone.number, request.method); return; }
    if (fate < 0.1) { this.note("broken", request.run.phone.number, request.method); request.breakOff(50); return; }
    const isTold = request.path.includes("/events/") || request.method === "PUT";
    const cut = isTold && fate < 0.15 ? 1 + d.below(16) : 0;
    const answer = await this.serve(request, cut);
    if (isTold && fate > 0.9 && !this.isCalm) this.io(d.between(500, 40_000), () => this.serve(request, 0));
    if (answer.cut) { request.breakOff(20); return; }
    if (fate > 0.15 && fate < 0.23) { this.note("reply lost", request.run.phone.number, request.method); return; }
    this.pass(request, answer);
  }

  /** Hands the answer on; a pull without news is held until there is some. */
  pass(request, answer) {
    const wait_s = Number(new URLSearchParams(request.path.split("?")[1]).get("wait_s") ?? 0);
    if (wait_s > 0 && isNoNews(answer)) this.hold(request, answer, wait_s * 1000);
    else {
      const steps = !this.isCalm && this.dice.chance(0.06) ? 1 + this.dice.below(70) : 0;
      request.reply(this.latency(), answer, steps);
    }
  }

  hold(request, answer, wait_ms) {
    let next = null;
    const again = async () => {
      this.held.delete(wake);
      if (!request.isOpen || request.run.isGone) return;
      this.pass(request, await this.serve(request, 0));
    };
    const wake = () => { if (next) return; late.cancelled = true; next = this.io(300, again); };
    const late = this.io(wait_ms, () => { this.held.delete(wake); request.reply(50, answer); });
    this.held.add(wake);
  }

  async serve(request, cut) {
    const { run, method, body, token } = request;
    const path = request.path.replace(/wait_s=\d+/, "wait_s=0");
    const isFile = method === "PUT";
    const sending = isFile ? { file: Buffer.from(body).toString("base64"), type: request.type } : { body };
    const answer = await this.ask({ op: "http", method, path, token, cut, ...sending });
    const what = answer.cut ? "cut" : answer.status;
    const isPull = path.includes("/pull/");
    const sent = path.endsWith("/events/") ? JSON.parse(body).events.map((e) => `${e.seq}:${e.kind.slice(0, 12)}`).join(",") : "";
    this.note(isPull ? "pull" : method, run.phone.number, what, told(answer, isPull), sent);
    if (!isPull) this.changed();
    return answer;
  }

  // When all has come to rest ------------------------------------------------------------------------------

  async rest() {
    this.isCalm = true;
    this.isDown = false;
    for (const phone of this.phones) { await phone.signal(true); await phone.show(true); }
    const pairAgain = async () => {
      for (const phone of this.phones) await phone.signIn();
      this.io(10_000, pairAgain);
    };
    await pairAgain();
    let truth = null;
    const isStill = () => this.phones.every((phone) => phone.isStill());
    for (let turn = 1; turn <= 6 && !truth; turn += 1) {
      await this.go(this.shape.work_ms + (REST_MS * turn) / 6, isStill);
      if (!isStill()) continue;
      const found = await this.ask({ op: "truth", tokens: this.phones.map((phone) => phone.token) });
      const faults = this.phones.map((phone) => phone.differs(JSON.parse(found.whole[phone.token])));
      if (faults.every((fault) => !fault)) truth = found;
      else if (turn === 6) throw new Violation(`replicas differ: ${faults.filter(Boolean).join("; ")}`);
      else await this.go((this.world.now - START_MS) + 61_000);
    }
    if (!truth) throw new Violation(`does not come to rest: ${this.phones.map((p) => p.words()).join(" | ")}`);
    this.judge(truth);
  }

  judge(truth) {
    const applied = new Map(truth.events.map((event) => [event.id, event]));
    const said = new Set(this.phones.flatMap((phone) => phone.said.map((s) => s.id)));
    for (const event of truth.events) if (!said.has(event.id)) throw new Violation(`${event.kind} came in that nobody said`);
    for (const phone of this.phones) { phone.judge(applied, truth); phone.judgeFiles(truth); }
    for (const [id, n] of Object.entries(truth.effects)) if (n !== 1) throw new Violation(`event ${id} had ${n} effects`);
    if (truth.n_bytes[0] !== truth.n_bytes[1]) throw new Violation(`${truth.n_bytes[0]} bytes are kept and ${truth.n_bytes[1]} counted`);
    const n_locks = truth.events.filter((e) => e.kind === "lock_on" && e.state === "applied").length;
    if (truth.n_locks !== n_locks) throw new Violation(`${truth.n_locks} locks of ${n_locks} put on`);
    this.note("end", truth.events.map((e) => `${e.kind}:${e.state}`).join(","), truth.orders.map((o) => `${o.status}/${o.loads}`).join(","));
  }
}

/** What an answer holds, without numbers that a database gives. */
function told(answer, isPull) {
  if (answer.cut || answer.status !== 200) return "";
  const body = JSON.parse(answer.body);
  if (!isPull && !body.answers) return "";
  if (isPull) return `${body.whole ? "whole" : "part"} ${body.documents.map((d) => d.kind).sort().join(",")} ${body.dropped_scopes.length}`;
  return body.answers.map((a) => `${a.state}${a.code && `:${a.code}`}`).join(",");
}

function isNoNews(answer) {
  if (answer.status !== 200) return false;
  const body = JSON.parse(answer.body);
  return !body.whole && body.documents.length === 0 && body.dropped_scopes.length === 0;
}

function replyOf({ status, body, retry }) {
  return { ok: status >= 200 && status < 300, status, headers: { get: (name) => (name === "Retry-After" ? retry : null) }, json: async () => JSON.parse(body) };
}

