// The count sheet at packing, drawn by the service: what to count now, what is counted, what is short.
import { said } from "./words.js";

const holder = document.getElementById("sheet");
let counting = null;

export async function count(sheet) {
  counting = sheet;
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
  mark(counting);
}

function mark(sheet) {
  let first = null;
  for (const line of holder.querySelectorAll("li")) {
    const name = line.dataset.line, found = sheet.found[name], wanted = line.querySelector(".count").textContent;
    const state = found === undefined ? (sheet.asked.includes(name) ? "asked" : "later") : found < Number(wanted) ? "short" : "found";
    line.dataset.state = state;
    line.dataset.counted = { asked: said("count now"), later: "", short: said("found", { found }), found: said("counted") }[state];
    if (state === "asked") first ??= line;
  }
  first?.scrollIntoView({ block: "nearest" });
}
