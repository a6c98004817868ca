// @ts-check
// Machines: the look round before the start, hour meters, services, out of use.

import { button, empty, fact, h, signed, soft, stack } from "./dom.js";
import { icon } from "./icons.js";
import { asksWhich, askWhich, camera, fault, keypad, numberOf, okLine, safety, yesNo } from "./screens_parts.js";
import { badge } from "./screens_work.js";
import { verdictOf } from "./view.js";
import { day, moment, number, readNumber, say, t, tn } from "./words.js";

/** @typedef {import("./main.js").Ui} Ui */
/** @typedef {import("./view.js").Machine} Machine */
/** @typedef {import("./view.js").Service} Service */

/** @param {Ui} ui @param {number} id */
export const machineBy = (ui, id) => ui.view.machines.find((m) => m.id === id);
export const hours = (/** @type {number} */ n) => `${number(n)} h`;
/** @param {Machine} m */
export const lastOf = (m) => (m.meter_h === null || !m.read_at ? t("no_reading") : t("last", { what: `${hours(m.meter_h)} · ${moment(m.read_at)}` }));

/** @param {Ui} ui */
export function machines(ui) {
  if (!ui.view.machines.length) return empty(t("no_machines"));
  return h("div", {}, ui.view.machines.map((m) => h("section", { class: "line", "aria-label": m.name },
    h("div", { class: "says" }, h("strong", {}, m.name), m.is_held && badge("could_not", t("held"), true)),
    m.is_held && say(m.hold_cause) && h("p", {}, say(m.hold_cause)), soft(lastOf(m)),
    h("div", { class: "tiles" }, signed("look", t("look_round"), () => ui.go("look_round", m.id), "", { id: `look-round-${m.id}` }),
      button(t("read_meter"), () => ui.go("meter", m.id), "", { id: `meter-${m.id}` })))));
}

// Hour meter --------------------------------------------------------------------------------------------

/** @param {Ui} ui @param {number} id */
export function meter(ui, id) {
  const one = machineBy(ui, id);
  if (!one) return empty(t("no_machines"));
  const send = () => {
    const meter_h = numberOf(ui, "meter_h");
    if (meter_h === null) return;
    const odd = oddity(one, meter_h, ui.now());
    if (odd && ui.state.odd?.meter_h !== meter_h) { ui.state.odd = { meter_h, words: odd }; ui.redraw({ toTop: true }); return; }
    finish(ui, one, meter_h, {});
  };
  const due = h("div", { "aria-live": "polite" });
  const showDue = () => due.replaceChildren(...dueLines(ui, id, typedHours(ui.state.meter_h)));
  showDue();
  const asks = asksWhich(ui) ? askWhich(ui, "meter_h", send) : ui.state.odd && odds(ui, one);
  return stack(soft(lastOf(one)),
    asks || [keypad(ui, "meter_h", t("meter"), { start: one.meter_h, changed: showDue }), fault(ui.state.fault), button(t("save"), send, "main", { id: "send" }), due]);
}

/** @param {string | undefined} typed */
function typedHours(typed) {
  const read = readNumber(typed ?? "");
  return read && "value" in read ? read.value : null;
}

/** Why a reading is asked about once; nothing where it is plain. @param {Machine} one @param {number} meter_h @param {number} now */
export function oddity(one, meter_h, now) {
  if (one.meter_h === null || !one.read_at) return "";
  if (meter_h < one.meter_h) return t("lower");
  const passed_h = Math.max(0, (now - Date.parse(one.read_at)) / 3_600_000);
  return meter_h - one.meter_h > passed_h + 0.5 ? t("too_many") : "";
}

/** Asks once: change it, or say why it is so. @param {Ui} ui @param {Machine} one */
function odds(ui, one) {
  const odd = ui.state.odd;
  const again = () => { ui.state.odd = undefined; ui.redraw(); };
  return h("div", { class: "stack", role: "alert" }, fact(`${hours(odd.meter_h)}: ${odd.words}`), button(t("fix_number"), again, "main", { id: "fix-number" }),
    h("div", { class: "apart stack" }, button(t("new_meter"), () => finish(ui, one, odd.meter_h, { is_new_meter: true, reason: t("new_meter") }), "wide", { id: "new-meter" }),
      button(t("meter_right"), () => finish(ui, one, odd.meter_h, { reason: t("meter_right") }), "wide", { id: "meter-right" })));
}

/** @param {Ui} ui @param {Machine} one @param {number} meter_h @param {object} more */
function finish(ui, one, meter_h, more) {
  ui.go("machines");
  void ui.tell("reading", { machine: one.id, meter_h, ...more }, `${one.name}: ${hours(meter_h)}`);
}

/** What a reading makes due. @param {Ui} ui @param {number} id @param {number | null} meter_h */
function dueLines(ui, id, meter_h) {
  const one = machineBy(ui, id);
  const at = meter_h ?? one?.meter_h ?? null;
  const due = ui.view.services.filter((s) => s.machine === id && !s.is_pending);
  if (at === null || (!due.length && !ui.view.is_mechanic && !ui.view.is_lead)) return [];
  const lines = due.filter((s) => (s.due_h !== null && s.due_h - at < 50) || s.due_on).map((s) => h("p", { class: isDue(s, at) ? "due now" : "due" }, sayDue(s, at)));
  return lines.length ? lines : [soft(t("nothing_due"))];
}

/** @param {Service} s @param {number | null} at */
export const isDue = (s, at) => s.due_h !== null && at !== null && s.due_h <= at;

/** @param {Service} s @param {number | null} at */
function sayDue(s, at) {
  if (isDue(s, at)) return t("due_now", { what: say(s.text) });
  if (s.due_h !== null && at !== null) return t("due_in", { what: say(s.text), left: hours(s.due_h - at) });
  return s.due_on ? t("due_by", { what: say(s.text), when: day(s.due_on) }) : say(s.text);
}

// Before I start -------------------------------------------------------------------------------------------

/** At most nine lines, by place; each says the good state. @param {Ui} ui @param {number} id */
export function look_round(ui, id) {
  const one = machineBy(ui, id);
  if (!one) return empty(t("no_machines"));
  const lines = ui.view.checks.filter((c) => c.machine_kind === one.kind);
  if (!lines.length) return empty(t("no_lines"), button(t("back"), () => ui.back(), "wide"));
  const answers = (ui.state.answers ??= {});
  const send = () => {
    const left = lines.filter((l) => !answers[l.id] || (!answers[l.id].ok && answers[l.id].can_work === undefined));
    if (left.length) { ui.state.fault = tn("all_lines", left.length); ui.redraw(); return; }
    const told = lines.map((l) => ({ item: l.id, ok: answers[l.id].ok, ...(answers[l.id].ok ? {} : { can_work: answers[l.id].can_work, note: answers[l.id].note ?? "" }) }));
    const photos = lines.flatMap((l) => answers[l.id].photos ?? []);
    ui.go("verdict", { id, found: verdictOf(lines, told) });
    void ui.tell("check", { machine: id, answers: told }, t("look_round"), { more: photos.map((attachment) => /** @type {[string, any]} */ (["photo", { attachment, machine: id }])) });
  };
  return stack(grouped(lines).map(([name, some]) => h("section", {}, h("h2", {}, name), some.map((l) => checkLine(ui, l, answers)))),
    fault(ui.state.fault), button(t("save"), send, "main", { id: "send" }));
}

/** By where on the machine, as one walks round it; where that is not named, what must hold comes first. @param {import("./view.js").CheckLine[]} lines @returns {[string, import("./view.js").CheckLine[]][]} */
function grouped(lines) {
  const found = new Map();
  const order = lines.some((l) => say(l.spot)) ? lines : [...lines].sort((a, b) => Number(b.is_safety) - Number(a.is_safety));
  for (const line of order) {
    const name = say(line.spot) || t(line.is_safety ? "must_hold" : "also_look");
    found.set(name, [...(found.get(name) ?? []), line]);
  }
  return [...found];
}

/** @param {Ui} ui @param {import("./view.js").CheckLine} line @param {Record<number, any>} answers */
function checkLine(ui, line, answers) {
  const mine = answers[line.id];
  const put = (/** @type {any} */ change) => { answers[line.id] = { ...answers[line.id], ...change }; ui.state.fault = undefined; ui.redraw(); };
  return okLine(String(line.id), say(line.text), mine?.ok, (ok) => put({ ok }),
    yesNo(String(line.id), t("can_work"), mine?.can_work, (can_work) => put({ can_work })),
    camera(ui, `line-${line.id}`, mine?.photos?.length ?? 0, (uuid) => put({ photos: [...(mine?.photos ?? []), uuid] }), "wide"));
}

/** @param {Ui} ui @param {{id: number, found: "run" | "with_care" | "park"}} arg */
export function verdict(ui, { id, found }) {
  const one = machineBy(ui, id);
  const why = { run: "run_why", with_care: "care_why", park: "park_why" }[found];
  const sign = { run: "done", with_care: "part", park: "stop" }[found];
  return stack(h("section", { class: `verdict ${found}` }, icon(sign, "big"), h("p", { class: "fact", id: "verdict" }, t(found)), h("p", {}, one?.name ?? "")),
    h("p", {}, t(why)), found === "park" && safety(t("caution_machine"), "warning"),
    button(t("my_jobs"), () => ui.go("jobs"), "main", { id: "to-jobs" }), found !== "run" && signed("tell_us", t("tell_us"), () => ui.go("tell_us", id), "wide"));
}
