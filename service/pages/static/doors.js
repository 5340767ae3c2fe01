// Forms at the doors: a PIN or a one-time code goes to the service once, and is kept nowhere here.
"use strict";
for (const field of document.querySelectorAll("[data-from-address]")) {
  field.value = location.hash.slice(1); // what stands behind # is sent to no server and stands in no log
  history.replaceState(null, "", location.pathname);
}
for (const form of document.querySelectorAll("form[data-door]")) {
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const said = form.querySelector("[data-said]"), body = Object.fromEntries(new FormData(form));
    said.textContent = "…";
    try {
      const answer = await fetch(form.dataset.door, {
        method: "POST", headers: { "Content-Type": "application/json", "Accept-Language": document.documentElement.lang }, body: JSON.stringify(body),
      });
      const found = await answer.json();
      for (const field of form.querySelectorAll("input[type=password]")) field.value = "";
      if (!answer.ok) { said.textContent = found.detail; return; }
      if (form.dataset.tells === "link") said.textContent = say("link", { link: `${location.origin}/start#${found.code}` });
      else if (form.dataset.tells === "code") said.textContent = say("code", { address: `${location.origin}/enrol`, code: found.code });
      else if (form.dataset.then) location.assign(form.dataset.then);
      else location.reload();
    } catch {
      said.textContent = say("no answer");
    }
  });
}
for (const button of document.querySelectorAll("button[data-out]")) {
  button.addEventListener("click", async () => {
    await fetch(button.dataset.out, { method: "DELETE" });
    location.assign("/sign-in");
  });
}
