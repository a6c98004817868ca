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
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  const fresh = page.querySelector("main");
  if (!fresh || somebodyIsAtWork()) return;
  const open = [...main.querySelectorAll("details[open][id]")].map((d) => d.id);
  const focused = document.activeElement?.id;
  main.replaceChildren(...fresh.childNodes);
  main.dataset.version = fresh.dataset.version;
  for (const id of open) document.getElementById(id)?.setAttribute("open", "");
  if (focused) document.getElementById(focused)?.focus();
}

async function look() {
  try {
    const version = await currentVersion();
    document.body.classList.toggle("stale", version === null);
    if (version !== null && String(version) !== main.dataset.version) await freshen();
  } catch {
    document.body.classList.add("stale");
  }
  setTimeout(look, PAUSE_MS);
}

if (main) setTimeout(look, PAUSE_MS);
