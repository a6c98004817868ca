// @ts-check
// Builds elements; text is always text, never markup.

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
  node.append(...children.flat(3).filter((c) => c !== null && c !== undefined && c !== false).map(asNode));
  return node;
}

/** @param {any} child */
function asNode(child) {
  return child instanceof Node ? child : String(child);
}

/** @param {string} words @param {() => void} does @param {string} [kind] @param {Record<string, any>} [more] */
export function button(words, does, kind = "", more = {}) {
  return h("button", { type: "button", class: kind, on: { click: does }, ...more }, words);
}
