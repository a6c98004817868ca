// @ts-check
// Something is wrong: pictures, the place already filled in, a photo or a voice note.

import { button, h, signed, soft, stack, tiles } from "./dom.js";
import { camera, choose, chooseOne, fault, ownWords, recorder, tick } from "./screens_parts.js";
import { inOrder, isOpen } from "./screens_work.js";
import { say, t } from "./words.js";

/** @typedef {import("./main.js").Ui} Ui */

const KINDS = ["broken", "leak", "blocked", "slippery", "animal", "other"];

/** @param {Ui} ui */
export function tell_us(ui) {
  const state = fill(ui);
  const photos = /** @type {string[]} */ (state.photos);
  return stack(
    state.chooses ? places(ui) : signed("place", state.place_name || t("where"), () => { state.chooses = true; ui.redraw(); }, "wide where", { id: "where", "aria-label": `${t("where")}: ${state.place_name || t("none")}` }),
    tiles(camera(ui, "problem", photos.length, (uuid) => { photos.push(uuid); ui.redraw(); }), recorder(ui, (uuid) => { state.note = uuid; if (state.sends) send(ui); })),
    h("div", { role: "group", "aria-label": t("problem") }, chooseOne(KINDS.map((k) => [k, t(`p_${k}`), k]), state.kind, (k) => { state.kind = k; ui.redraw(); }, "kind")),
    tick("danger", t("is_danger"), Boolean(state.is_danger), (isOn) => { state.is_danger = isOn; }),
    fault(state.fault),
    button(t("send"), () => send(ui), "main", { id: "send" }),
    ownWords(ui, "text", t("in_words")),
    choose(ui, "machine", t("machine"), [["", t("none")], ...ui.view.machines.map((m) => /** @type {[number, string]} */ ([m.id, m.name]))]),
    ui.view.basins.length > 0 && signed("level", t("k_level"), () => ui.go("levels"), "wide", { id: "levels" }));
}

/** The place is that of the job under way, else of the next one. @param {Ui} ui */
function fill(ui) {
  const state = ui.state;
  if (state.photos) return state;
  const [now] = inOrder(ui.view.jobs.filter(isOpen));
  Object.assign(state, { photos: [], place: now?.place_id ?? null, place_name: now ? say(now.place) : "", machine: "" });
  if (typeof ui.arg === "number") state.machine = String(ui.arg);
  return state;
}

/** @param {Ui} ui */
function places(ui) {
  const pick = (/** @type {number | null} */ id, /** @type {string} */ name) => { Object.assign(ui.state, { place: id, place_name: name, chooses: false }); ui.redraw(); };
  const jobs = inOrder(ui.view.jobs.filter(isOpen)).map((j) => /** @type {[number, string]} */ ([j.place_id, say(j.place)]));
  const all = new Map([...jobs, ...ui.view.places.map((p) => /** @type {[number, string]} */ ([p.id, say(p.name)]))]);
  return stack(soft(t("place_now")), h("div", { class: "tiles" }, [...all].map(([id, name]) => button(name, () => pick(id, name), "tile", { id: `place-${id}`, "aria-pressed": String(ui.state.place === id) })),
    button(t("none"), () => pick(null, ""), "tile", { id: "place-none", "aria-pressed": String(ui.state.place === null) })));
}

/** @param {Ui} ui */
function send(ui) {
  const state = ui.state;
  if (state.voice?.at) { state.sends = true; state.voice.stop(); return; }
  const own = String(state.text ?? "").trim();
  const kind = state.kind ? t(`p_${state.kind}`) : "";
  const words = [kind, own].filter(Boolean).join(": ") || (state.photos.length ? t("see_photo") : state.note ? t("hear_note") : "");
  if (!words) { state.fault = t("words_needed"); ui.redraw(); return; }
  const attachments = [...state.photos, ...(state.note ? [state.note] : [])];
  const payload = { text: words, place: state.place, machine: Number(state.machine) || null, is_safety: Boolean(state.is_danger), attachments };
  ui.home();
  void ui.tell("problem", payload, t("told"));
}
