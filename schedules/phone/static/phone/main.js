// @ts-check
// The phone's small program: pair, carry the work, say what happened. Data is local first.

import { button, h } from "./dom.js";
import { ask, counts, keepSending, onOutboxChange, say, drain } from "./outbox.js";
import * as screens from "./screens.js";
import { beginSequence, dropEvents, getFact, setFact } from "./store.js";
import { clock, keepTime, speak, speaking, t } from "./words.js";

const TABS = ["jobs", "cows", "machines", "locks", "tell_us"];
const TITLES = /** @type {Record<string, string>} */ ({ jobs: "my_jobs", job: "my_jobs", lock_first: "my_jobs", part: "part", could_not: "could_not", moisture: "moisture", cows: "cows", machines: "machines", hours: "hours", look_round: "look_round", verdict_screen: "look_round", locks: "locks", tell_us: "tell_us", sent: "sent" });
const UNDO_MS = 10_000;
const REFRESH_MS = 15_000;

const root = /** @type {HTMLElement} */ (document.getElementById("app"));
const said = /** @type {HTMLElement} */ (document.getElementById("said"));

const EMPTY = { jobs: [], machines: [], checks: [], places: [], sand_places: [], locks: [], visits: [] };
const app = { parcel: /** @type {any} */ (EMPTY), local: { jobs: /** @type {Record<string, any>} */ ({}) }, go, tell, sendNow, forget };
let here = { screen: "jobs", arg: /** @type {any} */ (undefined) };

/** @param {string} screen @param {any} [arg] */
function go(screen, arg) {
  here = { screen: screen === "verdict" ? "verdict_screen" : screen, arg };
  void draw().then(() => { root.querySelector("main")?.scrollTo(0, 0); root.querySelector("h1")?.focus(); });
}

function sendNow() { void drain().then(draw); }

/** Takes a refused event off the list once its person has read why. @param {number} seq */
async function forget(seq) {
  await dropEvents([seq]);
  await draw();
}

/** What a job looks like here from the moment the person said so. */
const LOCAL = /** @type {Record<string, (job: any, payload: any) => any>} */ ({
  start: () => ({ status: "IN-PROCESS" }),
  done: () => ({ status: "COMPLETED", outcome: "done" }),
  part: (_job, p) => ({ status: "COMPLETED", outcome: "part", n_left: p.n_left }),
  could_not: () => ({ status: "CANCELLED", outcome: "could_not" }),
  load: (job) => ({ loads: job.loads + 1 }),
});

/** @param {string} kind @param {any} payload @param {string} words @param {any} [undo] */
async function tell(kind, payload, words, undo) {
  await say(kind, payload);
  const job = app.parcel.jobs.find((/** @type {any} */ j) => j.id === payload.work_order);
  if (job && LOCAL[kind]) {
    const now = { ...job, ...app.local.jobs[job.id] };
    app.local.jobs[job.id] = { ...app.local.jobs[job.id], ...LOCAL[kind](now, payload) };
    await setFact("local", app.local);
  }
  if (kind === "lock_on") {
    for (const one of app.parcel.jobs.filter((/** @type {any} */ j) => j.place_id === payload.place)) app.local.jobs[one.id] = { ...app.local.jobs[one.id], is_locked: true };
    await setFact("local", app.local);
  }
  if (kind === "pen_time") {
    app.local.said = { ...app.local.said, [payload.visit]: [...(app.local.said?.[payload.visit] ?? []), payload.moment] };
    await setFact("local", app.local);
  }
  announce(`${words}: ${t("saved_here")}`, undo && (async () => {
    await say("undo", undo);
    delete app.local.jobs[undo.work_order];
    await setFact("local", app.local);
    await draw();
  }));
  await draw();
}

let undoTimer = 0;
/** @param {string} words @param {(() => void) | undefined} undo */
function announce(words, undo) {
  clearTimeout(undoTimer);
  said.replaceChildren(h("div", {}, h("span", {}, words), undo && button(t("undo"), () => { said.replaceChildren(); undo(); })));
  undoTimer = setTimeout(() => said.replaceChildren(), UNDO_MS);
}

async function draw() {
  if (!(await getFact("token"))) return drawPairing();
  const drawScreen = /** @type {any} */ (screens)[here.screen];
  const main = h("main", {}, await drawScreen(app, here.arg), here.screen === "sent" && themeSwitch());
  const scrolled = root.querySelector("main")?.scrollTop ?? 0;
  root.replaceChildren(await head(), main, tabs());
  main.scrollTop = scrolled;
}

async function head() {
  const isTab = TABS.includes(here.screen);
  return h("header", {},
    h("div", { class: "bar" },
      !isTab && button("‹", () => go(["hours", "look_round"].includes(here.screen) ? "machines" : "jobs"), "back", { "aria-label": t("back") }),
      button(await sentWords(), () => go("sent"), "status", { id: "tab-sent", "aria-current": here.screen === "sent" ? "page" : null }),
      button(t("language"), () => void changeLanguage(), "", { lang: speaking() === "es" ? "en" : "es", id: "language" })),
    h("h1", { tabindex: "-1" }, titleOf()));
}

/** Whether all went through, in few words. */
async function sentWords() {
  const n = await counts();
  if (n.refused) return `${n.refused} ${t("needs_you")}`;
  if (n.waiting) return `${t("saved")} (${n.waiting})`;
  return n.heard_at ? `${t("all_sent")} ${clock(n.heard_at)}` : t("sent");
}

/** The language is the person's: the phone changes at once, its jobs as soon as the farm has heard. */
async function changeLanguage() {
  speak(speaking() === "es" ? "en" : "es");
  await setFact("language", speaking());
  if (await getFact("token")) await say("language", { language: speaking() });
  await draw();
}

function titleOf() {
  const job = ["job", "lock_first"].includes(here.screen) && app.parcel.jobs.find((/** @type {any} */ j) => j.id === here.arg);
  return job ? `${job.title} ${job.place}` : t(TITLES[here.screen]);
}

function tabs() {
  return h("nav", {}, TABS.map((name) => button(t(TITLES[name]), () => go(name), "", { "aria-current": name === here.screen ? "page" : null, id: `tab-${name}` })));
}

function themeSwitch() {
  const isNight = document.documentElement.dataset.theme === "night";
  return button(t(isNight ? "day" : "night"), async () => { await setTheme(isNight ? "day" : "night"); await draw(); }, "wide apart", { id: "theme" });
}

/** @param {string} theme */
async function setTheme(theme) {
  document.documentElement.dataset.theme = theme;
  await setFact("theme", theme);
}

async function drawPairing() {
  const fault = h("p", { role: "alert", class: "fact" });
  const code = /** @type {HTMLInputElement} */ (h("input", { id: "code", class: "digits", autocapitalize: "characters", autocomplete: "off", maxlength: 12 }));
  const pairing = h("form", { class: "stack", on: { submit: async (/** @type {Event} */ e) => { e.preventDefault(); fault.textContent = await pairWith(code.value); } } },
    h("p", {}, (await getFact("pair_again")) ? t("pair_again") : t("pair_how")), h("label", { for: "code" }, t("pair_code")), code, fault, h("button", { class: "main", type: "submit" }, t("pair")));
  const language = button(t("language"), () => void changeLanguage(), "", { lang: speaking() === "es" ? "en" : "es", id: "language" });
  root.replaceChildren(h("header", {}, h("div", { class: "bar" }, language), h("h1", { tabindex: "-1" }, t("pair_title"))), h("main", {}, pairing));
}

/** @param {string} code @returns {Promise<string>} what went wrong, or nothing */
async function pairWith(code) {
  const reply = await fetch("/api/v1/pair/", { method: "POST", headers: { "Content-Type": "application/json", "Accept-Language": speaking() }, body: JSON.stringify({ code }) }).catch(() => null);
  if (!reply) return t("no_answer");
  const body = await reply.json();
  if (!reply.ok) return body.detail;
  await setFact("site", body.site);
  await setFact("pair_again", false);
  await beginSequence();
  await setFact("token", body.token);
  speak(body.language);
  await setFact("language", body.language);
  await navigator.storage?.persist?.();
  await learnClock();
  await refresh();
  await draw();
  return "";
}

/** Asks once a start for the farm's clock, and keeps it for when there is no signal. */
async function learnClock() {
  keepTime(await getFact("farm"));
  const site = await getFact("site");
  if (!site) return;
  const reply = await ask(`/api/v1/sites/${site}/`).catch(() => null);
  if (!reply?.ok) return;
  const { time_zone, clock_h } = await reply.json();
  await setFact("farm", { time_zone, clock_h });
  keepTime({ time_zone, clock_h });
}

/** Fetches the parcel of work; what this phone said and the server has not yet heard stays on top. */
async function refresh() {
  const site = await getFact("site");
  if (!site) return;
  try {
    const before = await counts();
    const reply = await ask(`/api/v1/sites/${site}/my-work/`);
    if (reply.status === 401) { await setFact("token", null); await setFact("pair_again", true); return draw(); }
    if (!reply.ok) return draw();
    app.parcel = await reply.json();
    if (before.waiting === 0 && (await counts()).waiting === 0) app.local = { jobs: {} };
    await setFact("parcel", app.parcel);
    await setFact("local", app.local);
    await setFact("heard_at", new Date().toISOString());
  } catch { /* no signal: the last parcel stands */ }
  if (!isTyping()) await draw();
}

/** Whether something is typed or chosen that a redraw would lose. */
function isTyping() {
  if (here.screen === "look_round" || ["INPUT", "SELECT"].includes(document.activeElement?.tagName ?? "")) return true;
  const inputs = /** @type {HTMLInputElement[]} */ ([...root.querySelectorAll("input")]);
  const lists = /** @type {HTMLSelectElement[]} */ ([...root.querySelectorAll("select")]);
  return inputs.some((i) => i.value !== i.defaultValue || i.checked) || lists.some((l) => l.selectedIndex > 0);
}

async function begin() {
  if (!isSecureContext) { root.replaceChildren(h("main", {}, h("p", { class: "fact", role: "alert" }, t("insecure")))); return; }
  speak((await getFact("language")) ?? (navigator.language.startsWith("en") ? "en" : "es"));
  document.documentElement.dataset.theme = (await getFact("theme")) ?? "day";
  app.parcel = (await getFact("parcel")) ?? EMPTY;
  app.local = (await getFact("local")) ?? { jobs: {} };
  keepTime(await getFact("farm"));
  await draw();
  keepSending();
  let settled = 0;
  onOutboxChange(() => { clearTimeout(settled); settled = setTimeout(() => void refresh(), 300); });
  setInterval(() => void refresh(), REFRESH_MS);
  await learnClock();
  await refresh();
}

void begin();
