// Every word that the station's screen itself says, in its language; what the service says comes in whole sentences.
const WORDS = JSON.parse(document.getElementById("words").textContent);

/** The words named, with what is told put in. */
export function said(name, told = {}) {
  return WORDS[name].replace(/\{(\w+)\}/g, (_, key) => told[key] ?? "");
}
