// @ts-check
// What leads look at: the crew now, the walk-round, the handover, what needs a look, problems.

import { button, empty, fact, h, pair, signed, soft, stack, tiles } from "./dom.js";
import { icon } from "./icons.js";
import { camera, choose, okLine, ownWords, safety } from "./screens_parts.js";
import { badge, inOrder, isOpen, jobBy, nameOf, statesOf } from "./screens_work.js";
import { moment, noun, say, span, t, tn } from "./words.js";
import "./words_more.js";

/** @typedef {import("./main.js").Ui} Ui */
/** @typedef {import("./view.js").Job} Job */
/** @typedef {import("./view.js").Worker} Worker */

// My crew now --------------------------------------------------------------------------------------------

/** The crews that I lead, else my own, else all. @param {Ui} ui @returns {Worker[]} */
export function crewOf(ui) {
  const mine = myCrews(ui);
  return ui.view.people.filter((p) => p.crew !== null && mine.includes(p.crew) && p.id !== ui.view.me?.id);
}

/** @param {Ui} ui @returns {number[]} */
function myCrews(ui) {
  const { me, crews } = ui.view;
  const led = crews.filter((c) => me && c.lead_ids.includes(me.id)).map((c) => c.id);
  return led.length ? led : me?.crew ? [me.crew] : crews.map((c) => c.id);
}

/** What a person is at, or comes to next. @param {Ui} ui @param {Worker} who */
function nowOf(ui, who) {
  const [job] = inOrder(ui.view.crewJobs.filter((j) => j.worker_ids.includes(who.id) && isOpen(j)));
  return job;
}

/** 0: stuck, 1: late, 2: has no job within the hour, 3: at work. @param {Job | undefined} job @param {number} now */
function standing(job, now) {
  if (!job || (job.status === "NEEDS-ACTION" && Date.parse(job.planned_start) > now + 3_600_000)) return 2;
  if (job.status === "NEEDS-ACTION" && job.waiting_on.length) return 0;
  return Date.parse(job.due_at) < now ? 1 : 3;
}

/** Who is where; what is stuck stands first. @param {Ui} ui */
export function crew(ui) {
  const rows = crewOf(ui).map((who) => { const job = nowOf(ui, who); return { who, job, at: standing(job, ui.now()) }; });
  rows.sort((a, b) => a.at - b.at || a.who.name.localeCompare(b.who.name));
  return stack(toTake(ui), tiles(asked(ui)), rows.length ? rows.map((r) => personCard(ui, r)) : empty(t("no_crew"), button(t("send_now"), () => ui.sendNow(), "wide")));
}

/** @param {Ui} ui @param {{who: Worker, job: Job | undefined, at: number}} row */
function personCard(ui, { who, job, at }) {
  if (!job) return h("section", { class: "card still" }, h("strong", {}, who.name), h("span", { class: "states" }, badge("waiting", t("no_job_now"), true)));
  return h("button", { type: "button", class: at < 2 ? "card first" : "card", id: `person-${who.id}`, on: { click: () => ui.go("job", { id: job.id, who: who.id }) } },
    h("strong", {}, who.name), h("span", { class: "when" }, nameOf(job)), h("span", { class: "soft" }, span(job.planned_start, job.planned_end)),
    h("span", { class: "states" }, at === 0 && badge("could_not", t("stuck"), true), at === 2 ? badge("waiting", t("no_job_now"), true) : statesOf(job, ui.now())));
}

/** Handovers of my crews that nobody took: taken by one tap. @param {Ui} ui */
function toTake(ui) {
  return myHandovers(ui).filter((one) => !one.taken_at && one.id !== null).map((one) => h("section", { class: "card still stack" }, h("strong", {}, t("handover")), soft(t("take_from", { name: say(one.by), when: moment(one.made_at) })),
    linesOf(one.safety).length > 0 && safety(linesOf(one.safety).map((l) => h("p", {}, l)), "warning"),
    pair(button(t("read_it"), () => ui.go("handover"), "", { id: "read-handover" }), signed("done", t("taken"), () => void ui.tell("take_handover", { handover: one.id }, t("taken")), "", { id: `take-${one.id}` }))));
}

/** @param {Ui} ui */
function asked(ui) {
  const looks = ui.view.looks.filter((l) => !l.settled).length;
  const problems = ui.view.problems.filter((p) => !p.is_answered).length;
  return [looks > 0 && signed("look", tn("needs_look", looks), () => ui.go("look"), "", { id: "to-look" }), problems > 0 && signed("problems", tn("n_problems", problems), () => ui.go("problems"), "", { id: "to-problems" })];
}

/** The third tap gives the job away. @param {Ui} ui @param {{id: number, who: number | null}} arg `who` had it until now */
export function give(ui, { id, who: had }) {
  const job = jobBy(ui, id);
  const others = crewOf(ui).concat(ui.view.me ? [ui.view.me] : []).filter((w) => !job?.worker_ids.includes(w.id));
  if (!job || !others.length) return empty(t("nobody_else"), button(t("crew_now"), () => ui.go("crew"), "wide"));
  const instead_of = had ?? job.worker_ids[0] ?? null;
  const seen = job.is_pending ? {} : { version: /** @type {any} */ (job).version };
  const to = (/** @type {Worker} */ who) => {
    ui.go("crew");
    void ui.tell("give", { work_order: id, worker: who.id, instead_of, ...seen }, t("given", { name: who.name }), instead_of === null ? {} : { back: ["give", { work_order: id, worker: instead_of, instead_of: who.id }] });
  };
  return stack(soft(nameOf(job)), h("p", { class: "says" }, t("give_to")), others.map((who) => {
    const busy = busyUntil(ui, who, job);
    return button([h("strong", {}, who.name), h("span", { class: "soft" }, busy ? t("busy_until", { when: moment(busy) }) : t("is_free"))], () => to(who), "wide person", { id: `to-${who.id}` });
  }));
}

/** @param {Ui} ui @param {Worker} who @param {Job} job */
function busyUntil(ui, who, job) {
  const over = ui.view.crewJobs.filter((j) => j.worker_ids.includes(who.id) && isOpen(j) && j.planned_start < job.planned_end && j.planned_end > job.planned_start);
  return over.map((j) => j.planned_end).sort().at(-1);
}

// Walk-round ---------------------------------------------------------------------------------------------

/** One place at a time, in walking order. @param {Ui} ui */
export function walk(ui) {
  const chunks = chunksOf(ui.view.walk);
  if (!chunks.length) return empty(t("no_walk"));
  ui.state.at ??= Math.max(0, chunks.findIndex((c) => c.lines.some((l) => !l.answer)));
  const at = Math.min(ui.state.at, chunks.length);
  if (at === chunks.length || chunks.every((c) => c.lines.every((l) => l.answer)) && !ui.state.again) return walkDone(ui);
  const chunk = chunks[at];
  const to = (/** @type {number} */ next) => { ui.state.at = next; ui.state.again = true; ui.redraw({ toTop: true }); };
  return stack(h("p", { class: "says" }, h("strong", {}, say(chunk.place)), " ", h("span", { class: "soft" }, t("part_of", { n: at + 1, of: chunks.length }))),
    chunk.lines.map((l) => walkLine(ui, l)), button(t("next"), () => to(at + 1), "main", { id: "next" }), at > 0 && button(t("back"), () => to(at - 1), "wide", { id: "earlier" }));
}

/** @param {import("./view.js").WalkLine[]} lines */
function chunksOf(lines) {
  /** @type {{place_id: number, place: any, lines: import("./view.js").WalkLine[]}[]} */
  const found = [];
  for (const line of lines) {
    if (found.at(-1)?.place_id !== line.place_id) found.push({ place_id: line.place_id, place: line.place, lines: [] });
    found.at(-1)?.lines.push(line);
  }
  return found;
}

/** @param {Ui} ui @param {import("./view.js").WalkLine} line */
function walkLine(ui, line) {
  const id = line.id;
  const isBad = ui.state[`bad-${id}`] ?? false;
  const ok = isBad ? false : line.answer?.ok;
  const tell = (/** @type {boolean} */ isOk, /** @type {string} */ text) => ui.tell("walk", { line: Number(id), ok: isOk, text, attachments: ui.state[`photo-${id}`] ? [ui.state[`photo-${id}`]] : [] }, isOk ? t("good") : t("not_good"));
  const answer = (/** @type {boolean} */ isOk) => { ui.state[`bad-${id}`] = !isOk; if (isOk) void tell(true, ""); else ui.redraw(); };
  const sent = line.answer && !line.answer.ok && line.answer.text;
  return okLine(id, say(line.text), ok, answer, ...(isBad ? [ownWords(ui, `words-${id}`, t("in_words")),
    camera(ui, `walk-${id}`, ui.state[`photo-${id}`] ? 1 : 0, (uuid) => { ui.state[`photo-${id}`] = uuid; ui.redraw(); }, "wide"),
    button(t("save"), () => { ui.state[`bad-${id}`] = undefined; void tell(false, String(ui.state[`words-${id}`] ?? "").trim() || (ui.state[`photo-${id}`] ? t("see_photo") : "")); }, "wide", { id: `save-${id}` })] : [sent && soft(sent)]));
}

/** @param {Ui} ui */
function walkDone(ui) {
  const bad = ui.view.walk.filter((l) => l.answer && !l.answer.ok);
  return stack(h("section", { class: "verdict run" }, icon(bad.length ? "part" : "done", "big"), fact(t("walk_done"))), h("p", {}, bad.length ? tn("walk_bad", bad.length) : t("walk_ok")),
    bad.map((l) => h("section", { class: "line" }, h("strong", {}, say(l.place)), h("p", {}, say(l.text)), soft(l.answer?.text ?? ""))),
    button(t("crew_now"), () => ui.go("crew"), "main", { id: "to-crew" }), button(t("start_again"), () => { ui.state.at = 0; ui.state.again = true; ui.redraw({ toTop: true }); }, "wide", { id: "again" }));
}

// Handover ------------------------------------------------------------------------------------------------

const BOXES = ["left", "broken", "watch", "first"];

/** Lines of a box, whatever it holds: words, or texts in both languages. @param {any} box @returns {string[]} */
export function linesOf(box) {
  const list = Array.isArray(box) ? box : String(box ?? "").split("\n");
  return list.map((one) => say(one?.text ?? one).trim()).filter(Boolean);
}

/** @param {Ui} ui */
function myHandovers(ui) {
  const mine = myCrews(ui);
  return ui.view.handovers.filter((one) => mine.includes(one.crew));
}

/** Four boxes; what is about safety stays until it is closed. @param {Ui} ui */
export function handover(ui) {
  const all = myHandovers(ui);
  const write = signed("handover", t("write_handover"), () => ui.go("write_handover"), all.some((one) => !one.taken_at) ? "wide" : "main", { id: "write" });
  if (!all.length) return stack(empty(t("no_handover")), write);
  return stack(all.map((one) => h("section", { class: "stack" },
    soft(t("take_from", { name: say(one.by), when: moment(one.made_at) }), all.length > 1 ? ` · ${ui.view.crews.find((c) => c.id === one.crew)?.name ?? ""}` : ""),
    linesOf(one.safety).length > 0 && safety([h("p", {}, t("box_safety")), h("ul", {}, linesOf(one.safety).map((l) => h("li", {}, l)))], "warning"),
    one.taken_at ? badge("done", t("taken_by", { name: say(one.taken_by), when: moment(one.taken_at) })) : one.id !== null && button(t("taken"), () => void ui.tell("take_handover", { handover: one.id }, t("taken")), "main", { id: `take-${one.id}` }),
    BOXES.map((name) => { const lines = linesOf(/** @type {any} */ (one)[name]); return h("section", { class: "box" }, h("h2", {}, t(`box_${name}`)), lines.length ? h("ul", {}, lines.map((l) => h("li", {}, l))) : soft(t("nothing"))); }))),
  h("div", { class: "apart" }, write));
}

/** Filled in from what this phone knows; safety items of the last one go on until closed. @param {Ui} ui */
export function write_handover(ui) {
  const state = prefilled(ui);
  const send = () => {
    const told = Object.fromEntries(BOXES.map((name) => [name, linesOf(state[name])]));
    const closed = state.carried.map((/** @type {any} */ item) => item.id).filter((/** @type {number} */ id) => state.closed[id]);
    ui.go("handover");
    void ui.tell("hand_over", { crew: Number(state.crew), ...told, safety: linesOf(state.safety), closed }, t("handed_over"));
  };
  const crews = ui.view.crews.filter((c) => myCrews(ui).includes(c.id)).map((c) => /** @type {[number, string]} */ ([c.id, c.name]));
  return stack(crews.length > 1 && choose(ui, "crew", noun("crew", t("crew")), crews), soft(t("one_a_line")), BOXES.map((name) => ownWords(ui, name, t(`box_${name}`), { rows: 3, most: 2000 })),
    h("section", { class: "stack" }, h("h2", {}, t("box_safety")), state.carried.map((/** @type {{id: number, text: string}} */ item) => h("section", { class: "line" }, h("div", { class: "says" }, item.text), pair(
      button(t("still_open"), () => { state.closed[item.id] = false; ui.redraw(); }, "", { "aria-pressed": String(!state.closed[item.id]), id: `open-${item.id}` }),
      button(t("is_closed"), () => { state.closed[item.id] = true; ui.redraw(); }, "", { "aria-pressed": String(Boolean(state.closed[item.id])), id: `closed-${item.id}` })))),
    ownWords(ui, "safety", t("is_danger"), { rows: 2, most: 1000 })),
    button(t("make_handover"), send, "main", { id: "send" }));
}

/** @param {Ui} ui */
function prefilled(ui) {
  const { state, view } = ui;
  const crew = Number(state.crew ?? myCrews(ui)[0]);
  if (state.filled === crew) return state;
  const last = view.handovers.find((one) => one.crew === crew);
  const mine = view.crewJobs.filter((j) => j.worker_ids.some((w) => view.people.find((p) => p.id === w)?.crew === crew));
  const late = mine.filter((j) => isOpen(j) && Date.parse(j.planned_start) < ui.now()).map(nameOf);
  const partly = mine.filter((j) => j.outcome === "part" || j.outcome === "could_not").map((j) => `${nameOf(j)}: ${j.n_left ? tn("left_over", j.n_left) : t("could_not")}`);
  Object.assign(state, { crew, filled: crew, left: [...late, ...partly].join("\n"),
    broken: view.machines.filter((m) => m.is_held).map((m) => [m.name, say(m.hold_cause)].filter(Boolean).join(": ")).join("\n"), watch: linesOf(last?.watch).join("\n"),
    first: inOrder(mine.filter((j) => isOpen(j) && Date.parse(j.planned_start) >= ui.now())).slice(0, 1).map(nameOf).join("\n"),
    carried: (last?.safety ?? []).filter((/** @type {any} */ item) => item.id), closed: {}, safety: "" });
  return state;
}

// What needs a look, and problems -------------------------------------------------------------------------------

/** One line, two buttons. @param {Ui} ui */
export function look(ui) {
  const open = ui.view.looks.filter((l) => !l.settled);
  if (!open.length) return empty(t("no_looks"), button(t("crew_now"), () => ui.go("crew"), "wide"));
  return h("div", {}, open.map((l) => h("section", { class: "line", "aria-label": say(l.line) }, h("div", { class: "says" }, say(l.line)), soft(t("said_by", { name: l.who, when: moment(l.at) })),
    pair(l.answers.map((a) => button(say(a.words), () => void ui.tell("settle", { ...subjectOf(l), answer: a.code }, say(a.words)), "", { id: `settle-${l.id}-${a.code}` }))))));
}

/** What is settled: a work order, or an event. @param {import("./view.js").Look} one */
const subjectOf = (one) => (one.id.startsWith("work-") ? { work_order: Number(one.id.slice(5)) } : { event: one.id });

const ANSWERS = ["today", "plan", "ask"];

/** Oldest first, each answered by one tap. @param {Ui} ui */
export function problems(ui) {
  const open = ui.view.problems.filter((p) => !p.is_answered && !p.is_pending).sort((a, b) => a.reported_at.localeCompare(b.reported_at));
  if (!open.length) return empty(t("no_problems"), button(t("walk"), () => ui.go("walk"), "wide"));
  return h("div", {}, open.map((p) => h("section", { class: "line stack", "aria-label": p.text },
    p.is_safety && safety(t("is_danger"), "warning"), h("div", { class: "says" }, p.text), soft([say(p.place), say(p.machine), t("said_by", { name: p.reported_by, when: moment(p.reported_at) })].filter(Boolean).join(" · ")),
    p.attachments?.map((/** @type {string} */ uuid) => ui.shown(uuid)),
    ui.state.own === p.id ? [ownWords(ui, "words", t("answer_own")), button(t("answer"), () => answer(ui, p, String(ui.state.words ?? "").trim()), "wide", { id: `send-${p.id}` })]
      : h("div", { class: "tiles" }, ANSWERS.map((a) => button(t(`answer_${a}`), () => answer(ui, p, t(`answer_${a}`)), "tile", { id: `answer-${p.id}-${a}` })), button(t("answer_own"), () => { ui.state.own = p.id; ui.redraw(); }, "tile", { id: `own-${p.id}` })))));
}

/** @param {Ui} ui @param {import("./view.js").Problem} one @param {string} text */
function answer(ui, one, text) {
  if (text) void ui.tell("answer_problem", { ...(one.defect ? { defect: one.defect } : { problem: one.problem }), text }, `${t("answered")}: ${text}`);
}

// PINs ----------------------------------------------------------------------------------------------------

/** Leads give a forgotten PIN back in three taps. @param {Ui} ui */
export function people(ui) {
  const mine = crewOf(ui);
  if (!mine.length) return empty(t("no_crew"), button(t("send_now"), () => ui.sendNow(), "wide"));
  return stack(mine.map((p) => signed("me", p.name, () => ui.go("person", p.id), "wide person", { id: `name-${p.id}` })));
}

/** @param {Ui} ui @param {number} id */
export function person(ui, id) {
  const one = ui.view.people.find((p) => p.id === id);
  if (!one) return empty(t("no_crew"));
  const reset = () => { ui.go("people"); void ui.tell("reset_pin", { worker: id }, t("pin_was_reset", { name: one.name })); };
  return stack(fact(one.name), button(t("reset_pin"), reset, "main", { id: "reset-pin" }), soft(t("pin_was_reset", { name: one.name })));
}
