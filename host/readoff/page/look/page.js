// Keeps a view current: the server says that something has changed, the view is asked for again, and its live
// parts take the place of the old ones. Without this script every view still works; reloading then shows what is new.
"use strict";

const link = document.getElementById("link");
const said = document.getElementById("said");
const view = document.body.dataset.view;
let shown = document.body.dataset.beat;
let asking = false;
let wanted = "";

// Ages: "12 s ago" beside a time that the server wrote out.
function age(seconds) {
  if (seconds < 1) return "now";
  if (seconds < 120) return `${Math.floor(seconds)} s ago`;
  if (seconds < 7200) return `${Math.floor(seconds / 60)} min ago`;
  if (seconds < 172800) return `${Math.floor(seconds / 3600)} h ago`;
  return `${Math.floor(seconds / 86400)} days ago`;
}

function showAges() {
  for (const time of document.querySelectorAll("time[data-age]")) {
    time.title ||= time.textContent;
    const text = age((Date.now() - Date.parse(time.dateTime)) / 1000);
    if (time.textContent !== text) time.textContent = text;
  }
}

// Whether a person marks something in a part, or has begun to fill something in: then it is left as it is.
function isUsed(part) {
  const chosen = getSelection();
  if (!chosen.isCollapsed && part.contains(chosen.anchorNode)) return true;
  const active = document.activeElement;
  if (part.contains(active) && active.matches("input, textarea, select")) return true;
  return [...part.querySelectorAll("input, textarea")].some((each) => each.value !== each.defaultValue && each.dataset.person === undefined);
}

// Puts the new part in the place of the old one, and keeps what the person does in it.
function swap(old, fresh) {
  const active = old.contains(document.activeElement) ? document.activeElement : null;
  const href = active && active.getAttribute("href");
  const open = [...old.querySelectorAll("details")].map((each) => each.open);
  [...fresh.querySelectorAll("details")].forEach((each, at) => { each.open = Boolean(open[at]); });
  const scrolled = [...old.querySelectorAll(".wide")].map((each) => each.scrollLeft);
  for (const each of fresh.querySelectorAll("img")) {
    const same = [...old.querySelectorAll("img")].find((one) => one.src === each.src);
    if (same) each.replaceWith(same);
  }
  old.replaceWith(fresh);
  rememberWho();
  [...fresh.querySelectorAll(".wide")].forEach((each, at) => { each.scrollLeft = scrolled[at] || 0; });
  if (href) {
    const again = [...fresh.querySelectorAll("[href]")].find((each) => each.getAttribute("href") === href);
    if (again) again.focus({ preventScroll: true });
  }
}

async function ask() {
  if (asking) return;
  asking = true;
  try {
    while (wanted) {
      const beat = wanted;
      wanted = "";
      const answer = await fetch(location.href, { credentials: "same-origin" });
      if (!answer.ok) break;
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      let waits = false;
      for (const old of document.querySelectorAll("[data-live]")) {
        const fresh = page.getElementById(old.id);
        if (!fresh) continue;
        if (isUsed(old)) waits = true;
        else swap(old, document.adoptNode(fresh));
      }
      showAges();
      tell();
      if (!waits) shown = beat;
      await new Promise((done) => setTimeout(done, 250));
    }
  } catch {
    // The server is away: the stream tells so, and asks again when it is back.
  } finally {
    asking = false;
  }
}

// What the lead says, for those who do not see it, when it has changed.
let told = "";
function tell() {
  const lead = document.getElementById("lead");
  const text = lead ? lead.innerText.replace(/\s+/g, " ").trim() : "";
  if (told && text !== told) said.textContent = text;
  told = text;
}

function differs(beat) {
  const [run, store, bench] = beat.split(".");
  const [oldRun, oldStore, oldBench] = shown.split(".");
  return run !== oldRun || store !== oldStore || ((view === "now" || view === "far") && bench !== oldBench);
}

function follow() {
  const stream = new EventSource("/changes");
  stream.addEventListener("beat", (event) => {
    link.hidden = false;
    link.textContent = "live";
    link.className = "live";
    if (differs(event.data)) {
      wanted = event.data;
      ask();
    }
  });
  stream.addEventListener("error", () => {
    link.hidden = false;
    link.textContent = "not live: the page's program does not answer";
    link.className = "tone-held";
    if (stream.readyState === EventSource.CLOSED) setTimeout(follow, 15000);
  });
  addEventListener("pagehide", () => stream.close(), { once: true });
}

// Who sits at this device: filled in where the page asks for it, and remembered by the browser alone.
function rememberWho() {
  let known = "";
  try { known = localStorage.getItem("person") || ""; } catch { /* not allowed: then it is typed each time */ }
  for (const each of document.querySelectorAll("input[data-person]")) {
    if (!each.value) each.value = known;
  }
}

addEventListener("submit", (event) => {
  const who = event.target.querySelector("input[data-person]");
  try { if (who && who.value) localStorage.setItem("person", who.value); } catch { /* as above */ }
});

addEventListener("pageshow", (event) => { if (event.persisted) follow(); });
showAges();
rememberWho();
tell();
setInterval(showAges, 1000);
if (document.querySelector("[data-live]")) follow();
