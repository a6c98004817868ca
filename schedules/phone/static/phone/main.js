// @ts-check
// The phone's small program: pair, carry the work, say what happened. Data is local first.

import { button, h } from "./dom.js";
import { ask, counts, keepSending, onOutboxChange, say, drain } from "./outbox.js";
import * as screens from "./screens.js";
import { beginSequence, getFact, setFact } from "./store.js";
import { clock, speak, speaking, t } from "./words.js";

const TABS = ["jobs", "cows", "machines", "locks", "tell_us", "sent"];
const TITLES = /** @type {Record<string, string>} */ ({ jobs: "my_jobs", job: "my_jobs", part: "part", could_not: "could_not", moisture: "moisture", cows: "cows", machines: "machines", hours: "hours", look_round: "look_round", verdict_screen: "look_round", locks: "locks", tell_us: "tell_us", sent: "sent" });
const UNDO_MS = 10_000;
const REFRESH_MS = 15_000;

const root = /** @type {HTMLElement} */ (document.getElementById("app"));
const said = /** @type {HTMLElement} */ (document.getElementById("said"));

const EMPTY = { jobs: [], machines: [], checks: [], places: [], sand_places: [], locks: [], visits: [] };
const app = { parcel: /** @type {any} */ (EMPTY), local: { jobs: /** @type {Record<string, any>} */ ({}) }, go, tell, sendNow };
let here = { screen: "jobs", arg: /** @type {any} */ (undefined) };

/** @param {string} screen @param {any} [arg] */
function go(screen, arg) {
  here = { screen: screen === "verdict" ? "verdict_screen" : screen, arg };
  void draw().then(() => { scrollTo(0, 0); root.querySelector("h1")?.focus(); });
}

function sendNow() { void drain().then(draw); }

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
  const main = h("main", {}, await drawScreen(app, here.arg));
  root.replaceChildren(await head(), main, await tabs());
}

async function head() {
  const inTabs = TABS.includes(here.screen);
  return h("header", {}, !inTabs && button("‹", () => go(["hours", "look_round"].includes(here.screen) ? "machines" : "jobs"), "", { "aria-label": t("back") }),
    h("h1", { tabindex: "-1" }, titleOf()),
    button(t("language"), async () => { speak(speaking() === "es" ? "en" : "es"); await setFact("language", speaking()); await draw(); }, "", { lang: speaking() === "es" ? "en" : "es" }),
    button(document.documentElement.dataset.theme === "night" ? t("day") : t("night"), async () => { await setTheme(document.documentElement.dataset.theme === "night" ? "day" : "night"); await draw(); }));
}

function titleOf() {
  const job = here.screen === "job" && app.parcel.jobs.find((/** @type {any} */ j) => j.id === here.arg);
  return job ? `${job.title} ${job.place}` : t(TITLES[here.screen]);
}

async function tabs() {
  const n = await counts();
  const note = n.refused ? `${n.refused} ${t("needs_you")}` : n.waiting ? `(${n.waiting})` : n.heard_at ? clock(n.heard_at) : "";
  return h("nav", {}, TABS.map((name) => button(name === "sent" ? `${t("sent")} ${note}` : t(TITLES[name]), () => go(name), "", { "aria-current": name === here.screen ? "page" : null, id: `tab-${name}` })));
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
  root.replaceChildren(h("header", {}, h("h1", { tabindex: "-1" }, t("pair_title"))), h("main", {}, pairing));
}

/** @param {string} code @returns {Promise<string>} what went wrong, or nothing */
async function pairWith(code) {
  const reply = await fetch("/api/v1/pair/", { method: "POST", headers: { "Content-Type": "application/json", "Accept-Language": speaking() }, body: JSON.stringify({ code }) }).catch(() => null);
  if (!reply) return "…";
  const body = await reply.json();
  if (!reply.ok) return body.detail;
  await setFact("site", body.site);
  await setFact("pair_again", false);
  await beginSequence();
  await setFact("token", body.token);
  speak(body.language);
  await setFact("language", body.language);
  await navigator.storage?.persist?.();
  await refresh();
  return "";
}

/** Fetches the parcel of work; what this phone said and the server has not yet heard stays on top. */
async function refresh() {
  const site = await getFact("site");
  if (!site) return draw();
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

function isTyping() {
  return ["INPUT", "SELECT"].includes(document.activeElement?.tagName ?? "") || here.screen === "look_round";
}

async function begin() {
  speak((await getFact("language")) ?? (navigator.language.startsWith("en") ? "en" : "es"));
  document.documentElement.dataset.theme = (await getFact("theme")) ?? "day";
  app.parcel = (await getFact("parcel")) ?? EMPTY;
  app.local = (await getFact("local")) ?? { jobs: {} };
  await draw();
  keepSending();
  let settled = 0;
  onOutboxChange(() => { clearTimeout(settled); settled = setTimeout(() => void refresh(), 300); });
  setInterval(() => void refresh(), REFRESH_MS);
  await refresh();
}

void begin();
