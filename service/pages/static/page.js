// Forms of the office: their fields go to the JSON API as one act, and the answer is said beside the button.
"use strict";
function uuid7() {
  const b = crypto.getRandomValues(new Uint8Array(16));
  let ms = BigInt(Date.now());
  for (let i = 5; i >= 0; i--) { b[i] = Number(ms & 255n); ms >>= 8n; }
  b[6] = (b[6] & 15) | 112; b[8] = (b[8] & 63) | 128;
  const h = Array.from(b, (x) => x.toString(16).padStart(2, "0")).join("");
  return [h.slice(0, 8), h.slice(8, 12), h.slice(12, 16), h.slice(16, 20), h.slice(20)].join("-");
}
for (const form of document.querySelectorAll("form[data-api]")) {
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const said = form.querySelector("[data-said]");
    const body = { id: uuid7() };
    for (const [name, value] of new FormData(form)) body[name] = value.trim() === "" ? null : value.trim();
    const badge = localStorage.getItem("badge");
    if (body.by) localStorage.setItem("badge", body.by); else if (badge) body.by = badge;
    said.textContent = "…";
    try {
      const answer = await fetch(form.dataset.api, {
        method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body),
      });
      const found = await answer.json();
      if (answer.ok && found.verdict === "go") { location.reload(); return; }
      said.textContent = answer.ok ? `${found.headline} ${found.detail} ${found.next}` : found.detail;
    } catch {
      said.textContent = "Not recorded: the service does not answer. Try again.";
    }
  });
}
for (const field of document.querySelectorAll("input[name=by]")) field.value = localStorage.getItem("badge") || "";
