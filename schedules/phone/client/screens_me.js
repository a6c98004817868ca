// @ts-check
// The phone and its person: pairing, names and PINs, what was sent, my hours, language and light.

import { button, empty, fact, h, signed, soft, stack, tiles } from "./dom.js";
import { icon } from "./icons.js";
import { chooseOne, fault, safety, tick } from "./screens_parts.js";
import { badge, plannedToday } from "./screens_work.js";
import { dayOf, heard, moment, speaking, t, tn } from "./words.js";

/** @typedef {import("./main.js").Ui} Ui */

// Pairing ------------------------------------------------------------------------------------------------

/** @param {Ui} ui */
export function pairing(ui) {
  const state = ui.state;
  const facts = ui.app.facts();
  const code = /** @type {HTMLInputElement} */ (h("input", { id: "code", class: "digits", autocapitalize: "characters", autocomplete: "off", maxlength: 12, value: state.code ?? "", "aria-describedby": "fault", on: { input: () => { state.code = code.value; } } }));
  const send = async (/** @type {Event} */ e) => {
    e.preventDefault();
    if (state.busy) return;
    state.busy = true;
    state.fault = "";
    ui.redraw();
    const { ok, detail } = await ui.app.pair(code.value, speaking());
    state.busy = false;
    state.fault = ok ? "" : detail ?? t("no_answer");
    if (ok) ui.paired();
    else ui.redraw();
  };
  const n = ui.view.nWaiting;
  return h("form", { class: "stack", on: { submit: (/** @type {Event} */ e) => void send(e) } },
    h("p", {}, facts.pair_again ? t("pair_again") : t("pair_how")), facts.pair_again && h("p", {}, t("pair_how")), n > 0 && h("p", {}, tn("pair_kept", n)),
    h("label", { for: "code" }, t("pair_code")), code, fault(state.fault), h("button", { class: "main", type: "submit", id: "pair", "aria-disabled": state.busy ? "true" : null }, state.busy ? t("fetching") : t("pair")));
}

// A phone of several people ---------------------------------------------------------------------------------

/** @param {Ui} ui */
export function names(ui) {
  const people = ui.view.people.filter((p) => ui.view.crews.length !== 1 || p.crew === ui.view.crews[0].id);
  if (!people.length) return empty(t("nobody_here"), button(t("send_now"), () => ui.sendNow(), "main"));
  return stack(people.map((p) => signed("me", p.name, () => ui.go("pin", { worker: p.id }), "wide person", { id: `name-${p.id}` })));
}

const KEYS = ["1", "2", "3", "4", "5", "6", "7", "8", "9", "", "0", "delete"];

/** Four digits by big keys; the fourth sends. @param {Ui} ui @param {{worker?: number, own?: boolean}} arg */
export function pin(ui, { worker, own }) {
  const state = ui.state;
  const isNew = Boolean(own) || (worker !== undefined && !ui.view.pins.has(worker));
  const name = ui.view.people.find((p) => p.id === worker)?.name ?? ui.view.me?.name ?? "";
  const typed = String(state.typed ?? "");
  const put = (/** @type {string} */ digits) => { state.typed = digits; state.fault = ""; if (digits.length === 4) void enter(ui, digits, isNew, worker); else ui.redraw(); };
  const ask = isNew ? (state.first ? t("pin_again") : own ? t("new_pin") : t("no_pin")) : t("your_pin");
  return stack(fact(name), h("p", { class: "says", id: "pin-asks" }, ask),
    h("div", { class: "dots", role: "status", "aria-label": tn("digits_in", typed.length) }, [0, 1, 2, 3].map((i) => h("span", { class: i < typed.length ? "dot in" : "dot" }))),
    h("div", { class: "keys three" }, KEYS.map((k) => (k === "" ? h("span") : k === "delete" ? button(icon("rub_out"), () => put(typed.slice(0, -1)), "key", { id: "key-delete", "aria-label": t("delete") })
      : button(k, () => { if (typed.length < 4) put(typed + k); }, "key", { id: `key-${k}` })))),
    fault(state.fault), !isNew && soft(t("forgot_pin")), !own && button(t("not_me", { name }), () => ui.go("names"), "wide", { id: "not-me" }));
}

/** @param {Ui} ui @param {string} digits @param {boolean} isNew @param {number | undefined} worker */
async function enter(ui, digits, isNew, worker) {
  const state = ui.state;
  state.typed = "";
  if (isNew && !state.first) { state.first = digits; ui.redraw(); return; }
  if (isNew && state.first !== digits) { state.first = undefined; state.fault = t("pin_differs"); ui.redraw(); return; }
  if (isNew) {
    await ui.app.choosePin(digits, worker);
    ui.home();
    ui.announce(t("pin_kept"));
    return;
  }
  const { ok, no_pin, wait_ms } = await ui.app.enter(/** @type {number} */ (worker), digits);
  if (ok || no_pin) { ui.home(); return; }
  state.fault = wait_ms ? tn("pin_wait", Math.ceil(wait_ms / 1000)) : t("pin_wrong");
  ui.redraw();
}

// Sent? ------------------------------------------------------------------------------------------------------

/** What was said, in the words of the button that said it. @param {import("./view.js").Kept} event */
export function sayKind(event) {
  const own = { start: "start", done: "done", part: "part", could_not: "could_not", load: "load", lock_on: "lock_on", lock_off: "lock_off", problem: "tell_us", moisture_test: "moisture", pen_time: `pen_${event.payload.moment}` };
  return t(/** @type {any} */ (own)[event.kind] ?? `k_${event.kind}`);
}

/** @param {Ui} ui */
export function sent(ui) {
  const { events, refused, nWaiting } = ui.view;
  const { n_files } = ui.app.facts();
  const rest = events.filter((e) => e.state !== "refused");
  const state = ui.state;
  const send = async () => { state.sends = true; ui.redraw(); await ui.app.sendNow(); state.sends = false; ui.redraw(); };
  return stack(fact(state.sends ? t("sending") : nWaiting ? `${t("saved_here")} (${nWaiting})` : t("all_sent"), { id: "sent-fact" }),
    n_files > 0 && h("p", { id: "files-wait" }, tn("photos_waiting", n_files)), ui.app.files().filter((f) => f.state === "refused").map((f) => refusedFile(ui, f)), (nWaiting > 0 || n_files > 0) && soft(t("goes_alone")),
    button(t("send_now"), () => void send(), "main", { id: "send-now" }),
    refused.map((e) => refusedLine(ui, e)),
    rest.length ? h("ul", { class: "plain" }, rest.slice(0, 60).map((e) => sentLine(ui, e))) : !refused.length && h("p", {}, t("nothing_said")));
}

/** Why it was not taken. @param {{code?: string, detail?: string}} [answer] */
const whyNot = (answer) => (answer?.code === "other_farm" ? t("other_farm") : `${t("refused")}: ${answer?.detail ?? ""}`);

/** @param {Ui} ui @param {import("./app.js").KeptFile} file */
const refusedFile = (ui, file) => h("section", { class: "line stack" }, h("strong", {}, t(file.kind === "voice" ? "voice" : "photo")), badge("could_not", whyNot(file), true),
  button(t("seen"), () => void ui.app.forgetFile(file.id), "wide", { id: `seen-${file.id}` }));

/** @param {Ui} ui @param {import("./view.js").Kept} event */
function refusedLine(ui, event) {
  const isElsewhere = event.answer?.code === "other_farm";  // numbers of that farm's mean other things here
  const again = event.kind === "reading" && !isElsewhere ? () => { void ui.app.forget(event.id); ui.go("meter", event.payload.machine); } : null;
  return h("section", { class: "line stack" }, h("div", { class: "says" }, h("strong", {}, sayKind(event)), " ", isElsewhere ? event.payload.text : whatOf(ui, event)), badge("could_not", whyNot(event.answer), true), soft(heard(event.client_at)),
    again && button(t("tell_again"), again, "wide", { id: `again-${event.id}` }), button(t("seen"), () => void ui.app.forget(event.id), "wide", { id: `seen-${event.id}` }));
}

/** @param {Ui} ui @param {import("./view.js").Kept} event */
function sentLine(ui, event) {
  return h("li", { class: "line" }, h("div", {}, h("strong", {}, sayKind(event)), " ", whatOf(ui, event)),
    h("span", { class: "states" }, badge(event.state === "waiting" ? "waiting" : "done", event.state === "waiting" ? t("saved_here") : t("sent_ok")), h("span", { class: "soft" }, heard(event.client_at))));
}

/** What it was about. @param {Ui} ui @param {import("./view.js").Kept} event */
function whatOf(ui, event) {
  const { work_order, machine, visit, place, worker, basin } = event.payload;
  const job = ui.view.crewJobs.find((j) => j.id === work_order);
  if (job) return ui.nameOf(job);
  return ui.view.machines.find((m) => m.id === machine)?.name ?? ui.say(ui.view.visits.find((v) => v.id === visit)?.name ?? ui.view.places.find((p) => p.id === (place ?? basin))?.name) ?? ui.view.people.find((p) => p.id === worker)?.name ?? "";
}

// Me -----------------------------------------------------------------------------------------------------------

/** @param {Ui} ui */
export function me(ui) {
  const { view } = ui;
  const facts = ui.app.facts();
  const today = dayOf(new Date(ui.now()).toISOString());
  const planned = plannedToday(view.jobs, (iso) => dayOf(iso) === today);
  return stack(
    h("section", { class: "stack" }, h("h2", {}, t("hours_today")), planned.n ? [fact(planned.words, { id: "hours-today" }), soft([tn("n_jobs", planned.n), planned.ends_at && t("ends_at", { when: moment(planned.ends_at) })].filter(Boolean).join(" · "))] : h("p", {}, t("hours_none"))),
    h("section", { class: "stack" }, h("h2", {}, t("light")), chooseOne([["day", t("day")], ["night", t("night")]], facts.theme ?? "day", (theme) => void ui.setTheme(theme), "theme")),
    nudges(ui),
    h("section", { class: "stack" }, h("h2", {}, t("phone_is")), h("p", {}, whose(ui)), facts.is_shared && view.me && button(t("somebody_else"), () => void ui.leave(), "wide", { id: "leave" }),
      signed("locks", t("set_pin"), () => ui.go("pin", { own: true }), "wide", { id: "set-pin" }),
      facts.has_update && [h("p", {}, t("new_version")), button(t("take_it"), () => ui.takeUpdate(), "wide", { id: "update" })]),
    h("section", { class: "stack" }, h("h2", {}, t("cautions")), safety([t("caution_flush"), t("caution_machine"), t("caution_lone")].map((w) => h("p", {}, w))), soft(t("your_rules"))));
}

/** Nudges are off until they are asked for here. @param {Ui} ui */
function nudges(ui) {
  const { app, state } = ui;
  if (state.nudged === undefined) {
    state.nudged = false;
    void app.isNudged().then((is) => { if (is) { state.nudged = is; ui.redraw(); } });
  }
  const change = async (/** @type {boolean} */ isOn) => {
    state.nudged = isOn;
    const cannot = isOn ? await app.nudge() : await app.nudgeNoMore();
    state.nudged = isOn && !cannot;
    state.fault = cannot ? t(cannot) : "";
    ui.redraw();
  };
  return h("section", { class: "stack" }, h("h2", {}, t("nudges")), tick("nudge", t("nudge_phone"), state.nudged, (isOn) => void change(isOn)), fault(state.fault), soft(t("nudge_what")));
}

/** @param {Ui} ui */
function whose(ui) {
  const facts = ui.app.facts();
  const farm = facts.site_name ?? ui.view.farm?.name ?? "";
  if (!facts.is_shared) return [farm, ui.view.me?.name ?? facts.worker].filter(Boolean).join(" · ");
  return [farm, t("shared_phone", { crew: facts.crew ?? "" }), ui.view.me && t("signed_in", { name: ui.view.me.name })].filter(Boolean).join(" · ");
}

/** All other places of the person's role. @param {Ui} ui */
export function more(ui) {
  return stack(tiles(ui.others().map(([name, words]) => signed(name, words, () => ui.go(name), "tile tall", { id: `more-${name}` }))),
    ui.app.facts().is_shared && ui.view.me && button(t("not_me", { name: ui.view.me.name }), () => void ui.leave(), "wide apart", { id: "leave" }));
}
