// Keeps a page fresh: the server tells when the site's count of changes moves (server-sent events),
// and the page's main part is fetched again, unless somebody is typing in it. A page that nobody
// sees hears nothing: a browser has six connections to a server. Without JavaScript the page still
// works: reload it.
const main = document.querySelector("main[data-news-url]");
const PACE_MS = 500; // between two fetches of a page
const PATIENCE_MS = 4000; // so long without the server, and the page says so
const CROWDED_MS = 30000; // the server asked us to look now and then
let told = ""; // the count the server named last
let isFetching = false;
let isCrowded = false;
let silence = 0;
let stream = null;

function somebodyIsAtWork() {
  const at = document.activeElement;
  const typing = main.contains(at) && ["INPUT", "SELECT", "TEXTAREA"].includes(at.tagName);
  const typed = [...main.querySelectorAll("input, textarea")].some((field) => field.value !== field.defaultValue);
  return typing || typed || main.querySelector("details[open] form") !== null;
}

// Who stands on something in the page, or marks it, would lose it for nothing.
function somebodyIsThere() {
  const at = document.activeElement;
  return somebodyIsAtWork() || (main.contains(at) && at !== main) || !getSelection().isCollapsed;
}

async function freshen() {
  const before = told;
  const answer = await fetch(location.href, { headers: { Accept: "text/html" } });
  if (!answer.ok) throw new Error(`no page: ${answer.status}`);
  const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").querySelector("main");
  if (!fresh || somebodyIsAtWork()) return;
  const open = [...main.querySelectorAll("details[open][id]")].map((d) => d.id);
  const focused = document.activeElement?.id;
  const scrolled = [...main.querySelectorAll(".scroll")].map((s) => s.scrollLeft);
  main.querySelector("#page").replaceChildren(...fresh.querySelector("#page").childNodes);
  main.querySelector("#stale").textContent = fresh.querySelector("#stale").textContent;
  main.dataset.version = fresh.dataset.version;
  if (told === before) told = fresh.dataset.version; // the page may be newer than what was told
  for (const id of open) document.getElementById(id)?.setAttribute("open", "");
  main.querySelectorAll(".scroll").forEach((s, i) => { s.scrollLeft = scrolled[i] ?? 0; });
  if (focused) document.getElementById(focused)?.focus();
}

// On a narrow screen a chart of time opens at now, not at its first hour.
function showNow() {
  for (const now of document.querySelectorAll(".scroll line.now")) {
    const frame = now.closest(".scroll");
    frame.scrollLeft = Number(now.getAttribute("x1")) - frame.clientWidth / 3;
  }
}

// A mark of a chart leads to what it stands for; the same links stand in the list below it.
document.addEventListener("click", (event) => {
  const mark = event.target.closest("[data-url]");
  if (mark) location.assign(mark.dataset.url);
});

function tellAge(isStale) {
  clearTimeout(silence);
  silence = 0;
  main.querySelector("#stale").hidden = !isStale;
}

// What the clock alone changes (a backup grows old, work stands still) no count tells of: a page
// that shows such things is fetched every so many seconds.
async function lookByTheClock() {
  if (isFetching || document.hidden || somebodyIsThere()) return;
  isFetching = true;
  await freshen().catch(() => {}); // a service that is gone is told of by the stream
  isFetching = false;
  look(); // for what was told meanwhile
}

// Fetches while the page shows another count than the last one told, and no more often than it must.
async function look() {
  if (isFetching || document.hidden || !told || told === main.dataset.version || somebodyIsAtWork()) return;
  isFetching = true;
  const pause = await freshen().then(() => PACE_MS, () => PATIENCE_MS);
  setTimeout(() => { isFetching = false; look(); }, pause);
}

// A stream ends now and then and the browser opens the next; one that was refused we open anew.
function listen() {
  if (document.hidden) return;
  stream?.close();
  stream = new EventSource(main.dataset.newsUrl);
  stream.addEventListener("version", (event) => { isCrowded = false; tellAge(false); told = event.data; look(); });
  stream.addEventListener("crowded", () => { isCrowded = true; });
  stream.addEventListener("error", ({ target }) => {
    silence ||= setTimeout(tellAge, isCrowded ? CROWDED_MS : PATIENCE_MS, true);
    if (target.readyState === EventSource.CLOSED && target === stream) setTimeout(listen, PATIENCE_MS);
  });
}

function rest() {
  clearTimeout(silence);
  silence = 0;
  stream?.close();
}

showNow();
if (main) {
  document.addEventListener("visibilitychange", () => (document.hidden ? rest() : listen()));
  for (const over of ["focusout", "toggle"]) main.addEventListener(over, () => setTimeout(look), true);
  if (main.dataset.everyS) setInterval(lookByTheClock, 1000 * Number(main.dataset.everyS));
  listen();
}
