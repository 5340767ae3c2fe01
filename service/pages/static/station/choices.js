// What this tablet keeps of how it looks and sounds.
import { asleep, sound, VOLUMES, volume, wake } from "./sound.js";
import { said } from "./words.js";

const THEMES = ["auto", "dark", "light"];
const page = document.documentElement;
const [louder, theme] = ["volume", "theme"].map((id) => document.getElementById(id));
const after = (all, one) => all[(all.indexOf(one) + 1) % all.length];

function words() {
  louder.textContent = said(asleep() ? "sound asleep" : `sound ${volume()}`);
  theme.textContent = said(`theme ${page.dataset.theme}`);
}

export function offerChoices() {
  louder.addEventListener("click", async () => {
    if (!asleep()) localStorage.setItem("volume", after(VOLUMES, volume()));
    await wake();
    sound("go");
    words();
  });
  theme.addEventListener("click", () => {
    localStorage.setItem("theme", page.dataset.theme = after(THEMES, page.dataset.theme));
    words();
  });
  setInterval(words, 1000);
  words();
}
