// @ts-check
// Says things in the person's language: words, numbers, times. The tables are words_en.js and words_es.js.

import { EN } from "./words_en.js";
import { ES } from "./words_es.js";

/** @type {Record<string, Record<string, string | string[]>>} */
export const WORDS = { en: EN, es: ES };
const NUMBERS = "en-US"; // 1,250.5 in both languages

let language = "es";
/** @param {string | undefined} next */
export function speak(next) {
  language = next && WORDS[next] ? next : "es";
  document.documentElement.lang = language;
}
export const speaking = () => language;
export const otherLanguage = () => (language === "es" ? "en" : "es");

/** The word of a key, with {names} filled in. @param {string} key @param {Record<string, any>} [fill] */
export function t(key, fill = {}) {
  const word = WORDS[language][key] ?? key;
  return filled(Array.isArray(word) ? String(word.at(-1)) : word, fill);
}

/** The form of a plural for n. @param {string} key @param {number} n @param {Record<string, any>} [fill] */
export function tn(key, n, fill = {}) {
  const forms = /** @type {string[]} */ (WORDS[language][key]);
  const rule = new Intl.PluralRules(language).select(n);
  const form = rule === "one" ? forms[0] : rule === "many" ? forms.at(-2) : forms.at(-1);
  return filled(String(form), { n: number(n), ...fill });
}

/** @param {string} word @param {Record<string, any>} fill */
const filled = (word, fill) => word.replace(/\{(\w+)\}/g, (whole, name) => String(fill[name] ?? whole));

/** A text of the farm's, which comes in both languages or as it was written. @param {any} text @returns {string} */
export function say(text) {
  if (text === null || text === undefined) return "";
  if (typeof text !== "object") return String(text);
  return text[language] || text.en || text.es || text.name && say(text.name) || "";
}

// Numbers ----------------------------------------------------------------------------------------

/** 1,250.5 in both languages. @param {number} n @param {number} [digits] at most so many after the point */
export const number = (n, digits = 1) => n.toLocaleString(NUMBERS, { maximumFractionDigits: digits });

/**
 * Reads 1250.5 and 1,250; `either` where it could be meant in several ways (1.250, 12,5).
 * @param {string} typed @returns {{value: number} | {either: number[]} | null}
 */
export function readNumber(typed) {
  const clean = typed.trim();
  if (/^\d{1,3}(,\d{3})+(\.\d+)?$/.test(clean)) return { value: Number(clean.replaceAll(",", "")) };
  if (/^[1-9]\d{0,2}\.\d{3}$/.test(clean)) return { either: [Number(clean.replace(".", "")), Number(clean)] };
  if (/^\d+(\.\d*)?$/.test(clean)) return { value: Number(clean) };
  if (/^\d+,\d{1,2}$/.test(clean)) return { either: [Number(clean.replace(",", ".")), Number(clean.replace(",", ""))] };
  if (/^\d{1,3}(\.\d{3})+,\d{1,2}$/.test(clean)) return { either: [Number(clean.replaceAll(".", "").replace(",", "."))] };
  return null;
}

/** 45 min, 2 h, 2 h 30 min. @param {number} all_min */
export function duration(all_min) {
  const [hours, minutes] = [Math.floor(Math.round(all_min) / 60), Math.round(all_min) % 60];
  return [hours && `${hours} ${t("h")}`, (minutes || !hours) && `${minutes} ${t("min")}`].filter(Boolean).join(" ");
}

/** 0:07, 1:45. @param {number} s */
export const seconds = (s) => `${Math.floor(s / 60)}:${String(Math.floor(s) % 60).padStart(2, "0")}`;

// The farm's clock and words: the farm's own, wherever the phone thinks it is ----------------------

const farm = { time_zone: /** @type {string | undefined} */ (undefined), clock_h: 12, nouns: /** @type {any} */ ({}), ahead_ms: 0 };
/** @param {{time_zone: string, clock_h: number, nouns?: any} | null | undefined} told @param {number} [ahead_ms] how far the farm's clock is before the phone's */
export function keepTime(told, ahead_ms = 0) {
  farm.ahead_ms = Math.abs(ahead_ms) < 60_000 ? 0 : ahead_ms;
  if (told) Object.assign(farm, { time_zone: told.time_zone, clock_h: told.clock_h, nouns: told.nouns ?? {} });
}

/** The farm's own word for a thing. @param {string} key @param {string} [or] the word where the farm names none */
export const noun = (key, or = t(key)) => farm.nouns[language]?.[key] || or;

/** @param {string} iso */
function partsOf(iso) {
  const as = new Intl.DateTimeFormat("en-GB", { timeZone: farm.time_zone, hourCycle: "h23", hour: "numeric", minute: "2-digit", day: "numeric", month: "numeric", year: "numeric" });
  return Object.fromEntries(as.formatToParts(new Date(iso)).map((p) => [p.type, p.value]));
}

/** A time of day: 5:10 am, or 05:10; never 12 am, which people read in two ways. @param {string} iso */
export function clock(iso) {
  const { hour, minute } = partsOf(iso);
  const h = Number(hour);
  if (farm.clock_h === 24) return `${String(h).padStart(2, "0")}:${minute}`;
  if (minute === "00" && h % 12 === 0) return t(h ? "noon" : "midnight");
  return `${h % 12 || 12}:${minute} ${h < 12 ? "am" : "pm"}`;
}

/** The farm's day of an instant, to compare days by. @param {string} iso */
export function dayOf(iso) {
  const { year, month, day } = partsOf(iso);
  return `${year}-${month}-${day}`;
}

/** A day with its name and no figures alone: Wed 4 Mar. @param {string} iso an instant, or a date */
export function day(iso) {
  const isDate = /^\d{4}-\d\d-\d\d$/.test(iso);
  const as = new Intl.DateTimeFormat(language, { timeZone: isDate ? "UTC" : farm.time_zone, weekday: "short", day: "numeric", month: "short" });
  const name = as.formatToParts(new Date(iso));
  const part = (/** @type {string} */ type) => name.find((p) => p.type === type)?.value.replace(".", "");
  return `${part("weekday")} ${part("day")} ${part("month")}`;
}

/** A time of day, with its day when that is not today. @param {string} iso @param {number} [now] in ms */
export function moment(iso, now = Date.now() + farm.ahead_ms) {
  return dayOf(iso) === dayOf(new Date(now).toISOString()) ? clock(iso) : `${day(iso)} ${clock(iso)}`;
}

/** When the phone did something, by the farm's clock. @param {string} iso by the phone's clock */
export const heard = (iso) => moment(new Date(Date.parse(iso) + farm.ahead_ms).toISOString());

/** From when to when. @param {string} from @param {string} to */
export const span = (from, to) => `${moment(from)} – ${clock(to)}`;
