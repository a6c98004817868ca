// @ts-check
// Draws the screen that stands now, goes from one to the next, and says what a tap meant.

import { app } from "./app.js";
import { button, h, signed } from "./dom.js";
import { icon } from "./icons.js";
import { othersOf, roleOf, SCREENS, TABS } from "./screens.js";
import { nameOf } from "./screens_work.js";
import { heard, keepTime, otherLanguage, say, speak, speaking, t, tn, WORDS } from "./words.js";

const UNDO_MS = 10_000;
const SETTLE_MS = 350; // a second tap of the same finger says nothing new
const AGE_MS = 30_000;
const OLD_MS = 10 * 60_000;

/** @typedef {{screen: string, arg: any, state: Record<string, any>}} Here */
/**
 * @typedef {{undo?: any, back?: [string, any] | ((event: any) => [string, any]), more?: [string, any][]}} Undoing `undo`: payload of an undo
 *   event; `back`: the event that takes it back; else it is held here until it can be undone no more, unless it keeps people safe; `more`: what belongs to it
 */

const root = /** @type {HTMLElement} */ (document.getElementById("app"));
const said = /** @type {HTMLElement} */ (document.getElementById("said"));
const head = h("header");
const main = h("main", { tabindex: "0" }); // keys scroll it also where nothing in it takes a tap
const nav = h("nav");

/** Screens gone through, by their place in the browser's history. @type {Here[]} */
const trail = [];
let at = 0;
/** @type {number[]} */
let timers = [];

/** What a screen may use. */
const ui = {
  app,
  get view() { return app.view; },
  get arg() { return here.arg; },
  /** What is typed and chosen on this screen; it outlives each drawing. @returns {Record<string, any>} */
  get state() { return here.state; },
  now: () => app.now(),
  go,
  back,
  home: () => go(tabs()[0]),
  /** @param {{toTop?: boolean}} [how] */
  redraw({ toTop = false } = {}) { draw(); if (toTop) main.scrollTop = 0; },
  tell,
  announce,
  nameOf,
  say,
  /** @param {Blob} blob @param {"photo" | "voice"} kind */
  attach: (blob, kind) => app.attach(blob, kind),
  sendNow() { void app.sendNow(); },
  others: () => othersOf(ui).map((name) => /** @type {[string, string]} */ ([name, t(SCREENS[name].title)])),
  /** Does something again and again until the next drawing. @param {number} ms @param {() => void} does */
  every(ms, does) { timers.push(setInterval(does, ms)); },
  /** @param {string} theme */
  async setTheme(theme) { await app.choose({ theme }); },
  async leave() { await app.leave(); go("names"); },
  paired() { GUARDS.pairing.state = {}; trail.length = at = 0; go(tabs()[0]); },
  takeUpdate() { if (!app.update()) announce(t("send_first")); },
  shown,
};
/** @typedef {typeof ui} Ui */

/** What is drawn now. @type {Here} */
let here = { screen: "jobs", arg: undefined, state: {} };
const tabs = () => TABS[roleOf(ui)];

// Going about ----------------------------------------------------------------------------------------

/** @param {string} screen @param {any} [arg] */
function go(screen, arg) {
  const isFirst = trail.length === 0;
  at = isFirst ? 0 : at + 1;
  trail.length = at;
  trail.push({ screen, arg, state: {} });
  history[isFirst ? "replaceState" : "pushState"]({ at }, "");
  arrive();
}

function back() {
  if (at > 0) history.back();
  else go(tabs()[0]);
}

addEventListener("popstate", (event) => {
  if (typeof event.state?.at !== "number" || !trail[event.state.at]) return;
  at = event.state.at;
  arrive();
});

function arrive() {
  here.state.voice?.stop?.();
  draw();
  main.scrollTop = 0;
  head.querySelector("h1")?.focus({ preventScroll: true });
  settle();
}

/** No button takes a tap until the next drawing. */
function hush() {
  const buttons = [...main.querySelectorAll("button:not([disabled])")];
  for (const one of buttons) { one.setAttribute("disabled", ""); one.setAttribute("data-settling", ""); }
  return buttons;
}

/** For a moment no button takes a tap: what stands where the finger is has just changed. */
function settle() {
  const buttons = hush();
  setTimeout(() => { for (const one of buttons) { one.removeAttribute("disabled"); one.removeAttribute("data-settling"); } }, SETTLE_MS);
}

// Saying what happened ----------------------------------------------------------------------------------

/**
 * Says what happened, shows that it is saved, and for ten seconds how to take it back where it can be.
 * @param {string} kind @param {any} payload @param {string} words @param {Undoing} [undoing]
 */
async function tell(kind, payload, words, { undo, back: takesBack, more = [] } = {}) {
  let told;
  hush();
  said.replaceChildren();
  try {
    told = await app.say(kind, payload, { undo, isHeld: !undo && !takesBack, more });
  } catch {
    announce(t("not_saved"));
    draw();
    return;
  }
  const { event, held } = told;
  const takeBack = takesBack ? async () => { await app.say(...(typeof takesBack === "function" ? takesBack(event) : takesBack)); } : told.undo;
  announce(`${words}: ${t("saved_here")}`, held.length ? () => app.unsay(held) : takeBack);
  undoable = held;
  draw();
  settle();
}

let undoTimer = 0;
/** Events that the button takes back as long as they are held. @type {string[]} */
let undoable = [];
/** @param {string} words @param {(() => Promise<boolean | void>) | null} [takeBack] gives false where it is too late */
function announce(words, takeBack = null) {
  clearTimeout(undoTimer);
  undoable = [];
  const undo = takeBack && signed("undo", t("undo"), async () => {
    said.replaceChildren();
    const isTooLate = (await takeBack()) === false;
    announce(t(isTooLate ? "too_late" : "taken_back"));
    if (!isTooLate && SCREENS[here.screen].follows) back();
  }, "", { id: "undo" });
  said.replaceChildren(h("div", {}, h("span", {}, words), undo));
  undoTimer = setTimeout(() => said.replaceChildren(), UNDO_MS);
}

/** Takes the button away once what it would take back is on its way. */
function withdraw() {
  if (!undoable.every((id) => app.view.events.some((event) => event.id === id && event.not_before))) document.getElementById("undo")?.remove();
}

/** The language is the person's; the phone changes at once. */
async function changeLanguage() {
  const before = speaking();
  const to = async (/** @type {string} */ language) => {
    await app.choose({ language });
    if (app.view.me) await app.say("language", { language });
    draw();
  };
  await to(otherLanguage());
  if (app.view.me) announce(`${t("language_word")}: ${t("saved_here")}`, () => to(before));
}

// Drawing -------------------------------------------------------------------------------------------------

/** Which screen stands: pairing and names come before all others. @returns {Here} */
function standing() {
  const facts = app.facts();
  const asked = trail[at] ?? here;
  if (!facts.is_paired || GUARDS.pairing.state.busy) return GUARDS.pairing;
  return facts.is_shared && facts.worker_id === null && asked.screen !== "pin" ? GUARDS.names : asked;
}

/** @type {Record<string, Here>} */
const GUARDS = { pairing: { screen: "pairing", arg: undefined, state: {} }, names: { screen: "names", arg: undefined, state: {} } };

function draw() {
  const facts = app.facts();
  keepTime(app.view.farm, Math.round(app.now() - Date.now()));
  speak(app.view.me?.language ?? facts.language ?? (navigator.language.startsWith("en") ? "en" : "es"));
  keepNote();
  document.documentElement.dataset.theme = facts.theme ?? "day";
  const { screen, arg } = here = standing();
  const shown = SCREENS[screen] ?? SCREENS.jobs;
  timers.forEach(clearInterval);
  timers = [];
  const focused = document.activeElement?.id;
  const scrolled = main.scrollTop;
  const title = shown.name?.(ui, arg) ?? t(shown.title);
  document.title = title;
  main.replaceChildren(shown.draw(ui, arg));
  head.replaceChildren(bar(screen), h("div", { class: "title" }, h("h1", { tabindex: "-1" }, title), shown.ages && age(facts.heard_at)));
  const hasNav = screen !== "pairing" && !(facts.is_shared && facts.worker_id === null);
  nav.hidden = !hasNav;
  if (hasNav) nav.replaceChildren(...tabs().map((name) => tab(name, (typeof shown.of === "function" ? shown.of(ui, arg) : shown.of) ?? screen)));
  main.scrollTop = scrolled;
  if (focused) document.getElementById(focused)?.focus({ preventScroll: true });
}

let noted = "";
/** What a nudge would say is in the language that is spoken now. */
function keepNote() {
  if (noted === speaking()) return;
  noted = speaking();
  app.keepNote(t("nudge_note"), noted).catch(() => { noted = ""; });
}

/** @param {string} screen */
function bar(screen) {
  const isTab = tabs().includes(screen);
  return h("div", { class: "bar" },
    !isTab && screen !== "pairing" && screen !== "names" && button(icon("back"), back, "back", { id: "back", "aria-label": t("back") }),
    screen !== "pairing" && button(sentWords(), () => go("sent"), "status", { id: "tab-sent", "aria-current": screen === "sent" ? "page" : null }),
    button(t("language"), () => void changeLanguage(), "language", { lang: otherLanguage(), id: "language" }));
}

/** Whether all went through, in few words. */
function sentWords() {
  const { refused, nWaiting } = app.view;
  const { heard_at, n_files } = app.facts();
  if (refused.length) return [icon("could_not"), h("span", {}, tn("needs_you", refused.length))];
  if (nWaiting) return [icon("waiting"), h("span", {}, `${t("saved")} (${nWaiting})`)];
  if (n_files) return [icon("photo"), h("span", {}, `${t("saved")} (${n_files})`)];
  return heard_at ? [icon("done"), h("span", {}, `${t("all_sent")} `, h("span", { class: "once" }, heard(heard_at)))] : t("sent");
}

/** How old what is shown is; what is old stands out. @param {string | undefined} heard_at */
function age(heard_at) {
  if (!heard_at) return h("span", { class: "age state needs" }, t("never_heard"));
  const isOld = Date.now() - Date.parse(heard_at) > OLD_MS;
  return isOld ? h("span", { class: "age state needs" }, icon("late"), h("span", {}, t("old_news", { when: heard(heard_at) }))) : h("span", { class: "age" }, t("as_of", { when: heard(heard_at) }));
}

/** @param {string} name @param {string} current */
function tab(name, current) {
  const words = name === "crew" ? t("crew") : t(SCREENS[name].title);
  const isCurrent = name === current || (name === "more" && othersOf(ui).includes(current));
  return button([icon(name), h("span", {}, words)], () => go(name), "", { "aria-current": isCurrent ? "page" : null, id: `tab-${name}` });
}

/** What was opened, by its id. @type {Record<string, {src: string, type: string}>} */
const opened = {};

/** A photo or voice note, as soon as it is there. @param {string} uuid */
function shown(uuid) {
  if (opened[uuid]) return played(opened[uuid]);
  const place = h("div");
  void app.openFile(uuid).then((blob) => {
    if (!blob) return;
    opened[uuid] ??= { src: URL.createObjectURL(blob), type: blob.type };
    place.replaceChildren(played(opened[uuid]));
  });
  return place;
}

/** @param {{src: string, type: string}} file */
const played = ({ src, type }) => (type.startsWith("audio") ? h("audio", { controls: true, src }) : h("img", { class: "picture", src, alt: t("photo") }));

// Unasked drawing: never under a finger, never while something is typed or played ----------------------------------

let isDown = false;
let isStale = false;
const isTyping = () => main.contains(document.activeElement) && ["INPUT", "TEXTAREA", "SELECT"].includes(document.activeElement?.tagName ?? "")
  && document.activeElement?.getAttribute("type") !== "checkbox";
const isPlaying = () => [...main.querySelectorAll("audio")].some((one) => !one.paused);

function drawUnasked() {
  if (isDown || isTyping() || isPlaying()) { isStale = true; return; }
  isStale = false;
  draw();
}
const catchUp = () => setTimeout(() => { if (isStale) drawUnasked(); }, SETTLE_MS); // a tap ends after the finger is up

addEventListener("pointerdown", () => { isDown = true; });
for (const end of ["pointerup", "pointercancel"]) addEventListener(end, () => { isDown = false; catchUp(); });
main.addEventListener("focusout", catchUp);

/** Says in every language why nothing can be done here. @param {string} why */
function cannotWork(why) {
  root.replaceChildren(h("main", {}, h("div", { role: "alert" }, Object.entries(WORDS).map(([language, words]) => h("p", { class: "fact", lang: language }, words[why])))));
}

async function begin() {
  speak(navigator.language.startsWith("en") ? "en" : "es");
  if (!isSecureContext) return cannotWork("insecure");
  root.replaceChildren(head, main, said, nav);
  try {
    await app.begin();
  } catch {
    return cannotWork("keeps_nothing");
  }
  go(tabs()[0]);
  app.on(drawUnasked);
  app.on(withdraw);
  setInterval(drawUnasked, AGE_MS);
  addEventListener("pointerdown", () => { if (app.facts().is_shared) void app.touch(); });
}

void begin();
