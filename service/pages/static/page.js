// Forms of the office: their fields go to the JSON API as one act, and the answer is said beside the button.
"use strict";
function sheetOf(text) {
  return text.split("\n").filter((line) => line.trim()).map((line, at) => {
    const read = /^([^:]+):\s*(\d{1,3})\s+(.+)$/.exec(line.trim());
    if (!read) throw new Error(say("line", { at: at + 1 }));
    return { group: read[1].trim(), line: read[3].trim(), count: Number(read[2]) };
  });
}
for (const form of document.querySelectorAll("form[data-api]")) {
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const said = form.querySelector("[data-said]");
    const body = { id: uuid7() };
    for (const [name, value] of new FormData(form)) body[name] = value.trim() === "" ? null : value.trim();
    const sheet = form.querySelector("[data-sheet]");
    try {
      if (sheet) body.sheet = sheetOf(sheet.value);
    } catch (error) {
      said.textContent = error.message;
      return;
    }
    const badge = localStorage.getItem("badge");
    if (body.by) localStorage.setItem("badge", body.by); else if (badge) body.by = badge;
    said.textContent = "…";
    try {
      const answer = await fetch(form.dataset.api, {
        method: "POST", headers: { "Content-Type": "application/json", "Accept-Language": document.documentElement.lang }, body: JSON.stringify(body),
      });
      const found = await answer.json();
      if (answer.ok && found.verdict === "go") { location.reload(); return; }
      said.textContent = answer.ok ? `${found.headline} ${found.detail} ${found.next}` : found.detail;
    } catch {
      said.textContent = say("not recorded");
    }
  });
}
for (const field of document.querySelectorAll("input[name=by]")) field.value = localStorage.getItem("badge") || "";
