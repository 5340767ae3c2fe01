// The board keeps itself up to date: told by server-sent events that something changed, it fetches its parts again and
// puts in those that differ, where they stand. Without events it says since when it is not live.
"use strict";
const board = document.getElementById("board"), live = document.getElementById("live");
const parts = new WeakMap(); // what each part was when it came: the timers in it change by themselves
let ahead = 0; // how far the service's clock is ahead of this one, in ms
let heard = Date.now(), lost = false, events = null, fetching = false, again = false;

function clock(at) { return new Date(at).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", hour12: false }); }
function setClock() { ahead = new Date(document.getElementById("choices").dataset.now) - Date.now(); }
function count() {
  for (const timer of board.querySelectorAll("[data-until]")) {
    const left = Math.ceil((new Date(timer.dataset.until) - Date.now() - ahead) / 1000);
    timer.textContent = left <= 0 ? say("now") : left < 60 ? say("in seconds", { count: left }) : say("in minutes", { count: Math.ceil(left / 60) });
  }
}
function place(link) { // which of the links to that address, within which part: enough to find it again
  const part = link.closest("[id]"), to = link.getAttribute("href");
  return { part: part.id, to, at: [...part.querySelectorAll("a")].filter((a) => a.getAttribute("href") === to).indexOf(link) };
}
function keep(within) { for (const part of within.querySelectorAll("nav, section")) parts.set(part, part.innerHTML); }
function replace(old, part) { if (parts.get(old) !== parts.get(part)) old.replaceWith(part); }
function swap(html) {
  const fresh = document.createElement("div");
  fresh.innerHTML = html; // our own page, escaped by the service
  keep(fresh);
  const held = board.contains(document.activeElement) && document.activeElement.matches("a") ? place(document.activeElement) : null;
  const choices = fresh.querySelector("#choices"), columns = fresh.querySelectorAll(".two-rows");
  document.getElementById("choices").dataset.now = choices.dataset.now;
  replace(document.getElementById("choices"), choices);
  board.querySelectorAll(".two-rows").forEach((column, which) => {
    for (const part of [...column.children]) if (!columns[which].querySelector(`#${part.id}`)) part.remove();
    [...columns[which].children].forEach((part, at) => {
      const old = column.querySelector(`#${part.id}`);
      if (old) replace(old, part); else column.insertBefore(part, column.children[at] || null);
    });
  });
  setClock(); count();
  if (!held || board.contains(document.activeElement)) return;
  const part = document.getElementById(held.part), links = part ? [...part.querySelectorAll("a")] : [];
  const same = links.filter((a) => a.getAttribute("href") === held.to);
  const next = same[Math.max(0, held.at)] || same[0] || [...board.querySelectorAll("a")].find((a) => a.getAttribute("href") === held.to);
  if (next) next.focus({ preventScroll: true });
}
async function refresh() {
  if (fetching) { again = true; return; }
  fetching = true;
  try {
    const answer = await fetch(`/board${location.search}`, { redirect: "manual" });
    if (answer.type === "opaqueredirect") { location.reload(); return; } // signed out meanwhile
    if (!answer.ok) throw new Error(answer.status);
    swap(await answer.text());
    lost = false;
    live.textContent = say("live");
    live.classList.remove("bad");
  } catch { down(); }
  fetching = false;
  if (again) { again = false; refresh(); }
}
function down() {
  if (lost) return;
  lost = true;
  live.textContent = say("not live", { at: clock(heard + ahead) });
  live.classList.add("bad");
}
function follow() {
  events = new EventSource("/api/board/events");
  events.addEventListener("changed", () => { heard = Date.now(); refresh(); });
  events.addEventListener("heartbeat", () => { heard = Date.now(); if (lost) refresh(); });
  events.addEventListener("error", down);
}
keep(board); setClock(); count(); follow();
setInterval(count, 1000);
setInterval(() => {
  if (Date.now() - heard > 25000) down();
  if (events.readyState === EventSource.CLOSED) follow();
}, 3000);
