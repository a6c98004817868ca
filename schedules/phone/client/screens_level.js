// @ts-check
// How full a basin stands, read at its marker from outside.

import { button, empty, fact, h, soft, stack } from "./dom.js";
import { icon } from "./icons.js";
import { asksWhich, askWhich, fault, keypad, numberOf, safety } from "./screens_parts.js";
import { moment, number, readNumber, say, t } from "./words.js";
import "./words_more.js";

/** @typedef {import("./main.js").Ui} Ui */
/** @typedef {import("./view.js").Basin} Basin */

/** The farm's unit of a depth, and meters in it. @param {Ui} ui @returns {[string, number]} */
const unitOf = (ui) => (ui.view.farm?.units === "us" ? ["ft", 0.3048] : ["m", 1]);  // the foot: NIST SP 811, B.8

/** @param {Ui} ui @param {number} depth_m */
const depth = (ui, depth_m) => { const [unit, m] = unitOf(ui); return `${number(depth_m / m, unit === "ft" ? 1 : 2)} ${unit}`; };

const care = () => safety([t("level_care"), t("caution_lone")].map((w) => h("p", {}, w)), "warning");

/** @param {Ui} ui @param {Basin} b */
const lastOf = (ui, b) => (b.level_m === null || !b.read_at ? t("no_reading") : t("last", { what: `${depth(ui, b.level_m)} · ${moment(b.read_at)}` }));

/** @param {Ui} ui */
export function levels(ui) {
  if (!ui.view.basins.length) return empty(t("no_basins"));
  return stack(care(), ui.view.basins.map((b) => button([icon("level"), h("span", {}, h("strong", {}, say(b.name)), h("span", { class: "soft" }, lastOf(ui, b)))], () => ui.go("level", b.id), "signed wide person", { id: `level-${b.id}` })));
}

/** @param {Ui} ui @param {number} id */
export function level(ui, id) {
  const one = ui.view.basins.find((b) => b.id === id);
  if (!one) return empty(t("no_basins"));
  const [unit, m] = unitOf(ui);
  const send = () => {
    const typed = numberOf(ui, "level");
    if (typed === null) return;
    const level_m = Math.round(typed * m * 1000) / 1000;
    const odd = oddity(one, level_m);
    if (odd === "too_deep") { ui.state.fault = t(odd, { rim: depth(ui, one.depth_m) }); ui.redraw(); return; }
    if (odd && ui.state.odd !== typed) { ui.state.odd = typed; ui.redraw({ toTop: true }); return; }
    finish(ui, one, level_m);
  };
  const line = h("div", { "aria-live": "polite" });
  const showLine = () => line.replaceChildren(lineOf(ui, one, typedOf(ui.state.level, m)));
  showLine();
  if (asksWhich(ui)) return askWhich(ui, "level", send);
  if (ui.state.odd !== undefined) return sure(ui, one, ui.state.odd * m);
  return stack(soft(lastOf(ui, one)), keypad(ui, "level", t("depth_in", { unit }), { step: 0.1, start: one.level_m === null ? null : Math.round((one.level_m / m) * 10) / 10, changed: showLine }),
    fault(ui.state.fault), button(t("save"), send, "main", { id: "send" }), line, care());
}

/** @param {string | undefined} typed @param {number} m meters in the unit */
function typedOf(typed, m) {
  const read = readNumber(typed ?? "");
  return read && "value" in read ? read.value * m : null;
}

/** Where the line is at which somebody must act, and whether it is reached. @param {Ui} ui @param {Basin} one @param {number | null} level_m */
function lineOf(ui, one, level_m) {
  const isOver = (level_m ?? one.level_m ?? 0) >= one.must_act_depth_m;
  const words = t(isOver ? "over_line" : "line_at", { line: depth(ui, one.must_act_depth_m) });
  return h("p", { class: isOver ? "due now" : "due" }, words);
}

const FAR_M = 0.3;  // common practice, no source: a basin moves less between two looks

/** What cannot be, or is far from the last time by a quarter of the depth. @param {Basin} one @param {number} level_m */
export function oddity(one, level_m) {
  if (level_m > one.depth_m) return "too_deep";
  return one.level_m !== null && Math.abs(level_m - one.level_m) > Math.max(FAR_M, one.depth_m / 4) ? "far" : "";
}

/** Asks once. @param {Ui} ui @param {Basin} one @param {number} level_m */
function sure(ui, one, level_m) {
  const again = () => { ui.state.odd = undefined; ui.redraw(); };
  return h("div", { class: "stack", role: "alert" }, fact(`${depth(ui, level_m)}: ${t("are_you_sure")}`), soft(lastOf(ui, one)), button(t("fix_number"), again, "main", { id: "fix-number" }),
    h("div", { class: "apart" }, button(t("meter_right"), () => finish(ui, one, Math.round(level_m * 1000) / 1000), "wide", { id: "number-right" })));
}

/** @param {Ui} ui @param {Basin} one @param {number} level_m */
function finish(ui, one, level_m) {
  ui.go("levels");
  void ui.tell("level", { basin: one.id, level_m }, `${say(one.name)}: ${depth(ui, level_m)}`);
}
