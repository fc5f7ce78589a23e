// What the page cannot do alone: levels that move, and taps that wait while the
// telephone has no connection. Everything else works without this script.
"use strict";

const $ = id => document.getElementById(id);
const own = { headers: { "X-Requested-With": "page" }, credentials: "same-origin", cache: "no-store" };

// ---- taps -------------------------------------------------------------------
// A tap is kept in the browser until the server has answered it. Its id is made
// here, so that one sent twice is entered once; how long it waited goes with it.

const shelf = "dustlog-taps";
let memory = []; // where the browser keeps nothing, taps live as long as the page
const taps = () => { try { return JSON.parse(localStorage.getItem(shelf)) || []; } catch { return memory; } };
const keep = list => { memory = list; try { localStorage.setItem(shelf, JSON.stringify(list)); } catch { /* in memory */ } };

function newID() {
  return Array.from(crypto.getRandomValues(new Uint8Array(16)), b => b.toString(16).padStart(2, "0")).join("");
}

function tapped(form) {
  const fields = Object.fromEntries(new FormData(form));
  const words = fields.text || fields.figures || [fields.name, fields.material].filter(Boolean).join(", ");
  const what = form.dataset.tap;
  keep([...taps(), { id: newID(), made: Date.now(), fields, words: form.classList.contains("own") && words ? what + ": " + words : what }]);
  form.reset();
  const more = $("more");
  if (more) more.open = false;
  showWaiting();
  send();
}

let sending = false;
async function send() {
  if (sending || !next()) return;
  sending = true;
  try {
    for (let tap = next(); tap; tap = next()) {
      const body = new URLSearchParams({ ...tap.fields, id: tap.id, made_ms: tap.made, sent_ms: Date.now() });
      const answer = await fetch("/diary/enter", { ...own, method: "POST", body, headers: { Accept: "application/json" } });
      if (answer.ok) { forget(tap.id); continue; }
      if (answer.status === 422) { mark(tap.id, (await answer.json()).error); continue; }
      if (answer.status === 401 || answer.status === 403) { login = true; }
      break; // the server is busy, or wants a password: later
    }
  } catch { /* no connection: they wait */ }
  sending = false;
  showWaiting();
  freshDock();
}

let login = false;
const next = () => taps().find(tap => !tap.error);
const forget = id => keep(taps().filter(tap => tap.id !== id));
const mark = (id, error) => keep(taps().map(tap => tap.id === id ? { ...tap, error } : tap));

function showWaiting() {
  const list = $("waiting"), all = taps();
  if (!list) return;
  list.hidden = all.length === 0;
  list.replaceChildren(...all.map(tap => {
    const li = document.createElement("li"), text = document.createElement("span"), away = document.createElement("button");
    const at = new Date(tap.made).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", hour12: false });
    text.textContent = `${at} ${tap.words}: ` + (tap.error ? `not entered, ${tap.error}` : login ? "waits, log in first" : "waits to be sent");
    away.type = "button";
    away.textContent = tap.error ? "Clear" : "Take back";
    away.onclick = () => { forget(tap.id); showWaiting(); };
    li.append(text, away);
    return li;
  }));
}

document.addEventListener("submit", event => {
  const form = event.target;
  if (!form.dataset.tap) return;
  event.preventDefault();
  tapped(form);
});

async function freshDock() {
  const dock = $("dock");
  // Not under the fingers of somebody who is writing.
  if (!dock || dock.contains(document.activeElement) && /INPUT|SELECT/.test(document.activeElement.tagName)) return;
  try {
    const answer = await fetch("/dock", own);
    if (!answer.ok) return;
    const open = $("more") && $("more").open;
    dock.innerHTML = await answer.text();
    if ($("more")) $("more").open = open;
    dockReady();
  } catch { /* later */ }
}

function dockReady() {
  for (const button of document.querySelectorAll("[data-dismiss]")) {
    const box = button.closest("[data-forgotten]"), key = "dustlog-still-" + box.dataset.forgotten;
    box.hidden = sessionStorage.getItem(key) !== null;
    button.hidden = false;
    button.onclick = () => { sessionStorage.setItem(key, "1"); box.hidden = true; };
  }
  showWaiting();
}

// ---- levels -----------------------------------------------------------------

let diary = null, heard = 0, traced = Date.now();

function show(state) {
  for (const [id, text] of Object.entries(state.text)) {
    const place = $(id);
    if (!place && id.endsWith("-level")) { location.reload(); return; } // a sensor that this page does not know
    if (place && place.textContent !== text) place.textContent = text;
  }
  for (const [id, attributes] of Object.entries(state.attr))
    for (const [name, value] of Object.entries(attributes))
      if ($(id) && $(id).getAttribute(name) !== value) $(id).setAttribute(name, value);
  if (diary !== state.diary) {
    if (diary !== null) freshDock();
    diary = state.diary;
  }
  if (Date.now() - traced > 30000 && !document.hidden) freshTrace(location.search);
}

function connected(yes) {
  document.body.classList.toggle("gone", !yes);
  $("offline").hidden = yes;
  if (yes) { heard = Date.now(); send(); return; }
  const since = heard ? new Date(heard).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", second: "2-digit", hour12: false }) : "the page was opened";
  $("offline").textContent = `No connection since ${since}: what you see is old. Taps are kept and sent later.`;
  if ($("mask")) { // an old answer is none; the next event has the new one
    $("mask-now").dataset.state = "tell";
    $("mask").textContent = "Cannot tell, so keep it on";
    $("mask-why").textContent = `This page has had no connection since ${since}.`;
  }
}

function follow() {
  const events = new EventSource("/live");
  events.onmessage = event => {
    if ($("offline").hidden === false || heard === 0) connected(true);
    heard = Date.now();
    show(JSON.parse(event.data));
  };
  events.onerror = () => {
    if (Date.now() - heard > 3000) connected(false);
    if (events.readyState === EventSource.CLOSED) { askForLogin(); setTimeout(follow, 5000); }
  };
}

// Refused rather than cut off: the session is over, as after a new start of the program.
async function askForLogin() {
  try {
    if ((await fetch("/dock", own)).status === 401) location.assign("/login");
  } catch { /* no connection */ }
}

// A line may be dead without saying so: an event comes every 10 s at least.
function watch() {
  if (heard && Date.now() - heard > 15000) connected(false);
  if (taps().some(tap => !tap.error)) send();
}

// ---- the trace --------------------------------------------------------------

async function freshTrace(query) {
  traced = Date.now();
  try {
    const answer = await fetch("/trace" + query, own);
    if (!answer.ok) return;
    const focused = document.activeElement && document.activeElement.closest("#trace") ? document.activeElement.textContent : null;
    $("trace").innerHTML = await answer.text();
    if (focused) [...document.querySelectorAll("#trace a")].find(a => a.textContent === focused)?.focus();
  } catch { /* later */ }
}

document.addEventListener("click", event => {
  const link = event.target.closest("a[data-trace]");
  if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
  event.preventDefault();
  history.replaceState(null, "", link.href);
  freshTrace(new URL(link.href).search);
});

// -----------------------------------------------------------------------------

if ($("dock")) dockReady();
send();
addEventListener("online", send);
setInterval(watch, 4000);
document.addEventListener("visibilitychange", () => { if (!document.hidden) watch(); });
if (document.body.dataset.page === "now") follow();
