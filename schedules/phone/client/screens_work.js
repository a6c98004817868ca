// @ts-check
// What to do next, and how to say that it is done.

import { button, empty, fact, h, pair, signed, soft, stack } from "./dom.js";
import { icon } from "./icons.js";
import { asksWhich, askWhich, camera, choose, chooseOne, fault, keypad, numberOf, ownWords, readAloud, safety } from "./screens_parts.js";
import { duration, moment, number, say, span, t, tn } from "./words.js";

/** @typedef {import("./main.js").Ui} Ui */
/** @typedef {import("./view.js").Job} Job */

export const isOpen = (/** @type {Job} */ job) => job.status === "NEEDS-ACTION" || job.status === "IN-PROCESS";
const isLate = (/** @type {Job} */ job, /** @type {number} */ now) => isOpen(job) && Date.parse(job.due_at) < now;
export const nameOf = (/** @type {Job} */ job) => `${say(job.title)} ${say(job.place)}`;
const workOf = (/** @type {Job} */ job) => ({ work_order: job.id, machine: job.machine?.id ?? null });

/** Under way first, then as planned. @param {Job[]} jobs */
export function inOrder(jobs) {
  const rank = (/** @type {Job} */ j) => (j.status === "IN-PROCESS" ? 0 : 1);
  return [...jobs].sort((a, b) => rank(a) - rank(b) || a.planned_start.localeCompare(b.planned_start) || a.due_at.localeCompare(b.due_at));
}

// A job in few words -----------------------------------------------------------------------------------

/** State by word and shape; what needs somebody stands out. @param {Job} job */
export function stateOf(job) {
  if (job.status === "NEEDS-ACTION" && job.waiting_on.length)
    return badge("waiting", t("waiting_on", { what: job.waiting_on.map((w) => say(w.name)).join(", ") }), true);
  const [sign, word] = { "NEEDS-ACTION": ["to_do", "to_do"], "IN-PROCESS": ["under_way", "under_way"], CANCELLED: ["could_not", "could_not"] }[job.status]
    ?? (job.outcome === "part" ? ["part", "part_done"] : ["done", "done"]);
  return badge(sign, job.n_left ? `${t(word)}: ${tn("left_over", job.n_left)}` : t(word), sign === "could_not");
}

/** @param {string} sign @param {string} words @param {boolean} [isNeeding] */
export const badge = (sign, words, isNeeding = false) => h("span", { class: isNeeding ? "state needs" : "state" }, icon(sign), h("span", {}, words));

/** @param {Job} job @param {number} now */
export const statesOf = (job, now) => h("span", { class: "states" }, stateOf(job), isLate(job, now) && badge("late", t("late"), true));

/** How much there is to do. @param {Job} job */
function amountOf(job) {
  if (job.counts_loads && job.loads) return tn("n_loads", job.loads);
  return job.n_stalls ? tn("stalls", job.n_stalls) : "";
}

/** Before when, how much, with what: each stays on one line. @param {Job} job */
function detailsOf(job) {
  const all = [isOpen(job) && t("before", { when: moment(job.due_at) }), amountOf(job), job.machine && t("with", { what: job.machine.name })].filter(Boolean);
  return h("span", { class: "details" }, all.map((one, i) => [h("span", { class: i || !isOpen(job) ? null : "due-by" }, one), " "]));
}

/** @param {Ui} ui @param {Job} job @param {string} [who] */
export function jobCard(ui, job, who) {
  return h("button", { type: "button", class: "card", id: `job-${job.id}`, on: { click: () => ui.go("job", job.id) } },
    who && h("span", { class: "who" }, who), h("strong", {}, nameOf(job)), h("span", { class: "when" }, span(job.planned_start, job.planned_end)),
    detailsOf(job), statesOf(job, ui.now()));
}

// My jobs ------------------------------------------------------------------------------------------------

/** The next job fills the screen; the others stand below it. @param {Ui} ui */
export function jobs(ui) {
  const open = inOrder(ui.view.jobs.filter(isOpen));
  const closed = inOrder(ui.view.jobs.filter((j) => !isOpen(j)));
  const [next, ...rest] = open;
  return stack(
    next ? hero(ui, next, true) : empty(t("no_jobs"), signed("tell_us", t("tell_us"), () => ui.go("tell_us"), "wide")),
    rest.length > 0 && [h("h2", {}, t("after_that")), rest.map((j) => jobCard(ui, j))],
    closed.length > 0 && [h("h2", {}, t("closed")), closed.map((j) => jobCard(ui, j))]);
}

/** @param {Ui} ui @param {Job} job @param {boolean} [isHome] */
function hero(ui, job, isHome = false) {
  if (job.is_mine && job.status === "IN-PROCESS" && job.counts_loads) return cab(ui, job, isHome);
  const facts = [isHome && h("strong", {}, nameOf(job)), h("span", { class: "when" }, span(job.planned_start, job.planned_end)), detailsOf(job), statesOf(job, ui.now())];
  return h("section", { class: "hero stack" },
    isHome ? h("button", { type: "button", class: "card first", id: `job-${job.id}`, on: { click: () => ui.go("job", job.id) } }, facts) : h("div", { class: "facts" }, facts),
    dangers(job), acts(ui, job));
}

/** Seen from the cab: how many so far, one more, done; all else stands below. @param {Ui} ui @param {Job} job @param {boolean} isHome */
function cab(ui, job, isHome) {
  return h("section", { class: "hero cab stack" }, isHome && h("h2", {}, nameOf(job)), acts(ui, job), dangers(job),
    h("div", { class: "facts" }, h("span", { class: "when" }, span(job.planned_start, job.planned_end)), detailsOf(job), statesOf(job, ui.now())),
    isHome && signed("on", t("how"), () => ui.go("job", job.id), "wide", { id: `job-${job.id}` }));
}

/** @param {Job} job */
function dangers(job) {
  const words = [job.needs_lock && !job.is_locked && t("lock_short"), say(job.caution)].filter(Boolean);
  return words.length > 0 && safety(words.map((w) => h("p", {}, w)), job.needs_lock && !job.is_locked ? "warning" : "caution");
}

/** What can be said of a job now: the likeliest is the main button. @param {Ui} ui @param {Job} job */
function acts(ui, job) {
  if (!isOpen(job) || !job.is_mine) return null;
  const began = job.status === "IN-PROCESS";
  const done = () => (job.goes_to ? ui.go("goes_to", job.id) : void ui.tell("done", workOf(job), t("done"), backOf(job)));
  return [
    !began && button(t("start"), () => start(ui, job), "main", { id: "start" }),
    began && job.counts_loads && loadsOf(ui, job),
    began && button(t("done"), done, job.counts_loads ? "main second" : "main", { id: "done" }),
    pair(signed("part", t("part"), () => ui.go("part", job.id), "", { id: "part" }), signed("could_not", t("could_not"), () => ui.go("could_not", job.id), "", { id: "could-not" })),
  ];
}

/** How an ending is taken back: by another fact, but where it books sand, by not being sent yet. @param {Job} job */
const backOf = (job) => (job.counts_loads || job.goes_to || job.batch ? {} : { undo: { work_order: job.id } });

/** @param {Ui} ui @param {Job} job */
function start(ui, job) {
  if (job.needs_lock && !job.is_locked) ui.go("lock_first", job.id);
  else void ui.tell("start", workOf(job), t("start"), { undo: { work_order: job.id } });
}

/** How many so far, and one more by one tap. @param {Ui} ui @param {Job} job */
function loadsOf(ui, job) {
  const load = () => void ui.tell("load", workOf(job), tn("n_loads", job.loads + 1), { undo: { work_order: job.id } });
  return [h("p", { class: "count" }, h("span", { id: "n-loads" }, number(job.loads)), h("span", { class: "unit" }, tn("loads", job.loads))), button(t("load"), load, "main", { id: "load" })];
}

// One job ------------------------------------------------------------------------------------------------

/** @param {Ui} ui @param {number} id */
export const jobBy = (ui, id) => ui.view.crewJobs.find((j) => j.id === id);

/** @param {Ui} ui */
const gone = (ui) => empty(t("job_gone"), button(t("my_jobs"), () => ui.go("jobs"), "wide"));

/** A job of mine, or of somebody whom I lead. @param {Ui} ui @param {number | {id: number, who: number}} arg */
export function job(ui, arg) {
  const { id, who } = typeof arg === "number" ? { id: arg, who: null } : arg;
  const one = jobBy(ui, id);
  if (!one) return gone(ui);
  const others = one.worker_ids.filter((w) => w !== ui.view.me?.id).map((w) => ui.view.people.find((p) => p.id === w)?.name).filter(Boolean);
  return stack(
    hero(ui, one),
    ui.view.is_lead && isOpen(one) && signed("crew", t("give"), () => ui.go("give", { id: one.id, who }), one.is_mine ? "wide" : "main", { id: "give" }),
    others.length > 0 && soft(t("with", { what: others.join(", ") })),
    how(ui, one),
    isOpen(one) && one.is_mine && more(ui, one));
}

/** @param {Ui} ui @param {Job} one */
function how(ui, one) {
  const words = say(one.how);
  return [
    one.picture && h("figure", {}, ui.shown(one.picture), h("figcaption", { class: "soft" }, t("last_picture"))),
    words && [h("h2", {}, t("how")), h("p", { class: "how" }, words)],
    readAloud([`${nameOf(one)}.`, span(one.planned_start, one.planned_end), words, say(one.caution)].filter(Boolean).join(" ")),
  ];
}

/** @param {Ui} ui @param {Job} one */
function more(ui, one) {
  const n = ui.view.events.filter((e) => e.kind === "photo" && e.payload.work_order === one.id).length;
  return [
    one.machine && signed("look", `${t("look_round")}: ${one.machine.name}`, () => ui.go("look_round", one.machine?.id), "wide", { id: "look-round" }),
    one.batch && button(t("moisture"), () => ui.go("moisture", one.batch), "wide", { id: "moisture" }),
    camera(ui, "job", n, (uuid) => void ui.tell("photo", { attachment: uuid, work_order: one.id }, t("on_job")), "wide"),
    signed("tell_us", t("tell_us"), () => ui.go("tell_us"), "wide"),
  ];
}

/** Asks for the lock before the start; begun without one is told all the same, and a lead looks. @param {Ui} ui @param {number} id */
export function lock_first(ui, id) {
  const one = jobBy(ui, id);
  if (!one) return gone(ui);
  const begin = async () => { ui.go("job", id); await ui.tell("start", workOf(one), t("start"), { undo: { work_order: id } }); };
  const locked = async () => { await ui.app.say("lock_on", { place: one.place_id, what: "" }); await begin(); };
  return stack(fact(t("lock_missing")), safety(t("needs_lock"), "warning"),
    button(t("lock_on_start"), () => void locked(), "main", { id: "lock-and-start" }),
    h("div", { class: "apart" }, button(t("start_unlocked"), () => void begin(), "wide", { id: "start-unlocked" })));
}

/** Where the sand went, before it is done. @param {Ui} ui @param {number} id */
export function goes_to(ui, id) {
  const one = jobBy(ui, id);
  if (!one) return gone(ui);
  const places = ui.view.sandPlaces.filter((p) => p.kind === one.goes_to);
  const done = (/** @type {number | null} */ to_place) => { ui.go("jobs"); return ui.tell("done", { ...workOf(one), to_place }, t("done"), backOf(one)); };
  return stack(places.map((p) => button(say(p.name), () => void done(p.id), "wide", { id: `to-${p.id}` })),
    button(t("none"), () => void done(null), "wide", { id: "to-none" }));
}

/** @param {Ui} ui @param {number} id */
export function part(ui, id) {
  const one = jobBy(ui, id);
  if (!one) return gone(ui);
  const send = () => {
    const n = numberOf(ui, "n_left");
    if (n === null) return;
    if (n < 1) { ui.state.fault = t("number_needed"); ui.redraw(); return; }
    ui.go("jobs");
    void ui.tell("part", { ...workOf(one), n_left: Math.round(n) }, t("part"), backOf(one));
  };
  return stack(soft(nameOf(one)), asksWhich(ui) ? askWhich(ui, "n_left", send) : [keypad(ui, "n_left", t("how_many_left"), { whole: true }), fault(ui.state.fault), button(t("part"), send, "main", { id: "send" })]);
}

const REASONS = ["broken", "cows", "sand", "time", "unsafe", "ice"];

/** One tap on why; other reasons in words. @param {Ui} ui @param {number} id */
export function could_not(ui, id) {
  const one = jobBy(ui, id);
  if (!one) return gone(ui);
  const say_so = (/** @type {string} */ reason) => { ui.go("jobs"); void ui.tell("could_not", { work_order: id, reason }, t("could_not"), { undo: { work_order: id } }); };
  const own = () => {
    const words = String(ui.state.reason ?? "").trim();
    if (words) { say_so(words); return; }
    ui.state.fault = t("words_few");
    ui.redraw();
  };
  return stack(soft(nameOf(one)), h("p", { class: "says" }, t("why_not")),
    chooseOne(REASONS.map((r) => [r, t(`why_${r}`)]), null, (r) => say_so(t(`why_${r}`)), "why"),
    ownWords(ui, "reason", t("why_more")), fault(ui.state.fault), button(t("could_not"), own, "wide", { id: "send" }));
}

/** @param {Ui} ui @param {number} batch */
export function moisture(ui, batch) {
  const state = ui.state;
  state.basis ??= "wb";
  state.spots ??= 3;
  const send = () => {
    const pct = numberOf(ui, "pct");
    if (pct === null) return;
    if (pct > 90) { state.fault = t("number_needed"); ui.redraw(); return; }
    ui.go("jobs");
    void ui.tell("moisture_test", { batch, moisture_frac: Math.round(pct * 1000) / 100_000, basis: state.basis, n_spots: state.spots }, t("moisture"));
  };
  if (asksWhich(ui)) return askWhich(ui, "pct", send);
  return stack(keypad(ui, "pct", t("moisture_pct"), { step: 0.5 }), fault(state.fault), button(t("save"), send, "main", { id: "send" }),
    chooseOne([["wb", t("wet")], ["db", t("dry")]], state.basis, (b) => { state.basis = b; ui.redraw(); }, "basis"),
    choose(ui, "spots", t("spots"), [1, 2, 3, 5, 8].map((n) => [n, String(n)])));
}

/** Hours of the person's jobs on a day, by plan. @param {Job[]} jobs @param {(iso: string) => boolean} isToday */
export function plannedToday(jobs, isToday) {
  const mine = jobs.filter((j) => isToday(j.planned_start) && j.outcome !== "could_not");
  const all_min = mine.reduce((sum, j) => sum + (Date.parse(j.planned_end) - Date.parse(j.planned_start)) / 60_000, 0);
  return { n: mine.length, words: duration(all_min), ends_at: mine.map((j) => j.planned_end).sort().at(-1) };
}

