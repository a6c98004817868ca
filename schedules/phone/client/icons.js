// @ts-check
// Drawn signs. Each stands beside its word and says nothing to a reader of screens by itself.

const SVG = "http://www.w3.org/2000/svg";

/** Paths on a field of 24 x 24: `f` is filled, `s` is drawn as a line of 2. @type {Record<string, {f?: string, s?: string}>} */
const SHAPES = {
  // what becomes of a job
  to_do: { s: "M12 4a8 8 0 1 0 0 16a8 8 0 1 0 0-16" },
  waiting: { f: "M6 3h12v3l-4.500 6 4.500 6v3h-12v-3l4.500-6-4.500-6z" },
  under_way: { f: "M7 4l13 8-13 8z" },
  done: { s: "M4 13l5 5L20 6" },
  part: { f: "M12 4a8 8 0 0 1 0 16z", s: "M12 4a8 8 0 1 0 0 16a8 8 0 1 0 0-16" },
  could_not: { s: "M5 5h14v14H5zM9 9l6 6M15 9l-6 6" },
  late: { s: "M12 4a8 8 0 1 0 0 16a8 8 0 1 0 0-16M12 8v4.500l3.500 2" },
  level: { s: "M4 4v16h16V4M4 12c2-2 3.500-2 5.500 0s3.500 2 5.500 0 3.500-2 5 0M8 16h8" },
  // safety messages alone
  triangle: { f: "M12 2.500L23 21.500H1z" },
  octagon: { f: "M7.500 1.500h9l6 6v9l-6 6h-9l-6-6v-9z" },
  // places to go
  jobs: { s: "M5 4h14v16H5zM8 9h8M8 13h8M8 17h5" },
  tell_us: { s: "M4 10v4h3l8 5V5L7 10zM18.500 9.500a4 4 0 0 1 0 5" },
  cows: { s: "M4 6c1 2 2.500 2.500 4 2.500h8c1.500 0 3-.5 4-2.500M7 8.500v6l3 5.500h4l3-5.500v-6M10 16.500h4" },
  machines: { s: "M3 12h10V6h5l2 6M8 15a3 3 0 1 0 .01 0M18 16a2.500 2.500 0 1 0 .01 0M13 17h2.500M3 12v3h2" },
  locks: { s: "M6 11h12v9H6zM8.500 11V7.500a3.500 3.500 0 0 1 7 0V11" },
  more: { f: "M5 10h4v4H5zM10 10h4v4h-4zM15 10h4v4h-4z" },
  me: { s: "M12 4a4 4 0 1 0 .01 0M4 21c0-5 3-7.500 8-7.500s8 2.500 8 7.500" },
  crew: { s: "M8.500 5a3 3 0 1 0 .01 0M2.500 19c0-4 2-6 6-6s6 2 6 6M16.500 6a2.500 2.500 0 1 0 .01 0M17 13c3 0 4.500 2 4.500 5" },
  walk: { s: "M5 20c4 0 3-5 7-5s3-6 7-6M19 9V3l-4 2 4 1" },
  handover: { s: "M3 8h12M11 4l4 4-4 4M21 16H9M13 12l-4 4 4 4" },
  look: { s: "M2.500 12c3-5 6-7 9.500-7s6.500 2 9.500 7c-3 5-6 7-9.500 7s-6.500-2-9.500-7zM12 9.500a2.500 2.500 0 1 0 .01 0" },
  problems: { s: "M4 4h16v12H10l-5 4v-4H4zM12 7v4M12 13v.500" },
  service: { s: "M14.500 6a4.500 4.500 0 0 0 5 5L9 21l-4-4L15.500 6.500M14.500 6l4-3M19.500 11l2-4.500" },
  sent: { s: "M4 12l16-8-6 16-3-6zM11 14l9-10" },
  // what to tell with, and what is wrong
  photo: { s: "M3 7h5l2-3h4l2 3h5v13H3zM12 10a3.500 3.500 0 1 0 .01 0" },
  voice: { s: "M9 4h6v9H9zM5 11c0 4 3 6 7 6s7-2 7-6M12 17v4" },
  stop: { f: "M5 5h14v14H5z" },
  place: { s: "M12 21c-5-6-7-9-7-12a7 7 0 0 1 14 0c0 3-2 6-7 12zM12 7a2 2 0 1 0 .01 0" },
  broken: { s: "M13 2l-4 8h6l-4 12M3 6h5M16 6h5M3 18h5M16 18h5" },
  leak: { f: "M12 2.500c4 5.500 6 8.500 6 12a6 6 0 0 1-12 0c0-3.500 2-6.500 6-12z" },
  blocked: { s: "M3 10h18v6H3zM7 10l-3 6M13 10l-3 6M19 10l-3 6M6 16v4M18 16v4" },
  slippery: { s: "M9 3l4 4-3 5 5 3M3 19c3-2 4 2 7 0s4 2 7 0 3 1 4 0" },
  animal: { s: "M12 20s-8-4.500-8-10a4.500 4.500 0 0 1 8-2.500A4.500 4.500 0 0 1 20 10c0 5.500-8 10-8 10zM8 12h2l1.500-3 2 5 1-2H17" },
  other: { f: "M5 10.500h3v3H5zM10.500 10.500h3v3h-3zM16 10.500h3v3h-3z" },
  speak: { s: "M4 10v4h3l5 4V6l-5 4zM15.500 9a4 4 0 0 1 0 6M18 6.500a8 8 0 0 1 0 11" },
  rub_out: { s: "M8 5h13v14H8l-6-7zM12 9.500l5 5M17 9.500l-5 5" },
  undo: { s: "M9 5L4 10l5 5M4 10h10a5 5 0 0 1 0 10h-3" },
  people: { s: "M12 4a3.500 3.500 0 1 0 .01 0M5 20c0-4 2.500-6 7-6s7 2 7 6M18 4h4M20 2v4" },
  back: { s: "M15 4l-8 8 8 8" },
  on: { s: "M9 4l8 8-8 8" },
  good: { s: "M4 13l5 5L20 6" },
  not_good: { s: "M5 5l14 14M19 5L5 19" },
};

/**
 * @param {string} name @param {string} [more] further classes
 * @returns {SVGSVGElement}
 */
export function icon(name, more = "") {
  const svg = document.createElementNS(SVG, "svg");
  for (const [key, value] of Object.entries({ viewBox: "0 0 24 24", class: `icon ${more}`, "aria-hidden": "true", focusable: "false" })) svg.setAttribute(key, value);
  const { f, s } = SHAPES[name] ?? {};
  if (f) svg.append(pathOf(f, "f"));
  if (s) svg.append(pathOf(s, "s"));
  return svg;
}

/** @param {string} d @param {string} kind */
function pathOf(d, kind) {
  const path = document.createElementNS(SVG, "path");
  path.setAttribute("d", d);
  path.setAttribute("class", kind);
  return path;
}

/** Every drawn sign there is. */
export const ICONS = Object.keys(SHAPES);
