// @ts-check
// Builds elements; text is always text, never markup.

import { icon } from "./icons.js";

/**
 * @param {string} tag
 * @param {Record<string, any>} [props] attributes; `on` holds listeners, `class` the class
 * @param {...(Node|string|number|null|undefined|false|Array<any>)} children
 * @returns {HTMLElement}
 */
export function h(tag, props = {}, ...children) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(props)) {
    if (name === "on") for (const [kind, does] of Object.entries(value)) node.addEventListener(kind, does);
    else if (value === true) node.setAttribute(name, "");
    else if (value !== false && value !== null && value !== undefined) node.setAttribute(name, String(value));
  }
  node.append(...children.flat(5).filter((c) => c !== null && c !== undefined && c !== false && c !== "").map(asNode));
  return node;
}

/** @param {any} child */
function asNode(child) {
  return child instanceof Node ? child : String(child);
}

/** @param {any} words @param {() => void} does @param {string} [kind] @param {Record<string, any>} [more] */
export function button(words, does, kind = "", more = {}) {
  return h("button", { type: "button", class: kind, on: { click: does }, ...more }, words);
}

/** A button with its sign before its word. @param {string} sign @param {string} words @param {() => void} does @param {string} [kind] @param {Record<string, any>} [more] */
export function signed(sign, words, does, kind = "", more = {}) {
  return button([icon(sign), h("span", {}, words)], does, `signed ${kind}`, more);
}

/** Things one under the other, 12 px apart. @param {...any} children */
export const stack = (...children) => h("div", { class: "stack" }, ...children);

/** Two buttons whose outcomes are opposite: 32 px apart. @param {...any} children */
export const pair = (...children) => h("div", { class: "pair" }, ...children);

/** Buttons that are taken one or several of: 12 px apart. @param {...any} children */
export const tiles = (...children) => h("div", { class: "tiles" }, ...children);

/** The fact of a screen: 28 px. @param {any} words @param {Record<string, any>} [more] */
export const fact = (words, more = {}) => h("p", { class: "fact", ...more }, words);

/** A line of less weight. @param {...any} words */
export const soft = (...words) => h("p", { class: "soft" }, ...words);

/** What stands where there is nothing yet: always what to do next. @param {string} words @param {...any} more */
export const empty = (words, ...more) => h("div", { class: "stack empty" }, h("p", {}, words), ...more);
