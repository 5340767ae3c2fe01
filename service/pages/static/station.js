// A station's screen. The service says how the station stands; what is scanned, typed or touched goes to it by the outbox.
// What the service has not answered is NOT CHECKED: no answer is not a go.
import { isOurs } from "./codes.js";
import { offerCamera } from "./station/eye.js";
import { offerChoices } from "./station/choices.js";
import { listen } from "./station/link.js";
import { Outbox, post } from "./station/outbox.js";
import { around, clock, notice, old, say, text, why } from "./station/shown.js";
import { sound } from "./station/sound.js";
import { Typing } from "./station/typing.js";
import { said } from "./station/words.js";

const PATIENCE_MS = 400, LATE_MS = 3000;
const { station, pattern } = document.body.dataset;
const at = (id) => document.getElementById(id);
let latest = null, shownAt = 0; // what the service said last of this station, and when it came
let lost = said("lost by error"); // why the service cannot be heard; empty while it can
let mine = [], madeAt = 0; // this station's scans without an answer, and when the last was made
let refused = null; // the scan that the service would not take
let stuck = false, answers = []; // whether scans have had to wait, and what they were answered since

const called = ({ code }) => (code.startsWith("=") && !isOurs(code.slice(1)) ? said("what was typed") : code.replace(/^=/, ""));
const isDigit = (code) => /^K-\d-/.test(code);
const unchecked = (headline, detail) => say({ verdict: "not checked", headline, detail, next: said("paper") });
const overdue = () => mine.filter((scan) => stuck || Date.now() - Date.parse(scan.seen_at) > PATIENCE_MS);

function render() {
  const waits = overdue();
  if (waits.length) unchecked(said("unanswered", { code: called(waits.at(-1)) }), said("in line"));
  else if (lost) unchecked(said("lost"), lost);
  else if (refused) unchecked(said("not taken", { code: called(refused) }), refused.detail);
  else if (latest && shownAt >= madeAt && mine.length <= 1) say(latest);
  text("waiting", waits.length && said(waits.length === 1 ? "waiting one" : "waiting", { count: waits.length }));
  text("link", said(lost ? "not connected" : "connected"));
}

function show(found) {
  const news = latest && !lost && !overdue().length;
  latest = found;
  shownAt = Date.now();
  lost = "";
  refused = null;
  around(found);
  typing.ask(Boolean(found.secret));
  if (found.verdict === "stop") why(found);
  render();
  if (news) sound(found.verdict);
}

/** The station as it stands, when an answer came and nothing was heard of it. */
async function lookAgain(since) {
  try {
    const answer = await fetch(`/api/stations/${station}`);
    if (answer.ok && shownAt < since) show(await answer.json());
  } catch { /* the line is lost, and says so */ }
}

function changed(waiting, how) {
  const before = mine.length;
  mine = waiting.filter((scan) => scan.station === station);
  if (how === "later" || how === "shut") stuck = mine.length > 0;
  at("shut").hidden = how !== "shut";
  if (before && !mine.length) summary();
  render();
}

function settled(scan, { kind, found }) {
  if (scan.station !== station) return;
  if (kind === "refused") {
    refused = { code: scan.code, detail: found.detail ?? found.title };
    notice(said("refused", { code: called(scan), detail: refused.detail }));
    return;
  }
  if (stuck) answers.push({ ...found, code: called(scan) });
  const since = Date.now() - PATIENCE_MS;
  setTimeout(() => { if (shownAt < since) lookAgain(since); }, PATIENCE_MS);
}

/** What became of the scans that had to wait: no stop among them may slip by unseen. */
function summary() {
  stuck = false;
  if (!answers.length) return;
  const counts = ["go", "ask", "stop"].map((one) => [answers.filter(({ verdict }) => verdict === one).length, said(one)]);
  const verdicts = counts.filter(([count]) => count).map(([count, word]) => `${count} ${word}`).join(", ");
  const stops = answers.filter(({ verdict }) => verdict !== "go");
  notice(said("sent", { verdicts }), ...stops.map((one) => said("look at", { ...one, verdict: said(one.verdict) })));
  sound(["stop", "ask", "go"].find((one) => answers.some(({ verdict }) => verdict === one)));
  answers = [];
}

function made(code) {
  return { id: uuid7(), station, code, seen_at: new Date().toISOString() };
}

function scanned(code) {
  if (latest?.secret && isDigit(code)) return prove(code);
  notice();
  refused = null;
  madeAt = Date.now();
  old();
  setTimeout(() => { render(); if (overdue().length) sound("not checked"); }, PATIENCE_MS + 1);
  return outbox.add(made(code));
}

/** A PIN goes to the service at once or not at all: it is never kept here. */
async function prove(code) {
  if (mine.length) return notice(said("pin after others"));
  const { kind, found } = await post(made(code));
  if (kind === "answered") return notice();
  sound("not checked");
  return notice(kind === "refused" ? found.detail ?? found.title : said("pin not sent"));
}

function touched({ code, word }) {
  const field = at("typed");
  if (!typing.secret || !(isDigit(code) || (word === "DONE" && field.value))) scanned(code);
  else if (isDigit(code)) field.value += word;
  else at("type").requestSubmit();
}

const typing = new Typing({ form: at("type"), field: at("typed"), label: at("type-label"), check: at("check") }, pattern,
  scanned, (value) => (typing.secret ? prove(value) : scanned(value)));
const outbox = new Outbox(settled, changed);
const leftBefore = outbox.waiting().then((waiting) => changed(waiting, "later"));
listen(station, (found) => { show(found); leftBefore.then(() => outbox.send()); }, (reason) => { if (reason !== lost) { lost = reason; render(); } });
offerCamera(pattern, scanned);
offerChoices();
document.addEventListener("click", (event) => {
  const button = event.target.closest("button[data-code]");
  if (button) touched(button.dataset);
});
const tick = () => text("clock", clock(new Date()));
setInterval(tick, 1000);
tick();
setInterval(() => { if (latest?.late && !lost) sound("stop"); }, LATE_MS);
