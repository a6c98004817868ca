// A phone and the person who carries it, or the people of a crew who share it; and what they hold to.

import { Violation } from "./faults.mjs";
import { Disk, Run, SimBlob } from "./phone.mjs";

const DAY_MS = 24 * 3600 * 1000;
/** What the screens hold: it can be taken back for ten seconds, and its sending begins so long after it was said. */
const HELD = ["problem", "reading", "pen_time", "photo", "done", "part"];
const UNDO_MS = 10_000;
const BEGINS_MS = 11_200;

export class Phone {
  constructor(history, number) {
    const d = history.dice;
    Object.assign(this, { history, number, disk: new Disk(), hasSignal: true, said: [], unsaid: new Map(), posted: new Set(), files: new Set(), left: new Set(), puts: [], run: null, app: null, nRuns: 0, meter_h: 100 });
    this.isShared = number === 1 && d.chance(0.35);
    this.off_ms = d.chance(0.3) ? 0 : d.between(-3 * DAY_MS, 3 * DAY_MS);
  }

  async launch() {
    const { history } = this;
    this.nRuns += 1;
    this.run = new Run({ world: history.world, disk: this.disk, seed: history.dice.below(2 ** 31), off_ms: this.off_ms, network: history, changes: history.changes });
    this.run.phone = this;
    const { run } = this;
    this.app = null;
    const { app } = await run.load("app.js");
    await history.world.run(run, () => { app.begin().then(() => { this.app = app; }); });
    this.learn();
    this.check();
    await this.signIn();
  }

  /** A person whose phone is not paired asks for a code and pairs it; if that fails, again. */
  async signIn() {
    const { history, run } = this;
    if (!this.app || run.isGone || this.app.facts().is_paired || this.isPairing) return;
    this.isPairing = true;
    const code = await history.ask({ op: "code", person: this.number, is_shared: this.isShared });
    await history.world.run(run, () => {
      this.app.pair(code, "en").then(() => {}, (error) => run.faults.push(error)).finally(() => {
        this.isPairing = false;
        if (!run.isGone && !this.app.facts().is_paired) history.io(10_000, () => this.signIn());
      });
    });
  }

  /** The battery falls out now, or after so many steps of the storage; a while later it is back. */
  async crash(steps) {
    const { run, history } = this;
    if (!run || run.isGone) return;
    history.counts.crashes += 1;
    history.note("crash", this.number, steps);
    if (!steps) run.cut();
    else run.cutAfter = steps;
    history.io(history.dice.between(500, 20_000), async () => {
      if (!run.isGone) run.cut();
      this.isPairing = false;
      if (this.run === run) await this.launch();
    });
  }

  async signal(has) {
    this.hasSignal = has;
    this.history.note("signal", this.number, has);
    if (has && this.run && !this.run.isGone) await this.history.world.run(this.run, () => this.run.tell("online"));
  }

  /** The phone goes into a pocket, and after a while out again. */
  async pocket() {
    this.history.note("pocket", this.number);
    await this.show(false);
    this.history.io(this.history.dice.between(1_000, 15_000), () => this.show(true));
  }

  async show(isShown, more = () => {}) {
    const { run, history } = this;
    if (!run || run.isGone || run.context.document.hidden === !isShown) return;
    run.context.document.hidden = !isShown;
    await history.world.run(run, () => { run.tell("visibilitychange"); more(); });
    this.check();
  }

  get token() { return this.lastToken; }

  // Work ---------------------------------------------------------------------------------------------------

  async act() {
    const { history, run, app } = this;
    const d = history.dice;
    if (!app || run.isGone) return;
    if (!app.facts().is_paired) { await this.signIn(); return; }
    this.learn();
    const speaks = app.facts().worker_id;
    if (this.isShared && (speaks === null || d.chance(0.3))) { await this.pickName(); return; }
    const cut = !history.isCalm && d.chance(0.08) ? d.below(45) : null;
    if (cut !== null) await this.crash(cut + 1);
    if (d.chance(0.15)) { await this.takePhoto(); return; }
    const [kind, payload] = this.choose(app.view);
    if (!kind) return;
    await this.say(kind, payload);
  }

  async say(kind, payload) {
    const { history, run, app } = this;
    history.counts.events += 1;
    let said = null;
    const { worker_id } = app.facts();
    const isHeld = HELD.includes(kind) && history.dice.chance(0.8);
    await history.world.run(run, () => {
      app.say(kind, payload, { isHeld }).then((given) => { said = given; }, (error) => { if (!run.isGone) run.faults.push(error); });
    });
    if (said) this.remember({ kind, payload, worker: worker_id, id: said.event.id });
    history.note("say", this.number, kind, said?.held.length ? "held" : said ? "saved" : "not");
    this.check();
    if (!said?.held.length) return;
    history.counts.held += 1;
    if (history.dice.chance(0.7)) this.regret(said.event.id);
  }

  /** @param {{id: string, kind: string, payload: any, worker: number}} said */
  remember(said) {
    this.said.push({ ...said, isRefused: said.payload.reason === " " });
    this.left.delete(said.payload.attachment);
  }

  // Taking back --------------------------------------------------------------------------------------------

  /** Before long the person takes back what is held: soon, about when its sending begins, or in the midst of its beginning. */
  regret(id) {
    const { history, run } = this;
    const d = history.dice;
    const when = d.pick(["soon", "soon", "soon", "late", "as it begins", "as it is pocketed"]);
    const steps = d.below(40);
    const unsay = () => this.unsay(id, run);
    const soon = () => { run.soon = { left: steps, does: () => void unsay() }; };
    const acts = {
      soon: [d.between(200, UNDO_MS), () => history.world.run(run, () => void unsay())],
      late: [BEGINS_MS + d.between(-300, 300), () => history.world.run(run, () => void unsay())],
      "as it begins": [BEGINS_MS - 2, soon],
      "as it is pocketed": [d.between(200, UNDO_MS), async () => { await this.show(false, soon); history.io(d.between(1_000, 15_000), () => this.show(true)); }],
    };
    const [after_ms, does] = acts[when];
    const breaks = d.chance(0.35) ? 1 + d.below(30) : 0;
    history.io(after_ms, async () => {
      if (run.isGone || this.run !== run) return;
      history.note("regrets", this.number, when, breaks);
      if (breaks && !history.isCalm) await this.crash(breaks);
      await does();
      this.check();
    });
  }

  /** Takes back as the screens do: not where another word on the same work has followed. */
  async unsay(id, run) {
    const { history } = this;
    const at = this.said.findIndex((s) => s.id === id);
    const { work_order } = this.said[at]?.payload ?? {};
    if (at < 0 || run.isGone || (work_order && this.said.slice(at + 1).some((s) => s.payload.work_order === work_order))) return;
    this.said[at].unsaidIn = run;
    try {
      const isDone = await this.app.unsay([id]);
      delete this.said[at].unsaidIn;
      history.note("unsay", this.number, isDone ? "taken back" : "too late");
      history.counts[isDone ? "unsaid" : "too_late"] += 1;
      if (isDone) this.forget(id);
    } catch (error) { if (!run.isGone) run.faults.push(error); }
  }

  /** It was never said; a photo that was about it alone, and had not gone out, stays here. */
  forget(id) {
    const at = this.said.findIndex((s) => s.id === id);
    const [{ kind, payload }] = this.said.splice(at, 1);
    this.unsaid.set(id, { kind, payload });
    const state = this.app.files().find((file) => file.id === payload.attachment)?.state;
    if (state === "unsaid") this.left.add(payload.attachment);
    if (state === "waiting" && !this.said.some((s) => s.payload.attachment === payload.attachment)) this.fail("a photo about nothing waits");
  }

  /** A crash came between taking back and the answer: what is shown from then on holds. */
  settleUnsaid(shown) {
    for (const s of [...this.said].filter((s) => s.unsaidIn && s.unsaidIn !== this.run)) {
      const isDone = !shown.has(s.id) && s.state !== "applied";  // of what was sent few are shown
      this.history.note("unsay", this.number, isDone ? "came through" : "came to nothing");
      this.history.counts.unsure += 1;
      delete s.unsaidIn;
      if (isDone) this.forget(s.id);
    }
  }

  /** Nothing that was taken back is shown, or goes out; and what waits has no hole in its numbers. */
  checkUnsaid(shown, view) {
    for (const [id, { kind, payload }] of this.unsaid) {
      if (shown.has(id)) this.fail(`${kind} was taken back and is shown`);
      if (this.posted.has(id)) this.fail(`${kind} was taken back and is sent`);
      if (kind === "problem" && view.problems.some((p) => p.text === payload.text)) this.fail("a problem that was taken back is shown");
    }
    const files = new Map(this.app.files().map((file) => [file.id, file.state]));
    for (const id of this.left) if (files.get(id) !== "unsaid") this.fail(`a photo about nothing is ${files.get(id)}`);
    const held = view.events.filter((e) => e.not_before).map((e) => e.payload.attachment);
    for (const id of this.puts.splice(0)) {
      if (this.left.has(id)) this.fail("a photo about nothing is sent");
      if (held.includes(id)) this.fail("a photo is sent though its word can be taken back");
    }
    if (this.history.isWhole) this.checkNumbers(view.events);
  }

  /** Numbers follow each other without a hole, up to the last one given; what could not be read used none. */
  checkNumbers(events) {
    if (events.some((e) => e.state === "refused" && e.answer.version === null)) return;
    const waiting = events.filter((e) => e.state === "waiting").map((e) => e.seq).reverse();
    const last = Math.max(0, ...events.filter((e) => e.state !== "waiting").map((e) => e.seq));
    const next = waiting.map((_, n) => last + 1 + n);
    if (`${waiting}` !== `${next}` || (this.fact("last_seq") ?? 0) !== last + waiting.length) this.fail(`numbers ${waiting} wait after ${last}, and ${this.fact("last_seq")} is the last`);
  }

  /** One of the crew takes the shared phone: by the PIN, which who has none yet chooses. */
  async pickName() {
    const { history, run, app } = this;
    const who = history.dice.pick(history.people.filter((p) => p.crew === this.facts.crew));
    history.counts.names += 1;
    const pin = String(1000 + (who.worker % 9000));
    await history.world.wait(run, async () => {
      const { no_pin } = await app.enter(who.worker, pin);
      if (no_pin) await app.choosePin(pin, who.worker);
    });
    this.learn();
    history.note("name", this.number, app.facts().worker_id === null ? "nobody" : "somebody");
    this.check();
  }

  /** Takes a photo or a voice note, and then says what it is about. */
  async takePhoto() {
    const { history, run, app } = this;
    const { kind, type, bytes } = history.dice.pick(history.samples);
    let [id = null] = this.left;
    if (id && history.dice.chance(0.5)) { await this.say("photo", { attachment: id, place: this.facts.place }); return; }
    history.counts.photos += 1;
    id = null;
    await history.world.run(run, () => {
      app.attach(new SimBlob(Buffer.from(bytes, "base64"), type), kind).then((given) => { id = given; }, (error) => { if (!run.isGone) run.faults.push(error); });
    });
    history.note("photo", this.number, id ? "saved" : "not");
    if (id) this.files.add(id);
    this.check();
    if (id && !run.isGone) await this.say("photo", { attachment: id, place: this.facts.place });
  }

  /** Events found here of which the person never heard that they were saved: they count as said. */
  learn() {
    const known = new Set([...this.said.map((s) => s.id), ...this.unsaid.keys()]);
    for (const event of [...(this.app?.view.events ?? [])].reverse()) {
      if (!known.has(event.id)) this.remember({ id: event.id, kind: event.kind, payload: event.payload, worker: event.worker ?? this.facts.worker });
    }
  }

  choose(view) {
    const d = this.history.dice;
    const { facts } = this;
    const isOther = this.isShared && this.app.facts().worker_id !== facts.worker;  // whose jobs another phone has too
    const jobs = isOther ? [] : view.jobs.filter((j) => facts.jobs.includes(j.id));
    const job = d.pick(jobs.length ? jobs : [null]);
    const work = job && { work_order: job.id };
    const kind = d.pick(["work", "work", "work", "work", "lock", "problem", "reading", "pen_time", "bad", "undo"]);
    if (kind === "work" && job) {
      if (job.status === "NEEDS-ACTION") return d.chance(0.85) ? ["start", work] : ["could_not", { ...work, reason: "ice" }];
      if (job.status === "IN-PROCESS") return d.chance(0.6) ? ["load", work] : d.pick([["done", work], ["part", { ...work, n_left: 1 + d.below(20) }]]);
      return [];
    }
    if (kind === "undo" && job && this.standing(job.id).length) return ["undo", work];
    if (kind === "lock") {
      const mine = view.locks.filter((l) => l.is_mine);
      if (mine.length) return ["lock_off", { ...(mine[0].id && { lock: mine[0].id }), ...(mine[0].of && { lock_of: mine[0].of }) }];
      return ["lock_on", { place: facts.place, what: "" }];
    }
    if (kind === "problem") return ["problem", { text: `bent ${this.number}-${this.history.trace.length}`, place: facts.place }];
    if (kind === "reading") { this.meter_h += 0.01; return ["reading", { machine: facts.machine, meter_h: Math.round(this.meter_h * 100) / 100 }]; }
    if (kind === "pen_time") return ["pen_time", { visit: this.history.visit, moment: d.pick(["called", "last_out"]) }];
    if (kind === "bad") return d.pick([["could_not", { work_order: facts.jobs[0], reason: " " }], ["unheard_of", {}], ["x".repeat(50), {}], ["start", { work_order: 999_999_999 }]]);
    return [];
  }

  standing(work_order) {
    const words = [];
    for (const s of this.said) {
      if (s.payload.work_order !== work_order || s.isRefused) continue;
      if (s.kind === "undo") words.pop();
      else if (["start", "done", "part", "could_not", "load"].includes(s.kind)) words.push(s);
    }
    return words;
  }

  // What must hold -------------------------------------------------------------------------------------------

  fail(words) { throw new Violation(`phone ${this.number}: ${words}`); }

  /** After each step: nothing that was shown is gone. */
  check() {
    const { app, run } = this;
    if (!app || !run || run.isGone) return;
    if (run.faults.length) throw run.faults[0];
    const { view } = app;
    if (this.checked === view) return;
    this.checked = view;
    this.learn();
    const shown = new Map(view.events.map((event) => [event.id, event]));
    this.settleUnsaid(shown);
    this.checkUnsaid(shown, view);
    for (const s of this.said) {
      const event = shown.get(s.id);
      if (event) {
        s.state = event.state;
        s.isTaken = event.state === "waiting" && (event.held || event.seq <= (this.fact("taken_seq") ?? 0));
        s.isRefused ||= event.state === "refused";
      }
      else if (s.state !== "applied") this.fail(`${s.kind} is shown no more, and was ${s.state ?? "waiting"}`);
    }
    for (const file of app.files()) this.files.add(file.id);
    const [waiting, here] = [view.nWaiting, new Set(app.files().map((file) => file.id))];
    for (const id of this.files) if (!here.has(id)) this.fail(`a photo is here no more, and ${waiting} wait`);
    if (this.isShared) return;
    if (view.crewJobs.length === 0 && view.nWaiting === this.said.length) return;
    if (view.farm && this.isOfDisk(view)) this.checkEffects(view);
  }

  /** Whether nothing was written since this was read: else the next drawing is on its way, and is what is judged. */
  isOfDisk(view) {
    const kept = new Map(this.kept("events").map((event) => [event.id, event]));
    return view.events.every((drawn) => ["seq", "held", "state"].every((name) => kept.get(drawn.id)?.[name] === drawn[name]));
  }

  /** What the person said is seen in what the phone shows, sent or not. */
  checkEffects(view) {
    // Refused, or taken in by the farm with its answer still to come: what the documents say is right.
    const isOpen = (s) => s.isRefused || s.isTaken;
    const refused = (id) => this.said.some((s) => isOpen(s) && s.payload.work_order === id);
    for (const id of this.facts.jobs) {
      const job = view.jobs.find((j) => j.id === id);
      if (!job) this.fail("a job of mine is gone");
      if (refused(id)) continue;
      const words = this.standing(id);
      const last = words.filter((s) => s.kind !== "load").at(-1)?.kind;
      const status = { start: "IN-PROCESS", done: "COMPLETED", part: "COMPLETED", could_not: "CANCELLED" }[last] ?? "NEEDS-ACTION";
      if (job.status !== status) this.fail(`a job that stands at ${last ?? "nothing"} is shown as ${job.status}`);
      const loads = words.filter((s) => s.kind === "load").length;
      if (job.loads !== loads) this.fail(`${loads} loads are shown as ${job.loads}`);
    }
    const n_on = this.said.filter((s) => s.kind === "lock_on" && !isOpen(s)).length;
    // Also on the crew's phone, where this person may have taken one off.
    const n_off = this.history.phones.flatMap((phone) => phone.said).filter((s) => s.kind === "lock_off" && !s.isRefused && s.worker === this.facts.worker).length;
    const [n_locks, n_shown] = [n_on - n_off, view.locks.filter((l) => l.is_mine).length];
    if (n_shown < n_locks) this.fail(`${n_locks} locks of mine are shown as ${n_shown}`);
    for (const s of this.said) {
      if (isOpen(s)) continue;
      if (s.kind === "problem" && !view.problems.some((p) => p.text === s.payload.text)) this.fail("a problem I told is gone");
      if (s.kind === "pen_time" && !view.visits.some((v) => v.said.includes(s.payload.moment))) this.fail("a time I told of the cows is gone");
      if (s.kind === "reading" && !(view.machines.find((m) => m.id === s.payload.machine)?.meter_h >= s.payload.meter_h)) this.fail("a reading I told is gone");
    }
  }

  isStill() {
    const { app, run } = this;
    return Boolean(app && !run.isGone && app.facts().is_paired && !this.isPairing && app.view.nWaiting === 0 && app.facts().n_files === 0 && app.facts().version > 0);
  }

  words() { return `phone ${this.number}: ${JSON.stringify({ ...this.app?.facts(), waiting: this.app?.view.nWaiting })}`; }

  /** What the phone holds against what the farm would give it anew. */
  differs(whole) {
    if (!whole.documents) return `phone ${this.number} may not pull`;
    if (this.fact("epoch") !== whole.epoch) return `phone ${this.number} has not noticed the restore`;
    const rows = (documents) => new Map(documents.map((d) => [`${d.scope}/${d.kind}/${d.key}`, JSON.stringify(d.body)]));
    const [mine, theirs] = [rows(this.kept("documents")), rows(whole.documents)];
    for (const [key, body] of theirs) if (mine.get(key) !== body) return `phone ${this.number} has ${mine.has(key) ? "another" : "no"} ${key}`;
    for (const key of mine.keys()) if (!theirs.has(key)) return `phone ${this.number} still has ${key}`;
    return "";
  }

  kept(store) {
    const records = this.disk.factory._databases.get("penround").rawObjectStores.get(store).records;
    return [...records.values()].map((record) => record.value);
  }

  get lastToken() { return this.fact("token"); }

  fact(key) {
    const records = this.disk.factory._databases.get("penround")?.rawObjectStores.get("facts")?.records;
    for (const record of records?.values() ?? []) if (record.key === key) return record.value;
    return null;
  }

  /** Each photo came in, but those about nothing. */
  judgeFiles(truth) {
    const came = new Set(truth.files);
    for (const id of this.files) if (!came.has(id) && !this.left.has(id)) this.fail("a photo vanished");
  }

  /** Each word came in once, in the order said; what was refused is shown. */
  judge(came, truth) {
    for (const [id, { kind }] of this.unsaid) if (came.has(id)) this.fail(`${kind} was taken back and came in`);
    const ids = new Map(this.said.map((s, n) => [s.id, n]));
    const order = truth.events.filter((e) => ids.has(e.id)).map((e) => ids.get(e.id));
    for (let n = 1; n < order.length; n += 1) if (order[n] <= order[n - 1]) this.fail(`${this.said[order[n]].kind} came in after ${this.said[order[n - 1]].kind}, which was said later`);
    for (const s of this.said) {
      const event = came.get(s.id);
      const isUnreadable = s.kind.length > 40;
      const teller = this.history.people.find((p) => p.worker === s.worker);
      if (event?.state === "applied" && event.actor_id !== teller?.actor) this.fail(`${s.kind} came in as another's word`);
      if (!event && !isUnreadable) this.fail(`${s.kind} vanished`);
      const isShown = this.app.view.refused.some((e) => e.id === s.id);
      if ((isUnreadable || event?.state === "refused") && !isShown) this.fail(`${s.kind} was refused and is not shown`);
    }
  }
}
