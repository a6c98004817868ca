// @ts-check
// Pieces that several screens are made of.

import { button, fact, h, pair, signed, stack, tiles } from "./dom.js";
import { icon } from "./icons.js";
import { number, readNumber, speaking, t, tn } from "./words.js";

/** @typedef {import("./main.js").Ui} Ui */

// Safety messages ------------------------------------------------------------------------------------

/** A safety message: its sign, its signal word, its words. @param {any} words @param {"caution" | "warning" | "danger"} [level] */
export function safety(words, level = "caution") {
  const sign = h("span", { class: "sign" }, icon(level === "danger" ? "octagon" : "triangle", level), h("span", { class: "bang", "aria-hidden": "true" }, "!"));
  return h("section", { class: `safety ${level}` }, sign, h("div", { class: "says-so" }, h("strong", {}, t(level)), words));
}

/** Reads words aloud, or stops reading; a voice that is on the phone itself goes first. @param {string} words */
export function readAloud(words) {
  if (!("speechSynthesis" in window)) return null;
  return signed("speak", t("read_aloud"), () => {
    const isReading = speechSynthesis.speaking;
    speechSynthesis.cancel();
    if (isReading) return;
    const saying = new SpeechSynthesisUtterance(words);
    saying.lang = speaking() === "es" ? "es-MX" : "en-US";
    const voices = speechSynthesis.getVoices().filter((v) => v.lang.startsWith(speaking()));
    saying.voice = voices.find((v) => v.localService) ?? voices[0] ?? null;
    speechSynthesis.speak(saying);
  }, "wide", { id: "read-aloud" });
}

// Choosing ------------------------------------------------------------------------------------------

/**
 * One of several, each with its word, by one tap; `chosen` null: a tap acts at once.
 * @param {[string | number, string, string?][]} options value, word and sign
 * @param {any} chosen @param {(value: any) => void} does @param {string} id
 */
export function chooseOne(options, chosen, does, id) {
  return tiles(options.map(([value, words, sign]) => (sign ? signed : plain)(sign ?? "", words, () => does(value), "tile", {
    id: `${id}-${value}`, "aria-pressed": chosen === null ? null : String(chosen === value) })));
}

/** @param {string} _sign @param {string} words @param {() => void} does @param {string} kind @param {any} more */
const plain = (_sign, words, does, kind, more) => button(words, does, kind, more);

/** @param {string} id @param {string} words @param {boolean} isOn @param {(isOn: boolean) => void} does */
export function tick(id, words, isOn, does) {
  return h("label", { class: "tick" }, h("input", { type: "checkbox", id, checked: isOn, on: { change: (/** @type {any} */ e) => does(e.target.checked) } }), h("span", {}, words));
}

/** A list to choose from. @param {Ui} ui @param {string} name @param {string} words @param {[string | number, string][]} options */
export function choose(ui, name, words, options) {
  const id = `field-${name}`;
  const list = h("select", { id, on: { change: (/** @type {any} */ e) => { ui.state[name] = e.target.value; ui.redraw(); } } },
    options.map(([value, word]) => h("option", { value, selected: String(ui.state[name] ?? options[0][0]) === String(value) }, word)));
  return h("div", {}, h("label", { for: id }, words), list);
}

/** Words of the person's own. @param {Ui} ui @param {string} name @param {string} words @param {{rows?: number, most?: number}} [more] */
export function ownWords(ui, name, words, { rows = 1, most = 300 } = {}) {
  const id = `field-${name}`;
  const on = { input: (/** @type {any} */ e) => { ui.state[name] = e.target.value; } };
  const input = rows > 1 ? h("textarea", { id, rows, maxlength: most, on }, ui.state[name] ?? "") : h("input", { id, maxlength: most, autocomplete: "off", value: ui.state[name] ?? "", on });
  return h("div", {}, h("label", { for: id }, words), input);
}

/** What is wrong, read out when it changes. @param {string | undefined} words */
export const fault = (words) => h("p", { role: "alert", class: "fault", id: "fault" }, words ?? "");

// Numbers ------------------------------------------------------------------------------------------

const KEYS = ["1", "2", "3", "delete", "4", "5", "6", ".", "7", "8", "9", "0"];

/**
 * A number by big keys, with one less and one more beside it.
 * @param {Ui} ui @param {string} name where in ui.state it is kept, as typed
 * @param {string} words its label
 * @param {{step?: number, start?: number | null, whole?: boolean, changed?: () => void}} [how] `start` is what the steps count from
 */
export function keypad(ui, name, words, { step = 1, start = null, whole = false, changed } = {}) {
  const id = `field-${name}`;
  const input = /** @type {HTMLInputElement} */ (h("input", { id, class: "digits", inputmode: "decimal", autocomplete: "off", maxlength: 12, value: ui.state[name] ?? "", "aria-describedby": "fault" }));
  const put = (/** @type {string} */ value) => {
    input.value = ui.state[name] = value;
    ui.state.either = undefined;
    changed?.();
  };
  input.addEventListener("input", () => put(input.value));
  input.addEventListener("keydown", (e) => { if (e.key === "Enter") document.getElementById("send")?.click(); });
  const by = (/** @type {number} */ change) => {
    const now = typedIn(ui.state[name]) ?? start ?? 0;
    put(String(Math.max(0, Math.round((now + change) * 10) / 10)));
  };
  const key = (/** @type {string} */ k) => (k === "delete"
    ? button(icon("rub_out"), () => put(input.value.slice(0, -1)), "key", { "aria-label": t("delete") })
    : button(k, () => put(input.value + k), "key", { disabled: whole && k === "." }));
  return h("div", { class: "pad" }, h("label", { for: id }, words),
    h("div", { class: "stepper" }, button("−", () => by(-step), "key", { "aria-label": t("less") }), input, button("+", () => by(step), "key", { "aria-label": t("more") })),
    h("div", { class: "keys" }, KEYS.map(key)));
}

/** @param {string | undefined} typed */
function typedIn(typed) {
  const read = readNumber(typed ?? "");
  return read && "value" in read ? read.value : null;
}

/**
 * The number that was typed, or null after saying what is wrong or asking back which one was meant.
 * @param {Ui} ui @param {string} name @returns {number | null}
 */
export function numberOf(ui, name) {
  const read = readNumber(String(ui.state[name] ?? ""));
  ui.state.fault = ui.state.either = undefined;
  if (read && "value" in read) return read.value;
  if (read) ui.state.either = read.either;
  else ui.state.fault = t("number_needed");
  ui.redraw();
  return null;
}

/** Whether a number could be meant in several ways. @param {Ui} ui */
export const asksWhich = (ui) => Boolean(ui.state.either);

/** Asks which number was meant. @param {Ui} ui @param {string} name @param {() => void} does */
export function askWhich(ui, name, does) {
  const pick = (/** @type {number} */ n) => { ui.state[name] = String(n); ui.state.either = undefined; does(); };
  return h("div", { role: "alert", class: "stack" }, fact(t("which_number")),
    pair(ui.state.either.map((/** @type {number} */ n) => button(number(n, 3), () => pick(n), "", { id: `number-${n}` }))));
}

// Lines to answer ------------------------------------------------------------------------------------

/**
 * A line that states the good state: OK or Not OK, and more to say where it is not.
 * @param {string} id @param {any} words @param {boolean | undefined} ok the answer so far
 * @param {(ok: boolean) => void} does @param {...any} more shown where it is not OK
 */
export function okLine(id, words, ok, does, ...more) {
  return h("section", { class: "line", "aria-label": typeof words === "string" ? words : null }, h("div", { class: "says" }, words), pair(
    signed("good", t("good"), () => does(true), "", { "aria-pressed": String(ok === true), id: `ok-${id}` }),
    signed("not_good", t("not_good"), () => does(false), "", { "aria-pressed": String(ok === false), id: `not-ok-${id}` })),
  ok === false && stack(...more));
}

/** Yes or no. @param {string} id @param {string} words @param {boolean | undefined} value @param {(yes: boolean) => void} does */
export function yesNo(id, words, value, does) {
  return h("div", { role: "group", "aria-label": words }, h("p", { class: "says" }, words), pair(
    button(t("yes"), () => does(true), "", { "aria-pressed": String(value === true), id: `yes-${id}` }),
    button(t("no"), () => does(false), "", { "aria-pressed": String(value === false), id: `no-${id}` })));
}

// Photos and voice notes -------------------------------------------------------------------------------

/**
 * Takes a photo with the phone's own camera. @param {Ui} ui @param {string} id
 * @param {number} n how many are taken @param {(uuid: string) => void} does @param {string} [kind]
 */
export function camera(ui, id, n, does, kind = "") {
  const input = h("input", { type: "file", accept: "image/*", capture: "environment", id: `photo-${id}`, on: { change: async (/** @type {any} */ e) => {
    const [file] = e.target.files;
    if (file) await ui.attach(file, "photo").then(does, () => { ui.state.fault = t("no_photo"); ui.redraw(); });
  } } });
  return h("label", { class: `button signed ${kind} ${n ? "taken" : ""}` }, input, icon(n ? "good" : "photo"), h("span", {}, n ? tn("n_photos", n) : t("photo")));
}

const LONGEST_S = 120;
const MAKES = ["audio/webm;codecs=opus", "audio/mp4", "audio/ogg;codecs=opus"];

/** Records a voice note by one big button. @param {Ui} ui @param {(uuid: string, s: number) => void} does */
export function recorder(ui, does) {
  const voice = ui.state.voice ?? {};
  if (voice.at) {
    const left = h("span", { class: "running" }, t("recording", { s: "0:00" }));
    ui.every(250, () => { left.textContent = t("recording", { s: clockOf(voice) }); });
    return button([icon("stop"), left], () => voice.stop(), "signed recording", { id: "voice-stop" });
  }
  return signed(voice.uuid ? "good" : "voice", voice.uuid ? t("voice_ready", { s: clockOf(voice) }) : t("voice"),
    () => void record(ui, does), voice.uuid ? "taken" : "", { id: "voice" });
}

/** @param {any} voice */
function clockOf(voice) {
  const s = voice.s ?? (performance.now() - voice.at) / 1000;
  return `${Math.floor(s / 60)}:${String(Math.floor(s) % 60).padStart(2, "0")}`;
}

/** @param {Ui} ui @param {(uuid: string, s: number) => void} does */
async function record(ui, does) {
  const state = ui.state;
  if (!("MediaRecorder" in window) || !navigator.mediaDevices) { state.fault = t("no_voice"); ui.redraw(); return; }
  const stream = await navigator.mediaDevices.getUserMedia({ audio: true }).catch(() => null);
  if (!stream) { state.fault = t("no_mic"); ui.redraw(); return; }
  const made = new MediaRecorder(stream, { mimeType: MAKES.find((m) => MediaRecorder.isTypeSupported(m)), audioBitsPerSecond: 32_000 });
  /** @type {Blob[]} */
  const parts = [];
  const at = performance.now();
  made.ondataavailable = (e) => parts.push(e.data);
  made.onstop = async () => {
    stream.getTracks().forEach((track) => track.stop());
    const s = Math.max(1, Math.round((performance.now() - at) / 1000));
    const uuid = await ui.attach(new Blob(parts, { type: made.mimeType.split(";")[0] }), "voice");
    state.voice = { uuid, s };
    does(uuid, s);
    ui.redraw();
  };
  made.start(1000);
  const stop = () => { if (made.state === "recording") made.stop(); };
  setTimeout(stop, LONGEST_S * 1000);
  state.voice = { at, stop };
  ui.redraw();
}
