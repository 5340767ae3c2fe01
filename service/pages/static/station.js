// A station's screen: server-sent events in, cards and typed codes out. Without the service it says NOT CHECKED.
"use strict";
const station = document.body.dataset.station;
const verdict = document.getElementById("verdict");
const shapes = JSON.parse(document.getElementById("shapes").textContent);
const words = { go: "GO", ask: "ASK", stop: "STOP", "not checked": "NOT CHECKED" };
const tones = { go: [[880, 90]], ask: [[660, 90], [0, 50], [660, 90]], stop: [[330, 160], [0, 50], [247, 320]],
  "not checked": [[440, 60], [0, 60], [440, 60], [0, 60], [440, 60]] };
let audio = null, muted = localStorage.getItem("muted") === "yes", heard = Date.now(), lateTimer = null, lastId = null, first = true;

function sound(name) {
  if (muted) return;
  try {
    audio = audio || new AudioContext();
    let at = audio.currentTime;
    for (const [hertz, ms] of tones[name]) {
      if (hertz) {
        const tone = audio.createOscillator(), level = audio.createGain();
        tone.frequency.value = hertz; level.gain.value = 0.2;
        tone.connect(level).connect(audio.destination); tone.start(at); tone.stop(at + ms / 1000);
      }
      at += ms / 1000;
    }
  } catch { /* a browser without sound still shows the shape */ }
}
function text(id, value) { document.getElementById(id).textContent = value || ""; }
function clock(at) { return at ? new Date(at).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", hour12: false }) : ""; }
function drawing(name) {
  const holder = document.createElement("span");
  holder.className = `v-${name}`;
  holder.innerHTML = shapes[name]; // our own drawings, from the page itself
  return holder;
}
function say(found) {
  verdict.dataset.verdict = found.verdict;
  verdict.dataset.late = String(Boolean(found.late));
  document.getElementById("shape").replaceChildren(drawing(found.verdict));
  text("word", words[found.verdict]);
  text("headline", found.headline); text("detail", found.detail); text("next", found.next);
  clearInterval(lateTimer);
  if (found.late) lateTimer = setInterval(() => sound("stop"), 3000);
}
function show(found) {
  say(found);
  count(found.sheet);
  text("who", found.who || "nobody signed on");
  text("open-title", found.open.title); text("open-number", found.open.number); text("open-line", found.open.line);
  const rows = found.last.map((scan) => {
    const row = document.createElement("li"), what = document.createElement("span"), code = document.createElement("span");
    const at = document.createElement("span");
    what.textContent = scan.title; code.className = "soft small code"; code.textContent = scan.code || "";
    what.append(document.createElement("br"), code);
    at.className = "soft small"; at.textContent = clock(scan.at);
    row.append(drawing(scan.verdict), what, at);
    return row;
  });
  document.getElementById("last").replaceChildren(...rows);
}
let counting = null;
async function count(sheet) {
  counting = sheet;
  const holder = document.getElementById("sheet");
  holder.hidden = !sheet;
  if (!sheet) return;
  if (holder.dataset.set !== sheet.set) {
    try {
      const answer = await fetch(`/sets/${sheet.set}/sheet`);
      if (!answer.ok) throw new Error(answer.status);
      const drawn = await answer.text();
      if (!counting || counting.set !== sheet.set) return; // another set came while this was fetched
      holder.dataset.set = sheet.set;
      holder.innerHTML = drawn; // our own page, escaped by the service
    } catch { return; } // the words above still say what to count
  }
  mark(holder, counting);
}
function mark(holder, sheet) {
  let first = null;
  for (const line of holder.querySelectorAll("li")) {
    const name = line.dataset.line, found = sheet.found[name], wanted = line.querySelector(".count").textContent;
    const state = found === undefined ? (sheet.asked.includes(name) ? "asked" : "later") : found < Number(wanted) ? "short" : "found";
    line.dataset.state = state;
    line.dataset.counted = { asked: "count now", later: "", short: `${found} found`, found: "✓ counted" }[state];
    if (state === "asked") first = first || line;
  }
  if (first) first.scrollIntoView({ block: "nearest" });
}
function lost(detail) {
  say({ verdict: "not checked", headline: "The service does not answer.", detail, next: "Follow the paper rule. No answer is not a go." });
  text("link", "not connected");
}
const events = new EventSource(`/api/stations/${station}/events`);
events.addEventListener("verdict", (event) => {
  heard = Date.now(); text("link", "connected");
  const found = JSON.parse(event.data);
  show(found);
  if (!first) sound(found.verdict);
  first = false;
});
events.addEventListener("heartbeat", () => { heard = Date.now(); text("link", "connected"); });
events.addEventListener("error", () => { first = true; lost("The connection is lost; this screen tries again by itself."); });
setInterval(() => { if (Date.now() - heard > 20000) lost("Nothing was heard from it for twenty seconds."); }, 1000);
setInterval(() => text("clock", clock(new Date())), 1000);

async function post(code) {
  const id = uuid7(), stop = new AbortController(), seen = new Date().toISOString();
  lastId = id;
  const timer = setTimeout(() => stop.abort(), 3000);
  try {
    const answer = await fetch("/api/scans", { method: "POST", signal: stop.signal, headers: { "Content-Type": "application/json" },
      body: JSON.stringify({ id, station, code, seen_at: seen, sent_at: new Date().toISOString() }) });
    const found = await answer.json();
    if (!answer.ok) lost(found.detail);
  } catch {
    if (lastId === id) { lost("What was typed or touched has not been recorded."); sound("not checked"); }
  } finally { clearTimeout(timer); }
}
document.getElementById("type").addEventListener("submit", (event) => {
  event.preventDefault();
  const field = document.getElementById("typed"), value = field.value.trim();
  field.value = "";
  if (value) post(/^[A-Z]-[0-9A-Z*-]+$/.test(value.toUpperCase()) ? value.toUpperCase() : value.startsWith("=") ? value : `=${value}`);
});
for (const button of document.querySelectorAll("button[data-card]")) button.addEventListener("click", () => post(button.dataset.card));
const mute = document.getElementById("mute");
function muteWords() { mute.textContent = muted ? "Sound is off" : "Sound is on"; mute.setAttribute("aria-pressed", String(muted)); }
mute.addEventListener("click", () => { muted = !muted; localStorage.setItem("muted", muted ? "yes" : "no"); muteWords(); });
muteWords();
