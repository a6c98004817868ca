// Keeps a page fresh: when the site's count of changes moves, the page's main part is fetched
// again, unless somebody is typing in it. Without JavaScript the page still works: reload it.
const main = document.querySelector("main[data-version-url]");
const PAUSE_MS = 4000;

async function currentVersion() {
  const answer = await fetch(main.dataset.versionUrl, { headers: { Accept: "application/json" } });
  return answer.ok ? (await answer.json()).version : null;
}

function somebodyIsAtWork() {
  const at = document.activeElement;
  const typing = main.contains(at) && ["INPUT", "SELECT", "TEXTAREA"].includes(at.tagName);
  return typing || main.querySelector("details[open] form") !== null;
}

async function freshen() {
  const answer = await fetch(location.href, { headers: { Accept: "text/html" } });
  if (!answer.ok) return;
  const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").querySelector("main");
  if (!fresh || somebodyIsAtWork()) return;
  const open = [...main.querySelectorAll("details[open][id]")].map((d) => d.id);
  const focused = document.activeElement?.id;
  const scrolled = [...main.querySelectorAll(".scroll")].map((s) => s.scrollLeft);
  main.querySelector("#page").replaceChildren(...fresh.querySelector("#page").childNodes);
  main.querySelector("#stale").textContent = fresh.querySelector("#stale").textContent;
  main.dataset.version = fresh.dataset.version;
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
  main.querySelector("#stale").hidden = !isStale;
}

async function look() {
  try {
    const version = await currentVersion();
    tellAge(version === null);
    if (version !== null && String(version) !== main.dataset.version) await freshen();
  } catch {
    tellAge(true);
  }
  setTimeout(look, PAUSE_MS);
}

showNow();
if (main) setTimeout(look, PAUSE_MS);
