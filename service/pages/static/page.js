// Forms of the office: their fields go to the JSON API as one act, and the answer is said beside the button.
"use strict";
function sheetOf(text) {
  return text.split("\n").filter((line) => line.trim()).map((line, at) => {
    const read = /^([^:]+):\s*(\d{1,3})\s+(.+)$/.exec(line.trim());
    if (!read) throw new Error(say("line", { at: at + 1 }));
    return { group: read[1].trim(), line: read[3].trim(), count: Number(read[2]) };
  });
}
// What was told, without what was left empty, and the badge that was typed last.
function toldIn(form) {
  const told = { id: uuid7() };
  for (const [name, value] of new FormData(form)) if (typeof value === "string") told[name] = value.trim() || null;
  const badge = localStorage.getItem("badge");
  if (told.by) localStorage.setItem("badge", told.by); else if (badge) told.by = badge;
  return told;
}
async function send(form, address, kind, body) {
  const said = form.querySelector("[data-said]");
  said.textContent = "…";
  try {
    const headers = { "Content-Type": kind, "Accept-Language": document.documentElement.lang };
    const answer = await fetch(address, { method: "POST", headers, body });
    const found = await answer.json();
    if (answer.ok && found.verdict === "go") { location.reload(); return; }
    said.textContent = answer.ok ? `${found.headline} ${found.detail} ${found.next}` : found.detail;
  } catch {
    said.textContent = say("not recorded");
  }
}
for (const form of document.querySelectorAll("form[data-api]")) {
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const told = toldIn(form), sheet = form.querySelector("[data-sheet]");
    try {
      if (sheet) told.sheet = sheetOf(sheet.value);
    } catch (error) {
      form.querySelector("[data-said]").textContent = error.message;
      return;
    }
    send(form, form.dataset.api, "application/json", JSON.stringify(told));
  });
}
// Forms that send a file as it is, or what was typed in its place; all else that is told goes into the address.
for (const form of document.querySelectorAll("form[data-file]")) {
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const [file] = form.querySelector("[type=file]").files, { typed, ...told } = toldIn(form);
    if (!file && typed) told.basis = "readings";
    if (!file && !typed) { form.querySelector("[data-said]").textContent = say("nothing to send"); return; }
    const query = new URLSearchParams(Object.entries(told).filter(([, value]) => value !== null));
    send(form, `${form.dataset.file}?${query}`, file?.type || "text/plain", file ?? typed);
  });
}
for (const field of document.querySelectorAll("input[name=by]")) field.value = localStorage.getItem("badge") || "";
