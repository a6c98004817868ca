// @ts-check
// What the screens show: the documents the farm sent, and on top of them what was said here and the
// documents do not hold yet. Pure: no screen, no storage, no clock of its own.

// What comes from the farm -----------------------------------------------------------------------------

/** @typedef {{en: string, es: string}} Text a text in both languages */
/** @typedef {{scope: string, kind: string, key: string, body: any}} Doc */
/**
 * @typedef {object} Pulled one answer of the pull
 * @property {string} cursor
 * @property {string} epoch
 * @property {number} version
 * @property {string} now
 * @property {number | null} worker whose phone it is; null where several people share it
 * @property {number} taken_seq the documents hold what this phone said up to this number
 * @property {string[]} held events asked about that the documents hold
 * @property {boolean} whole
 * @property {Doc[]} documents without a body: gone
 * @property {string[]} dropped_scopes
 * @property {number} kept_through version through which a backup of the farm holds everything
 */

/** @typedef {{name: string, time_zone: string, clock_h: number, units: string, nouns: Record<"en" | "es", Record<string, string>>}} Farm */
/** @typedef {{id: number, name: string, crew: number | null, role: string, language: string}} Worker */
/** @typedef {{salt: string, iterations: number, hash: string}} Pin salt and hash in base64 */
/** @typedef {{id: number, name: string, lead_ids: number[]}} Crew */
/** @typedef {{id: number, kind: string, name: Text, place_order: number, lockable: boolean, takes_sand: boolean}} Place */
/** @typedef {{id: number, name: string, kind: string, is_held: boolean, hold_cause: any, meter_h: number | null, read_at: string | null}} Machine */
/** @typedef {{id: number, machine_kind: string, text: Text, is_safety: boolean, spot?: Text, order: number}} CheckLine `spot`: where on the machine it is looked at */
/** @typedef {{id: number | null, of: string | null, place_id: number, place: Text, owner: string, owner_worker: number | null, on_at: string, is_mine: boolean, is_pending: boolean}} Lock `of`: the event that put it on, where that was here */
/** @typedef {{id: number, pen: number, name: Text, called_at: string, last_out_at: string, first_back_at: string, last_back_at: string, said: string[]}} Visit */
/**
 * @typedef {object} Job
 * @property {number} id
 * @property {Text} title
 * @property {Text} place
 * @property {number} place_id
 * @property {number | null} n_stalls
 * @property {any} amount
 * @property {string} starts_after
 * @property {string} due_at
 * @property {string} planned_start
 * @property {string} planned_end
 * @property {string} status NEEDS-ACTION, IN-PROCESS, COMPLETED or CANCELLED
 * @property {string} outcome
 * @property {boolean} is_begun whether somebody began it, however it stands now
 * @property {number | null} n_left
 * @property {number} loads
 * @property {boolean} counts_loads
 * @property {string} goes_to kind of place that sand goes to, or nothing
 * @property {number | null} batch
 * @property {Text} how
 * @property {Text} caution
 * @property {boolean} needs_lock
 * @property {number[]} worker_ids
 * @property {number[]} locked_for whose own locks keep water away
 * @property {{id: number, name: string} | null} machine
 * @property {{code: string, name: Text}[]} waiting_on
 * @property {string} picture id of the newest photo of its place, or of the same work there; or nothing
 * @property {boolean} is_mine
 * @property {boolean} is_locked whether my own lock keeps water away
 * @property {boolean} is_pending whether what is shown has not reached the farm's documents yet
 */
/** @typedef {{id: string, machine: number, item: number, text: Text, caution: Text, due_h: number | null, due_on: string | null, last_done_h: number | null, last_done_at: string | null, minutes: number, parts: any, is_pending: boolean}} Service */
/** @typedef {{id: string, problem: number | null, defect: number | null, text: string, place_id: number | null, place: Text | null, machine: {id: number, name: string} | null, reported_by: string, reported_at: string, is_safety: boolean, attachments: string[], is_pending: boolean, is_answered: boolean}} Problem what nobody has answered; `problem` or `defect` is its number at the farm, none while it waits here */
/** @typedef {{id: string, who: string, kind: string, at: string, line: Text, answers: {code: string, words: Text}[], settled: string | null}} Look `settled`: the answer given here */
/** @typedef {{crew: number, id: number | null, made_at: string, by: string, left: string[], broken: string[], watch: string[], first: string[], safety: {id: number | null, text: string, by: string, at: string}[], taken_at: string | null, taken_by: string | null, is_pending: boolean}} Handover */
/** @typedef {{id: number, name: Text, depth_m: number, must_act_depth_m: number, level_m: number | null, read_at: string | null}} Basin `depth_m` from floor to rim */
/** @typedef {{id: string, place_id: number, place: Text, text: Text, order: number, answer: {ok: boolean, text: string, at: string, is_pending: boolean} | null}} WalkLine */

// What was said here -------------------------------------------------------------------------------------

/** @typedef {{seq: number, id: string, kind: string, payload: any, client_at: string, schema_version: number, worker?: number}} Told an event as it is sent */
/** @typedef {{id: string, state: any, code: string, detail: string, expected_seq: number | null, result: any, version?: number | null, epoch?: string}} Answer what came of an event, and in which life of the farm's database */
/** @typedef {{status: string, loads: number}} Back what taking a word back comes to: another status, or a load less */
/** @typedef {Told & {n: number, state: "waiting" | "applied" | "refused", answer?: Answer, seen?: boolean, back?: Back | null, held?: boolean, not_before?: number}} Kept an event as it is kept; `n` is its place in the order said, `held`: the documents hold it, whatever its number; `not_before`: until when, by the phone's clock, it can be taken back and is not sent; none once its sending has begun */

/**
 * @typedef {object} Who
 * @property {number | null} worker whose phone it is, or who picked their name on a shared one
 * @property {boolean} is_shared whether several people of a crew carry the phone; nobody leads from there
 * @property {string | null} epoch the life of the farm's database that the documents are of
 * @property {number} version the farm's version that the documents show
 * @property {number} taken number up to which the documents hold what this phone said, heard or not
 * @property {number} at now, in ms
 */

/**
 * @typedef {object} View
 * @property {Farm | null} farm
 * @property {Worker | null} me
 * @property {boolean} is_lead whether I lead people
 * @property {boolean} is_mechanic
 * @property {Job[]} jobs mine, by planned start
 * @property {Job[]} crewJobs all this phone carries, by planned start
 * @property {Machine[]} machines
 * @property {CheckLine[]} checks
 * @property {Place[]} places all carried
 * @property {Place[]} lockablePlaces
 * @property {Place[]} sandPlaces
 * @property {Lock[]} locks
 * @property {Visit[]} visits
 * @property {Worker[]} people
 * @property {Crew[]} crews
 * @property {Map<number, Pin>} pins by worker
 * @property {Service[]} services
 * @property {Problem[]} problems
 * @property {Look[]} looks
 * @property {Handover[]} handovers
 * @property {WalkLine[]} walk
 * @property {Basin[]} basins
 * @property {Kept[]} events what was said here, newest first, without what was refused and read
 * @property {Kept[]} refused what the person must read, newest first
 * @property {number} nWaiting
 */

const WALK_MS = 12 * 3600 * 1000;

/** Each thing once, whatever scopes hold it. @param {Doc[]} documents @param {string} kind @returns {Doc[]} */
function once(documents, kind) {
  return [...new Map(documents.filter((d) => d.kind === kind).map((d) => [d.key, d])).values()];
}

/** Bodies of a kind, with their number. @param {Doc[]} documents @param {string} kind @returns {any[]} */
const bodies = (documents, kind) => once(documents, kind).map((d) => ({ ...d.body, id: Number(d.key) }));

/** Bodies of a kind whose key is no number. @param {Doc[]} documents @param {string} kind @returns {any[]} */
const keyed = (documents, kind) => once(documents, kind).map((d) => ({ ...d.body, id: d.key }));

/**
 * Whether the documents do not hold the event yet. A number up to which the farm took what this phone
 * said, or `held`, tells it of events of which the answer was lost or counts no more.
 * @param {Kept} event @param {Who} who
 */
export function isPending(event, who) {
  const isComparable = event.state === "applied" && event.answer?.epoch === who.epoch;
  if (isComparable) return (event.answer?.version ?? 0) > who.version;
  return event.state !== "refused" && !event.held && event.seq > who.taken;
}

/**
 * @param {Doc[]} documents @param {Kept[]} events in the order they were said @param {Who} who
 * @returns {View}
 */
export function viewOf(documents, events, who) {
  const view = bare(documents, who);
  const before = [];
  nameLocks(view, events);
  for (const event of events) {
    if (event.state === "refused") continue;
    if (isPending(event, who)) OVER[event.kind]?.({ view, event, payload: event.payload, by: event.worker ?? who.worker, before });
    before.push(event);
  }
  layWalk(view, events, who);
  const told = events.filter((e) => e.state !== "refused" || !e.seen).reverse();
  view.events = told;
  view.refused = told.filter((e) => e.state === "refused");
  view.nWaiting = told.filter((e) => e.state === "waiting").length;
  finish(view, who);
  return view;
}

/** The documents alone. @param {Doc[]} documents @param {Who} who @returns {View} */
function bare(documents, who) {
  const all = (/** @type {string} */ kind) => bodies(documents, kind);
  const places = all("place").sort((a, b) => a.place_order - b.place_order);
  const people = all("worker").sort((a, b) => a.name.localeCompare(b.name));
  return {
    farm: all("farm")[0] ?? null,
    me: people.find((w) => w.id === who.worker) ?? null,
    is_lead: false, is_mechanic: false,
    jobs: [],
    crewJobs: all("job").map((j) => ({ ...j, is_mine: false, is_locked: false, is_pending: false })),
    machines: all("machine").sort((a, b) => a.name.localeCompare(b.name)),
    checks: all("check_line").sort((a, b) => a.order - b.order || a.id - b.id),
    places, lockablePlaces: places.filter((p) => p.lockable), sandPlaces: places.filter((p) => p.takes_sand),
    locks: all("lock").map((l) => ({ ...l, of: null, is_mine: false, is_pending: false })),
    visits: all("visit").sort((a, b) => a.called_at.localeCompare(b.called_at)),
    people, crews: all("crew").sort((a, b) => a.name.localeCompare(b.name)),
    pins: new Map(all("pin").map((p) => [p.id, p])),
    services: keyed(documents, "service").map((s) => ({ ...s, is_pending: false })),
    problems: keyed(documents, "problem").map((p) => ({ attachments: [], ...p, is_pending: false, is_answered: false })),
    looks: keyed(documents, "look").map((l) => ({ ...l, settled: null })),
    handovers: once(documents, "handover").map((d) => ({ ...d.body, crew: Number(d.key), is_pending: false })),
    walk: keyed(documents, "walk_line").map((w) => ({ ...w, answer: null })).sort((a, b) => a.order - b.order),
    basins: all("basin").sort((a, b) => a.id - b.id),
    events: [], refused: [], nWaiting: 0,
  };
}

/** What follows from who looks. @param {View} view @param {Who} who */
function finish(view, who) {
  const me = view.me;
  view.is_lead = !who.is_shared && (me?.role === "lead" || me?.role === "manager");
  view.is_mechanic = me?.role === "mechanic";
  for (const lock of view.locks) lock.is_mine = who.worker !== null && lock.owner_worker === who.worker;
  for (const job of view.crewJobs) {
    job.is_mine = who.worker !== null && job.worker_ids.includes(who.worker);
    job.is_locked = who.worker !== null && job.locked_for.includes(who.worker);
  }
  view.crewJobs.sort((a, b) => a.planned_start.localeCompare(b.planned_start) || a.id - b.id);
  view.jobs = view.crewJobs.filter((j) => j.is_mine);
}

// What an event changes in the view ------------------------------------------------------------------------

/** @typedef {{view: View, event: Kept, payload: any, by: number | null, before: Kept[]}} Over */

/** @param {Over} over @param {(job: Job) => Partial<Job>} change */
function job({ view, payload }, change) {
  const one = view.crewJobs.find((j) => j.id === payload.work_order);
  if (one) Object.assign(one, change(one), { is_pending: true });
}

/** @param {Over} over @param {(machine: Machine) => Partial<Machine>} change */
function machine({ view, payload }, change) {
  const one = view.machines.find((m) => m.id === payload.machine);
  if (one) Object.assign(one, change(one));
}

/** @param {View} view @param {number | null} id */
const nameOf = (view, id) => view.people.find((w) => w.id === id)?.name ?? "";
const OPEN = { outcome: "", n_left: null };

/** @type {Record<string, (over: Over) => void>} */
const OVER = {
  start: (over) => job(over, () => ({ status: "IN-PROCESS", is_begun: true, ...OPEN })),
  done: (over) => job(over, () => ({ status: "COMPLETED", outcome: "done", n_left: null })),
  part: (over) => job(over, () => ({ status: "COMPLETED", outcome: "part", n_left: over.payload.n_left })),
  could_not: (over) => job(over, () => ({ status: "CANCELLED", outcome: "could_not", n_left: null })),
  load: (over) => job(over, (one) => ({ loads: one.loads + 1, is_begun: true })),
  undo,
  give: (over) => job(over, () => ({ worker_ids: [over.payload.worker] })),
  reading: (over) => machine(over, () => ({ meter_h: over.payload.meter_h, read_at: over.event.client_at })),
  check: (over) => machine(over, (one) => (verdictOf(over.view.checks, over.payload.answers) === "park" ? { is_held: true } : { is_held: one.is_held })),
  hold: (over) => machine(over, () => ({ is_held: true, hold_cause: over.payload.cause })),
  service: (over) => {
    machine(over, (one) => (over.payload.meter_h == null ? {} : { meter_h: over.payload.meter_h, read_at: over.event.client_at }));
    const one = over.view.services.find((s) => s.machine === over.payload.machine && s.item === over.payload.item);
    if (one) Object.assign(one, { last_done_h: over.payload.meter_h, last_done_at: over.event.client_at, is_pending: true });
  },
  level: ({ view, event, payload }) => {
    const one = view.basins.find((b) => b.id === payload.basin);
    if (one) Object.assign(one, { level_m: payload.level_m, read_at: event.client_at });
  },
  lock_on: lockOn,
  lock_off: lockOff,
  pen_time: ({ view, payload }) => {
    const visit = view.visits.find((v) => v.id === payload.visit);
    if (visit && !visit.said.includes(payload.moment)) visit.said = [...visit.said, payload.moment];
  },
  problem: ({ view, event, payload, by }) => {
    const place = view.places.find((p) => p.id === payload.place)?.name ?? null;
    const broken = view.machines.find((m) => m.id === payload.machine);
    view.problems.push({ id: event.id, problem: null, defect: null, text: payload.text, place_id: payload.place ?? null, place, machine: broken ? { id: broken.id, name: broken.name } : null, reported_by: nameOf(view, by), reported_at: event.client_at, is_safety: payload.is_safety ?? false, attachments: payload.attachments ?? [], is_pending: true, is_answered: false });
  },
  answer_problem: ({ view, payload }) => {
    const one = view.problems.find((p) => (payload.defect ? p.defect === payload.defect : p.problem === payload.problem));
    if (one) one.is_answered = true;
  },
  settle: ({ view, payload }) => {
    const one = view.looks.find((l) => l.id === (payload.event ?? `work-${payload.work_order}`));
    if (one) one.settled = payload.answer;
  },
  language: ({ view, payload, by }) => {
    const one = view.people.find((w) => w.id === by);
    if (one) one.language = payload.language;
  },
  hand_over: ({ view, event, payload, by }) => {
    const former = view.handovers.find((h) => h.crew === payload.crew);
    const [name, at] = [nameOf(view, by), event.client_at];
    const open = (former?.safety ?? []).filter((item) => !payload.closed?.includes(item.id));
    const safety = [...open, ...(payload.safety ?? []).map((/** @type {string} */ text) => ({ id: null, text, by: name, at }))];
    view.handovers = view.handovers.filter((h) => h !== former);
    view.handovers.push({ left: [], broken: [], watch: [], first: [], ...payload, safety, id: null, made_at: at, by: name, taken_at: null, taken_by: null, is_pending: true });
  },
  take_handover: ({ view, event, payload, by }) => {
    const one = view.handovers.find((h) => h.id === payload.handover);
    if (one) Object.assign(one, { taken_at: event.client_at, taken_by: nameOf(view, by), is_pending: true });
  },
  set_pin: ({ view, payload, by }) => { if (by !== null) view.pins.set(by, payload); },
  reset_pin: ({ view, payload }) => { view.pins.delete(payload.worker); },
};

/** @param {Over} over */
function lockOn({ view, event, payload, by }) {
  const place = view.places.find((p) => p.id === payload.place)?.name ?? { en: "", es: "" };
  view.locks.push({ id: null, of: event.id, place_id: payload.place, place, owner: nameOf(view, by), owner_worker: by, on_at: event.client_at, is_mine: true, is_pending: true });
  for (const one of view.crewJobs) if (one.place_id === payload.place && by !== null) one.locked_for = [...one.locked_for, by];
}

/** Names the locks that were put on here by the event that did. @param {View} view @param {Kept[]} events */
function nameLocks(view, events) {
  const of = new Map(events.filter((e) => e.kind === "lock_on" && e.state === "applied").map((e) => [e.answer?.result?.lock, e.id]));
  for (const lock of view.locks) lock.of = of.get(lock.id) ?? null;
}

/** @param {Over} over */
function lockOff({ view, payload, by }) {
  const off = view.locks.find((l) => (payload.lock_of ? l.of === payload.lock_of : l.id === payload.lock)) ?? view.locks.find((l) => l.id !== null && l.id === payload.lock);
  view.locks = view.locks.filter((l) => l !== off);
  if (!off || view.locks.some((l) => l.place_id === off.place_id && l.owner_worker === by)) return;
  for (const one of view.crewJobs) if (one.place_id === off.place_id) one.locked_for = one.locked_for.filter((id) => id !== by);
}

const SAID_OF_WORK = ["start", "done", "part", "could_not", "load"];

/** Takes back the person's last word on the work, as the farm will. @param {Over} over */
function undo(over) {
  const one = over.view.crewJobs.find((j) => j.id === over.payload.work_order);
  const back = over.event.back ?? wordBack(over.before, over.payload.work_order, one);
  if (back?.loads) job(over, (one) => {
    const loads = Math.max(0, one.loads + back.loads);
    return { loads, is_begun: one.is_begun && (loads > 0 || one.status !== "NEEDS-ACTION") };
  });
  else if (back) job(over, () => ({ status: back.status, is_begun: back.status === "IN-PROCESS", ...OPEN }));
}

/**
 * How a job stands once the last word on it is taken back: by what was said here, and by how it stands, since
 * what was said long ago is kept at the farm alone.
 * @param {Kept[]} events @param {number} work_order @param {Job} [shown] @returns {Back | null}
 */
export function wordBack(events, work_order, shown) {
  const words = standing(events.filter((e) => e.state !== "refused"), work_order);
  const last = words.at(-1)?.kind ?? (shown && lastWordOf(shown));
  if (!last) return null;
  if (last === "load") return { status: "", loads: -1 };
  const isBegun = last === "done" || (last !== "start" && (words.some((e) => e.kind === "start") || shown?.is_begun));
  return { status: isBegun ? "IN-PROCESS" : "NEEDS-ACTION", loads: 0 };
}

/** What was likely said last of a job that stands so. @param {Job} job */
function lastWordOf(job) {
  if (job.status === "IN-PROCESS") return job.loads > 0 ? "load" : "start";
  return { COMPLETED: job.outcome === "part" ? "part" : "done", CANCELLED: "could_not" }[job.status];
}

/** Words said here on one work order that are not taken back. @param {Kept[]} events @param {number} id */
function standing(events, id) {
  /** @type {Kept[]} */
  const words = [];
  for (const event of events) {
    if (event.payload.work_order !== id) continue;
    if (event.kind === "undo") words.pop();
    else if (SAID_OF_WORK.includes(event.kind)) words.push(event);
  }
  return words;
}

/**
 * The same rule as the farm's: a failed safety line, or one that cannot work, parks the machine.
 * @param {CheckLine[]} lines @param {{item: number, ok: boolean, can_work?: boolean}[]} answers
 * @returns {"run" | "with_care" | "park"}
 */
export function verdictOf(lines, answers) {
  const bad = answers.filter((a) => !a.ok);
  const isSafety = (/** @type {number} */ item) => lines.find((l) => l.id === item)?.is_safety ?? false;
  if (bad.some((a) => isSafety(a.item) || a.can_work === false)) return "park";
  return bad.length ? "with_care" : "run";
}

/** What keeps people safe is told at once. @param {string} kind @param {any} payload @param {CheckLine[]} lines */
export function isUrgent(kind, payload, lines) {
  if (kind === "check") return verdictOf(lines, payload.answers) === "park";
  return ["lock_on", "lock_off", "hold"].includes(kind) || (kind === "problem" && Boolean(payload.is_safety));
}

/** A walk-round's answers stay on its lines for the shift, whether sent or not. @param {View} view @param {Kept[]} events @param {Who} who */
function layWalk(view, events, who) {
  for (const event of events) {
    const age_ms = who.at - Date.parse(event.client_at);
    if (event.kind !== "walk" || event.state === "refused" || age_ms > WALK_MS) continue;
    const line = view.walk.find((w) => w.id === String(event.payload.line));
    if (line) line.answer = { ok: event.payload.ok, text: event.payload.text ?? "", at: event.client_at, is_pending: isPending(event, who) };
  }
}
