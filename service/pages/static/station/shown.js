// What the service says, put on the screen: the verdict, what is open, who works here, the last scans, what may come now.
import { count } from "./sheet.js";
import { said } from "./words.js";

const shapes = JSON.parse(document.getElementById("shapes").textContent);
const at = (id) => document.getElementById(id);
const LONG = 60; // characters of a headline that no longer fit in its largest size

export function text(id, value) { at(id).textContent = value || ""; }

export function clock(moment) {
  return moment ? new Date(moment).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", hour12: false }) : "";
}

export function drawing(verdict) {
  const holder = document.createElement("span");
  holder.className = `v-${verdict}`;
  holder.innerHTML = shapes[verdict]; // our own drawings, from the page itself
  return holder;
}

/** The verdict alone. */
export function say(found) {
  const block = at("verdict"), news = found.verdict !== block.dataset.verdict || found.verdict === "stop";
  block.dataset.verdict = found.verdict;
  block.dataset.late = String(Boolean(found.late));
  block.dataset.long = String(found.headline.length > LONG);
  block.dataset.old = "false";
  at("shape").replaceChildren(drawing(found.verdict));
  text("word", said(found.verdict));
  text("headline", found.headline);
  text("detail", found.detail);
  text("next", found.next);
  if (news && at("word").getBoundingClientRect().bottom < 0) scrollTo(0, 0); // on a phone the cards are below the verdict
  for (const card of document.querySelectorAll(".cards button")) card.dataset.now = String(named(found.next, card.dataset.word));
}

/** The verdict on the screen is of a scan before the one just made. */
export function old() { at("verdict").dataset.old = "true"; }

/** Lines beside the verdict, of scans that it does not speak of. */
export function notice(...lines) {
  at("notice").replaceChildren(...lines.map((line) => Object.assign(document.createElement("p"), { textContent: line })));
}

/** Whether the next step names this card. */
function named(next, word) {
  return new RegExp(`(^|[^\\p{L}\\d])${word}([^\\p{L}\\d]|$)`, "u").test(next);
}

/** All that stands beside the verdict. */
export function around(found) {
  count(found.sheet);
  text("who", found.who || said("nobody"));
  text("open-title", found.open.title);
  text("open-number", found.open.number);
  text("open-line", found.open.line);
  at("last").replaceChildren(...found.last.map(row));
  at("offers").replaceChildren(...(found.offers ?? []).map(offer));
  at("touch").hidden = !found.offers?.length;
}

function row(scan) {
  const line = document.createElement("li"), what = document.createElement("span"), when = document.createElement("span");
  const code = document.createElement("span");
  code.className = "soft small code";
  code.textContent = scan.code || "";
  what.append(scan.title, document.createElement("br"), code);
  when.className = "soft small";
  when.textContent = clock(scan.at);
  line.append(drawing(scan.verdict), what, when);
  return line;
}

function offer({ code, title, note }) {
  const button = document.createElement("button"), beside = document.createElement("span");
  button.type = "button";
  button.dataset.code = code;
  beside.className = "soft small";
  beside.textContent = note;
  button.append(title, " ", beside);
  return button;
}

/** Why the last stop was one: its words in full, its rule, and the pages of what it speaks of. */
export function why(stop) {
  at("why").hidden = !stop;
  if (!stop) return;
  text("why-headline", stop.headline);
  text("why-detail", stop.detail);
  text("why-next", stop.next);
  text("why-rule", [said("stopped at", { at: clock(stop.at) }), stop.rule && said("rule", { rule: stop.rule.replaceAll("_", " ") })].filter(Boolean).join(" "));
  at("why-links").replaceChildren(...(stop.about ?? []).map(({ href, title }) => {
    const link = document.createElement("a");
    link.href = href;
    link.textContent = title;
    return link;
  }));
}
