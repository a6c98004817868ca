// @ts-check
// One function a screen. Each gets the app (parcel, go, tell) and returns its main part.

import { button, h } from "./dom.js";
import { counts } from "./outbox.js";
import { allEvents } from "./store.js";
import { clock, moment, span, speaking, t } from "./words.js";

/** @typedef {{parcel: any, local: any, go: (screen: string, arg?: any) => void, tell: (kind: string, payload: any, words: string, undo?: any) => Promise<void>, sendNow: () => void, forget: (seq: number) => Promise<void>}} App */

/** A job as it stands here: the server's word, and on top of it what this phone has said since. */
function stateOf(job, app) {
  return { ...job, ...(app.local.jobs[job.id] ?? {}) };
}

function stateBadge(job) {
  if (job.status === "NEEDS-ACTION" && job.waiting_on.length)
    return h("span", { class: "state needs" }, `${t("waiting_on")} ${job.waiting_on.map((w) => w.name).join(", ")}`);
  const word = { "NEEDS-ACTION": "to_do", "IN-PROCESS": "under_way", CANCELLED: "could_not" }[job.status]
    ?? (job.outcome === "part" ? "part_done" : "done");
  return h("span", { class: "state" }, t(word));
}

const amountOf = (job) => (job.n_stalls ? `${job.n_stalls} ${t("stalls")}` : "");
const isOpen = (job) => job.status === "NEEDS-ACTION" || job.status === "IN-PROCESS";

function jobCard(job, app, first) {
  const late = isOpen(job) && new Date(job.due_at) < new Date();
  return h("button", { type: "button", class: first ? "card first" : "card", on: { click: () => app.go("job", job.id) } },
    h("strong", {}, `${job.title} ${job.place}`),
    h("span", { class: "when" }, span(job.planned_start, job.planned_end)),
    h("span", { class: "soft" }, [`${t("before")} ${moment(job.due_at)}`, amountOf(job), job.machine?.name].filter(Boolean).join(" · ")),
    h("span", { class: "states" }, stateBadge(job), late && h("span", { class: "state needs" }, t("late"))));
}

/** @param {App} app */
export function jobs(app) {
  const all = app.parcel.jobs.map((j) => stateOf(j, app));
  const open = all.filter(isOpen).sort((a, b) => (a.status === b.status ? a.planned_start.localeCompare(b.planned_start) : a.status === "IN-PROCESS" ? -1 : 1));
  const closed = all.filter((j) => !isOpen(j));
  return h("div", { class: "stack" },
    open.length ? open.map((j, i) => jobCard(j, app, i === 0)) : h("p", { class: "empty" }, t("no_jobs")),
    closed.length ? [h("h2", {}, t("closed")), closed.map((j) => jobCard(j, app, false))] : null);
}

/** @param {App} app @param {number} id */
export function job(app, id) {
  const found = app.parcel.jobs.find((j) => j.id === id);
  if (!found) return jobs(app);
  const one = stateOf(found, app);
  const work = { work_order: one.id, machine: one.machine?.id ?? null };
  const began = one.status === "IN-PROCESS";
  return h("div", { class: "stack" },
    h("div", {}, stateBadge(one)),
    h("p", { class: "fact" }, span(one.planned_start, one.planned_end)),
    h("p", {}, [`${t("before")} ${moment(one.due_at)}`, one.machine && `${t("with")} ${one.machine.name}`, amountOf(one)].filter(Boolean).join(" · ")),
    one.needs_lock && h("p", { class: "caution" }, t("needs_lock")),
    one.caution && h("p", { class: "caution" }, one.caution),
    one.status === "NEEDS-ACTION" && button(t("start"), () => one.needs_lock && !one.is_locked ? app.go("lock_first", one.id) : app.tell("start", work, t("start"), { work_order: one.id }), "main", { id: "start" }),
    began && one.counts_loads && [h("p", { class: "count" }, one.loads, h("span", { class: "unit" }, t("loads"))), button(t("load"), () => app.tell("load", work, t("load"), { work_order: one.id }), "main")],
    began && (one.goes_to
      ? form([field("to_place", t("goes_to"), choose(app.parcel.sand_places.filter((p) => p.kind === one.goes_to).map((p) => [p.id, p.name])))], t("done"),
        (data) => { void app.tell("done", { ...work, to_place: Number(data.get("to_place")) || null }, t("done"), { work_order: one.id }); }, "done")
      : button(t("done"), () => app.tell("done", work, t("done"), { work_order: one.id }), "main", { id: "done" })),
    isOpen(one) && h("div", { class: "pair apart" },
      button(t("part"), () => app.go("part", one.id), "", { id: "part" }),
      button(t("could_not"), () => app.go("could_not", one.id), "", { id: "could-not" })),
    one.batch && isOpen(one) && button(t("moisture"), () => app.go("moisture", one.batch), "wide"),
    one.how && h("p", {}, one.how),
    one.how && "speechSynthesis" in window && button(t("read_aloud"), () => readAloud(`${one.title} ${one.place}. ${one.how} ${one.caution}`), "wide"));
}

/** Asks for the lock before the start; begun without one is told all the same, and a lead looks.
 * @param {App} app @param {number} id */
export function lock_first(app, id) {
  const one = app.parcel.jobs.find((j) => j.id === id);
  if (!one) return jobs(app);
  const start = () => {
    app.go("job", id);
    return app.tell("start", { work_order: id, machine: one.machine?.id ?? null }, t("start"), { work_order: id });
  };
  return h("div", { class: "stack" },
    h("p", { class: "fact" }, t("lock_missing")),
    h("p", { class: "caution" }, t("needs_lock")),
    button(t("lock_on_start"), () => app.tell("lock_on", { place: one.place_id, what: "" }, t("lock_on")).then(start), "main", { id: "lock-and-start" }),
    h("div", { class: "apart" }, button(t("start_unlocked"), start, "wide", { id: "start-unlocked" })));
}

function readAloud(words) {
  const saying = new SpeechSynthesisUtterance(words);
  saying.lang = speaking();
  speechSynthesis.cancel();
  speechSynthesis.speak(saying);
}

/** A form read on finger-up of its one main button; `does` gives back what is wrong, if anything is. */
function form(fields, words, does, id = null, more = null) {
  const fault = h("p", { role: "alert", class: "fault" });
  return h("form", { class: "stack", novalidate: true, on: { submit: (e) => { e.preventDefault(); fault.textContent = does(new FormData(e.target)) ?? ""; } } },
    fields, fault, h("button", { class: "main", type: "submit", id }, words), more);
}

function field(name, words, input) {
  input.id = `field-${name}`;
  input.setAttribute("name", name);
  return [h("label", { for: input.id }, words), input];
}

const tick = (name, words) => h("label", { class: "tick" }, h("input", { type: "checkbox", name }), " ", words);
const digits = (value = "") => h("input", { class: "digits", inputmode: "decimal", autocomplete: "off", value });
const text = () => h("input", { maxlength: 300, autocomplete: "off" });
const choose = (options) => h("select", {}, options.map(([value, words]) => h("option", { value }, words)));

/** Reads 1250.5 and 1,250.5; gives null for what could be meant in two ways (1.250, 12,5). */
export function readNumber(typed) {
  const clean = typed.trim();
  if (/^\d{1,3}(,\d{3})+(\.\d+)?$/.test(clean)) return Number(clean.replaceAll(",", ""));
  return /^\d+(\.\d{1,2})?$/.test(clean) ? Number(clean) : null;
}

/** @param {App} app @param {number} id */
export function part(app, id) {
  return form([field("n_left", t("how_many_left"), digits())], t("part"), (data) => {
    const n = readNumber(String(data.get("n_left")));
    if (!n) return t("number_needed");
    void app.tell("part", { work_order: id, n_left: Math.round(n) }, t("part"), { work_order: id });
    app.go("jobs");
  });
}

/** @param {App} app @param {number} id */
export function could_not(app, id) {
  return form([field("reason", t("why_not"), text())], t("could_not"), (data) => {
    const reason = String(data.get("reason")).trim();
    if (!reason) return t("words_needed");
    void app.tell("could_not", { work_order: id, reason }, t("could_not"), { work_order: id });
    app.go("jobs");
  });
}

/** @param {App} app @param {number} batch */
export function moisture(app, batch) {
  const fields = [field("pct", t("moisture_pct"), digits()), field("basis", t("basis"), choose([["wb", t("wet")], ["db", t("dry")]])), field("spots", t("spots"), digits("3"))];
  return form(fields, t("save"), (data) => {
    const pct = readNumber(String(data.get("pct")));
    const n_spots = readNumber(String(data.get("spots"))) ?? 1;
    if (pct === null || pct > 90) return t("number_needed");
    void app.tell("moisture_test", { batch, moisture_frac: pct / 100, basis: data.get("basis"), n_spots }, t("moisture"));
    app.go("jobs");
  });
}

const lastOf = (machine) => `${t("last")} ${machine.meter_h.toLocaleString("en-US")} h · ${moment(machine.read_at)}`;

/** @param {App} app */
export function machines(app) {
  if (!app.parcel.machines.length) return h("p", { class: "empty" }, t("no_machines"));
  return h("div", {}, app.parcel.machines.map((m) => h("section", { class: "line" },
    h("strong", {}, m.name), " ", m.is_held && h("span", { class: "state needs" }, t("held")),
    h("div", { class: "soft" }, m.meter_h === null ? "" : lastOf(m)),
    h("div", { class: "pair" }, button(t("read_meter"), () => app.go("hours", m.id)), button(t("look_round"), () => app.go("look_round", m.id))))));
}

/** @param {App} app @param {number} id */
export function hours(app, id) {
  const one = app.parcel.machines.find((m) => m.id === id);
  const fields = [h("p", { class: "fact" }, one.name), one.meter_h !== null && h("p", {}, lastOf(one)), field("meter_h", t("hours"), digits())];
  const more = h("details", {}, h("summary", {}, t("if_asked")), field("reason", t("reason"), text()), tick("is_new_meter", t("new_meter")));
  return form(fields, t("save"), (data) => {
    const meter_h = readNumber(String(data.get("meter_h")));
    if (meter_h === null) return t("number_needed");
    void app.tell("reading", { machine: id, meter_h, reason: data.get("reason"), is_new_meter: data.get("is_new_meter") !== null }, t("hours"));
    app.go("machines");
  }, null, more);
}

/** @param {App} app @param {number} id */
export function look_round(app, id) {
  const one = app.parcel.machines.find((m) => m.id === id);
  const lines = app.parcel.checks.filter((c) => c.kind === one.kind);
  /** @type {Map<number, any>} */
  const answers = new Map();
  const main = h("div", {}, h("p", { class: "fact" }, one.name), lines.map((line) => checkLine(line, answers)),
    h("p", { id: "look-round-fault", role: "alert", class: "fault" }),
    button(t("save"), () => {
      if (answers.size < lines.length) { /** @type {any} */ (main.querySelector("#look-round-fault")).textContent = t("all_ok"); return; }
      void app.tell("check", { machine: id, answers: [...answers.values()] }, t("look_round"));
      app.go("verdict", verdict(lines, answers));
    }, "main apart"));
  return main;
}

function checkLine(line, answers) {
  const more = h("div", { hidden: true }, h("p", {}, t("can_work")), h("div", { class: "pair" },
    pressed(t("yes"), () => answers.set(line.id, { item: line.id, ok: false, can_work: true })),
    pressed(t("no"), () => answers.set(line.id, { item: line.id, ok: false, can_work: false }))));
  return h("section", { class: "line" }, h("div", {}, line.text), h("div", { class: "pair" },
    pressed(t("good"), () => { more.hidden = true; answers.set(line.id, { item: line.id, ok: true }); }),
    pressed(t("not_good"), () => { more.hidden = false; answers.set(line.id, { item: line.id, ok: false, can_work: false }); })), more);
}

function pressed(words, does) {
  const key = button(words, () => {
    for (const other of key.parentElement?.children ?? []) other.setAttribute("aria-pressed", String(other === key));
    does();
  }, "", { "aria-pressed": "false" });
  return key;
}

/** The same rule as the server's: a failed safety line, or one that cannot work, parks it. */
function verdict(lines, answers) {
  const bad = lines.filter((l) => !answers.get(l.id).ok);
  if (bad.some((l) => l.is_safety || !answers.get(l.id).can_work)) return "park";
  return bad.length ? "with_care" : "run";
}

/** @param {App} app @param {string} found */
export function verdict_screen(app, found) {
  return h("div", { class: "stack" }, h("p", { class: "fact", id: "verdict" }, t(found)), button(t("back"), () => app.go("machines"), "main"));
}

/** @param {App} app */
export function locks(app) {
  const fields = [h("p", { class: "caution" }, t("lock_note")), field("place", t("place"), choose(app.parcel.places.map((p) => [p.id, p.name]))), field("what", t("what"), text())];
  return h("div", {}, app.parcel.locks.map((l) => h("section", { class: "line" },
    h("strong", {}, l.place), h("div", { class: "soft" }, `${t("owner")}: ${l.owner}, ${t("since")} ${moment(l.on_at)}`),
    l.is_mine && button(t("lock_off"), () => app.tell("lock_off", { lock: l.id }, t("lock_off")), "wide"))),
    form(fields, t("lock_on"), (data) => { void app.tell("lock_on", { place: Number(data.get("place")), what: data.get("what") }, t("lock_on")); }));
}

/** @param {App} app */
export function tell_us(app) {
  const fields = [field("text", t("problem"), text()), field("place", t("place"), choose([["", t("none")], ...app.parcel.places.map((p) => [p.id, p.name])])),
    field("machine", t("machine"), choose([["", t("none")], ...app.parcel.machines.map((m) => [m.id, m.name])])),
    tick("danger", t("is_danger"))];
  return form(fields, t("send"), (data) => {
    const words = String(data.get("text")).trim();
    if (!words) return t("words_needed");
    const payload = { text: words, place: Number(data.get("place")) || null, machine: Number(data.get("machine")) || null, is_safety: data.get("danger") !== null };
    void app.tell("problem", payload, t("tell_us"));
    app.go("jobs");
  });
}

/** @param {App} app */
export function cows(app) {
  if (!app.parcel.visits.length) return h("p", { class: "empty" }, t("no_visits"));
  return h("div", {}, app.parcel.visits.map((v) => h("section", { class: "line" }, h("strong", {}, v.pen),
    h("div", { class: "soft" }, `${t("empty")} ${span(v.last_out_at, v.first_back_at)}`),
    h("div", { class: "pair" }, ["called", "last_out", "first_back", "last_back"].map((name) =>
      button(t(`pen_${name}`), () => app.tell("pen_time", { visit: v.id, moment: name }, t(`pen_${name}`)), "", { disabled: [...v.said, ...(app.local.said?.[v.id] ?? [])].includes(name) }))))));
}

/** What was said, in the words of the button that said it. */
function nameOf(event) {
  const words = { reading: "hours", check: "look_round", moisture_test: "moisture", problem: "tell_us", language: "language_changed", pen_time: `pen_${event.payload.moment}` };
  return t(words[event.kind] ?? event.kind);
}

/** @param {App} app */
export async function sent(app) {
  const events = (await allEvents()).reverse();
  const n = await counts();
  return h("div", { class: "stack" },
    h("p", { class: "fact" }, n.waiting ? `${t("saved_here")} (${n.waiting})` : t("all_sent")),
    button(t("send_now"), app.sendNow, "main"),
    events.length ? events.map((e) => h("section", { class: "line" },
      h("strong", {}, nameOf(e)), ` ${moment(e.client_at)} `,
      e.state === "refused"
        ? [h("p", { class: "state needs" }, `${t("refused")}: ${e.answer?.detail ?? ""}`), button(t("seen"), () => void app.forget(e.seq), "wide")]
        : h("span", { class: "state" }, t(e.state === "waiting" ? "saved_here" : "sent_ok"))))
      : h("p", { class: "soft" }, t("nothing_waiting")));
}
