// @ts-check
// Where the cows are, and whose locks are on.

import { button, empty, h, signed, soft, stack } from "./dom.js";
import { choose, ownWords, safety } from "./screens_parts.js";
import { badge } from "./screens_work.js";
import { moment, noun, say, span, t } from "./words.js";

/** @typedef {import("./main.js").Ui} Ui */

const MOMENTS = ["called", "last_out", "first_back", "last_back"];

/** One visit a section; the next thing to say is its one big button. @param {Ui} ui */
export function cows(ui) {
  const open = ui.view.visits.filter((v) => MOMENTS.some((m) => !v.said.includes(m)));
  if (!open.length) return empty(t("no_visits"), button(t("my_jobs"), () => ui.go("jobs"), "wide"));
  return h("div", {}, open.map((v) => {
    const next = MOMENTS.find((m) => !v.said.includes(m));
    return h("section", { class: "line", "aria-label": say(v.name) }, h("div", { class: "says" }, h("strong", {}, say(v.name)), soft(t("empty", { when: span(v.last_out_at, v.first_back_at) }))),
      h("div", { class: "tiles" }, MOMENTS.map((m) => signed(v.said.includes(m) ? "good" : "to_do", t(`pen_${m}`), () => void ui.tell("pen_time", { visit: v.id, moment: m }, `${say(v.name)}: ${t(`pen_${m}`)}`),
        m === next ? "tile next" : "tile", { id: `pen-${v.id}-${m}`, disabled: v.said.includes(m) }))));
  }));
}

/** @param {Ui} ui */
export function locks(ui) {
  const list = ui.view.locks;
  return stack(safety(t("lock_note"), "warning"),
    list.length ? list.map((l) => h("section", { class: "line", "aria-label": say(l.place) },
      h("div", { class: "says" }, h("strong", {}, say(l.place)), l.is_mine && badge("locks", t("me"))), soft(`${t("owner", { name: l.owner })} · ${t("since", { when: moment(l.on_at) })}`),
      l.is_mine && button(t("lock_off"), () => void takeOff(ui, l), "wide", { id: `off-${l.id ?? l.of}` }))) : h("p", {}, t("no_locks")),
    h("div", { class: "apart" }, signed("locks", t("put_lock"), () => ui.go("lock_on"), "main", { id: "put-lock" })));
}

/** @param {Ui} ui @param {import("./view.js").Lock} lock */
function takeOff(ui, lock) {
  const payload = lock.id === null ? { lock_of: lock.of } : { lock: lock.id };
  return ui.tell("lock_off", payload, t("lock_off"), { back: ["lock_on", { place: lock.place_id, what: "" }] });
}

/** @param {Ui} ui */
export function lock_on(ui) {
  const options = ui.view.lockablePlaces.map((p) => /** @type {[number, string]} */ ([p.id, say(p.name)]));
  if (!options.length) return empty(t("never_heard"), button(t("send_now"), () => ui.sendNow(), "wide"));
  const put = async () => {
    const place = Number(ui.state.place ?? options[0][0]);
    ui.go("locks");
    await ui.tell("lock_on", { place, what: String(ui.state.what ?? "") }, t("lock_on"), { back: (event) => ["lock_off", { lock_of: event.id }] });
  };
  return stack(safety(t("lock_note"), "warning"), choose(ui, "place", noun("place", t("place")), options), button(t("lock_on"), () => void put(), "main", { id: "send" }), ownWords(ui, "what", t("what"), { most: 200 }));
}
