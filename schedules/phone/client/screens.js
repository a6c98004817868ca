// @ts-check
// Every screen by its name: what draws it, its title, where it stands, and whether it ages.

import { stack } from "./dom.js";
import { cows, lock_on, locks } from "./screens_place.js";
import { look_round, machineBy, machines, meter, verdict } from "./screens_machine.js";
import { me, more, names, pairing, pin, sent } from "./screens_me.js";
import { could_not, goes_to, job, jobBy, jobs, lock_first, moisture, nameOf, part } from "./screens_work.js";
import { tell_us } from "./screens_tell.js";
import { say, t } from "./words.js";

/** @typedef {import("./main.js").Ui} Ui */
/**
 * @typedef {object} Screen
 * @property {(ui: Ui, arg: any) => HTMLElement} draw
 * @property {string} title key of its words
 * @property {string | ((ui: Ui, arg: any) => string)} [of] the place of the navigation that it belongs to, where it is none itself
 * @property {boolean} [ages] whether it goes by the clock, and so says how old it is
 * @property {boolean} [follows] whether it shows what came of something just said, and goes when that is taken back
 * @property {(ui: Ui, arg: any) => string | undefined} [name] its own title
 */

/** @param {Ui} ui @param {number | {id: number}} arg */
const jobOf = (ui, arg) => jobBy(ui, typeof arg === "number" ? arg : arg.id);
const jobName = (/** @type {Ui} */ ui, /** @type {any} */ arg) => { const one = jobOf(ui, arg); return one && nameOf(one); };

/** What is done, and with which machine. @param {string} key @returns {(ui: Ui, id: number) => string | undefined} */
const named = (key) => (ui, id) => { const one = machineBy(ui, id); return one && `${t(key)}: ${one.name}`; };

/**
 * A screen that not everybody has: its file is loaded when it is first looked at.
 * @param {string} name @param {() => Promise<any>} load @returns {Screen["draw"]}
 */
const later = (name, load) => (ui) => {
  load().then((file) => { SCREENS[name].draw = file[name]; ui.redraw(); }, () => ui.announce(t("no_answer")));
  return stack();
};
const ofLeads = (/** @type {string} */ name) => later(name, () => import("./screens_lead.js"));
const ofYard = (/** @type {string} */ name) => later(name, () => import("./screens_level.js"));
const ofShop = (/** @type {string} */ name) => later(name, () => import("./screens_shop.js"));

/** @type {Record<string, Screen>} */
export const SCREENS = {
  pairing: { draw: pairing, title: "pair_title" },
  names: { draw: names, title: "who_are_you" },
  pin: { draw: pin, title: "set_pin", of: "more" },
  jobs: { draw: jobs, title: "my_jobs", ages: true },
  job: { draw: job, title: "my_jobs", of: (ui, arg) => (ui.view.is_lead && !jobOf(ui, arg)?.is_mine ? "crew" : "jobs"), ages: true, name: jobName },
  lock_first: { draw: lock_first, title: "locks", of: "jobs", name: jobName },
  goes_to: { draw: goes_to, title: "goes_to", of: "jobs" },
  part: { draw: part, title: "part", of: "jobs" },
  could_not: { draw: could_not, title: "could_not", of: "jobs" },
  moisture: { draw: moisture, title: "moisture", of: "jobs" },
  tell_us: { draw: tell_us, title: "tell_us" },
  levels: { draw: ofYard("levels"), title: "k_level", of: "tell_us", ages: true },
  level: { draw: ofYard("level"), title: "k_level", of: "tell_us", name: (ui, id) => { const one = ui.view.basins.find((b) => b.id === id); return one && `${t("k_level")}: ${say(one.name)}`; } },
  cows: { draw: cows, title: "cows", ages: true },
  machines: { draw: machines, title: "machines", ages: true },
  meter: { draw: meter, title: "read_meter", of: "machines", name: named("read_meter") },
  look_round: { draw: look_round, title: "look_round", of: "machines", name: named("look_round") },
  verdict: { draw: verdict, title: "look_round", of: "machines", follows: true },
  park: { draw: ofShop("park"), title: "park_it", of: "machines", name: named("park_it") },
  service: { draw: ofShop("service"), title: "service", ages: true },
  service_sheet: { draw: ofShop("service_sheet"), title: "service_sheet", of: "service", name: (ui, id) => machineBy(ui, Number(String(id).split("-")[0]))?.name },
  locks: { draw: locks, title: "locks", ages: true },
  lock_on: { draw: lock_on, title: "put_lock", of: "locks" },
  crew: { draw: ofLeads("crew"), title: "crew_now", ages: true },
  give: { draw: ofLeads("give"), title: "give", of: "crew" },
  walk: { draw: ofLeads("walk"), title: "walk" },
  handover: { draw: ofLeads("handover"), title: "handover", ages: true },
  write_handover: { draw: ofLeads("write_handover"), title: "write_handover", of: "handover" },
  look: { draw: ofLeads("look"), title: "look", ages: true },
  problems: { draw: ofLeads("problems"), title: "problems", ages: true },
  sent: { draw: sent, title: "sent" },
  people: { draw: ofLeads("people"), title: "people", of: "more" },
  person: { draw: ofLeads("person"), title: "people", of: "more" },
  me: { draw: me, title: "me", of: "more" },
  more: { draw: more, title: "more" },
};

/** Places of the navigation by role, five at most; "more" leads to the others. @type {Record<string, string[]>} */
export const TABS = {
  worker: ["jobs", "tell_us", "cows", "machines", "more"],
  mechanic: ["jobs", "machines", "service", "tell_us", "more"],
  lead: ["crew", "jobs", "tell_us", "handover", "more"],
};
const OTHERS = { worker: ["locks", "sent", "me"], mechanic: ["cows", "locks", "sent", "me"], lead: ["walk", "look", "problems", "cows", "machines", "service", "locks", "people", "sent", "me"] };

/** @param {Ui} ui @returns {"worker" | "mechanic" | "lead"} */
export const roleOf = (ui) => (ui.view.is_lead ? "lead" : ui.view.is_mechanic ? "mechanic" : "worker");

/** Places that stand under "more". @param {Ui} ui @returns {string[]} */
export const othersOf = (ui) => OTHERS[roleOf(ui)];
