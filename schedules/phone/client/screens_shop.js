// @ts-check
// What the shop does: services by their sheets, and machines parked.

import { button, empty, h, signed, soft, stack } from "./dom.js";
import { asksWhich, askWhich, chooseOne, fault, keypad, numberOf, ownWords, safety, tick } from "./screens_parts.js";
import { hours, isDue, lastOf, machineBy } from "./screens_machine.js";
import { badge } from "./screens_work.js";
import { day, moment, number, say, t } from "./words.js";
import "./words_more.js";

/** @typedef {import("./main.js").Ui} Ui */
/** @typedef {import("./view.js").Service} Service */

/** What is due, soonest first. @param {Ui} ui */
export function service(ui) {
  const open = ui.view.services.filter((s) => !s.is_pending).map((s) => ({ s, m: machineBy(ui, s.machine) }));
  if (!open.length) return empty(t("no_service"), button(t("machines"), () => ui.go("machines"), "wide"));
  const left = (/** @type {any} */ { s, m }) => (s.due_h !== null && m?.meter_h != null ? s.due_h - m.meter_h : 1e6);
  open.sort((a, b) => left(a) - left(b) || String(a.s.due_on ?? "9").localeCompare(String(b.s.due_on ?? "9")));
  return stack(open.map(({ s, m }) => h("button", { type: "button", class: "card", id: `service-${s.id}`, on: { click: () => ui.go("service_sheet", s.id) } },
    h("strong", {}, m?.name ?? ""), h("span", {}, say(s.text)), h("span", { class: "states" }, isDue(s, m?.meter_h ?? null) && badge("late", t("due_now", { what: hours(s.due_h ?? 0) }), true), m?.is_held && badge("could_not", t("held"), true)),
    h("span", { class: "soft" }, whenDue(s)))));
}

/** @param {Service} s */
const whenDue = (s) => [s.due_h !== null && t("due_at_h", { h: hours(s.due_h) }), s.due_on && t("due_on", { when: day(s.due_on) })].filter(Boolean).join(" · ");

/** One service: the reading ticks it. @param {Ui} ui @param {string} id */
export function service_sheet(ui, id) {
  const s = ui.view.services.find((one) => one.id === id);
  const m = s && machineBy(ui, s.machine);
  if (!s || !m) return empty(t("no_service"));
  const state = ui.state;
  state.minutes ??= s.minutes;
  const send = () => {
    const meter_h = state.meter_h ? numberOf(ui, "meter_h") : m.meter_h;
    if (meter_h === null) { state.fault = t("number_needed"); ui.redraw(); return; }
    const parts = [...partsOf(s).filter((p) => state.parts?.[p]), ...(state.other_parts ? [state.other_parts] : [])];
    ui.go("service");
    void ui.tell("service", { machine: m.id, item: s.item, meter_h, minutes: state.minutes, parts: parts.join(", ") }, t("was_serviced"));
  };
  return stack(h("div", { class: "facts" }, h("strong", {}, say(s.text)), h("span", { class: "soft" }, [whenDue(s), s.last_done_at ? t("last_done", { when: moment(s.last_done_at) }) : t("never_done")].join(" · "))),
    say(s.caution) && safety(say(s.caution)),
    asksWhich(ui) ? askWhich(ui, "meter_h", send) : [keypad(ui, "meter_h", `${t("meter")} · ${lastOf(m)}`, { start: m.meter_h }), fault(state.fault), button(t("was_serviced"), send, "main", { id: "send" })],
    h("div", { class: "apart" }, signed("stop", t("park_it"), () => ui.go("park", m.id), "wide", { id: "park" })),
    minutesOf(ui), h("h2", {}, t("parts")), partsOf(s).map((p, i) => tick(`part-${i}`, p, Boolean(state.parts?.[p]), (isOn) => { state.parts = { ...state.parts, [p]: isOn }; })), ownWords(ui, "other_parts", t("in_words")));
}

/** @param {Service} s @returns {string[]} */
function partsOf(s) {
  const all = Array.isArray(s.parts) ? s.parts.map(say) : String(s.parts ?? "").split(/[,;\n]/);
  return all.map((p) => p.trim()).filter(Boolean);
}

/** @param {Ui} ui */
function minutesOf(ui) {
  const by = (/** @type {number} */ change) => { ui.state.minutes = Math.max(5, ui.state.minutes + change); ui.redraw(); };
  return h("div", { role: "group", "aria-label": t("minutes") }, h("p", { class: "says" }, t("minutes")),
    h("div", { class: "stepper" }, button("−", () => by(-5), "key", { id: "less-minutes", "aria-label": t("less") }), h("output", { class: "digits" }, number(ui.state.minutes)), button("+", () => by(5), "key", { id: "more-minutes", "aria-label": t("more") })));
}

const CAUSES = ["brake", "leak", "tire", "lamp", "part"];

/** Takes a machine out of the plan. @param {Ui} ui @param {number} id */
export function park(ui, id) {
  const one = machineBy(ui, id);
  if (!one) return empty(t("no_machines"));
  const put = (/** @type {string} */ cause) => { ui.go("machines"); void ui.tell("hold", { machine: id, cause }, t("parked", { name: one.name })); };
  const own = () => {
    const words = String(ui.state.cause ?? "").trim();
    if (words) put(words);
    else { ui.state.fault = t("words_few"); ui.redraw(); }
  };
  return stack(h("p", { class: "says" }, t("why_park")), chooseOne(CAUSES.map((c) => [c, t(`cause_${c}`)]), null, (c) => put(t(`cause_${c}`)), "cause"),
    ownWords(ui, "cause", t("in_words")), fault(ui.state.fault), button(t("park_it"), own, "wide", { id: "send" }), soft(t("park_why")));
}

