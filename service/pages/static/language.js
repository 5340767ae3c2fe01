// What the page's scripts say, in its language: the page brings the words. And the buttons that choose another language.
"use strict";
const pageWords = JSON.parse(document.getElementById("words").textContent);

/** The words named, with what is told put in. */
function say(name, told = {}) { return pageWords[name].replace(/\{(\w+)\}/g, (_, key) => told[key] ?? ""); }

for (const button of document.querySelectorAll("button[data-language]")) {
  button.addEventListener("click", () => {
    const secure = location.protocol === "https:" ? "; secure" : "";
    document.cookie = `language=${button.dataset.language}; path=/; max-age=31536000; samesite=strict${secure}`;
    location.reload();
  });
}
