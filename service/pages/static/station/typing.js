// Codes from keys: a keyboard-wedge scanner with the focus anywhere, or a person typing, with the check character checked.
import { isOurs, isWristband, look } from "../codes.js";
import { said } from "./words.js";

const FAST_MS = 60; // between two keys of a scanner; people are slower
const SHORTEST = 5; // a burst that is a code has as many letters

export class Typing {
  #burst = "";
  #last = 0;
  secret = false;

  /** `scanned(code)` for codes; `typed(text)` for all else that a person typed. */
  constructor({ form, field, label, check }, pattern, scanned, typed) {
    Object.assign(this, { field, label, check, pattern, scanned, typed });
    document.addEventListener("keydown", (event) => this.#key(event), true);
    field.addEventListener("input", () => this.#live());
    form.addEventListener("submit", (event) => { event.preventDefault(); this.#enter(); });
  }

  /** Ask for a PIN: what is typed is not shown, checked or kept. */
  ask(secret) {
    if (secret === this.secret) return;
    this.secret = secret;
    this.field.value = "";
    this.field.type = secret ? "password" : "text";
    this.field.inputMode = secret ? "numeric" : "text";
    this.label.textContent = said(secret ? "pin" : "type");
    this.#live();
  }

  #key(event) {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const fast = event.timeStamp - this.#last < FAST_MS;
    if (event.key === "Enter" && fast && this.#takes(this.#burst)) {
      event.preventDefault();
      event.stopPropagation();
      const { value } = this.field, code = this.#burst;
      this.field.value = value.endsWith(code) ? value.slice(0, -code.length) : value;
      this.#burst = "";
      this.#live();
      this.scanned(this.#code(code));
    } else if (event.key.length === 1) {
      this.#burst = fast ? this.#burst + event.key : event.key;
      this.#last = event.timeStamp;
      if (event.key !== " " && !event.target.closest("input, select, textarea")) this.field.focus();
    }
  }

  #takes(text) {
    return text.length >= SHORTEST && isOurs(this.#code(text), this.pattern);
  }

  #code(text) {
    return isWristband(text, this.pattern) ? text : text.toUpperCase();
  }

  #enter() {
    const value = this.field.value.trim();
    this.field.value = "";
    this.#live();
    if (!value) return;
    const code = this.#code(value);
    if (!this.secret && code[0] === "P" && look(code).fault === null) this.typed(`=${code}`); // a label written by hand
    else if (!this.secret && (/^[A-Z]-[0-9A-Z*-]+$/i.test(value) || isWristband(value, this.pattern))) this.scanned(code);
    else this.typed(value.startsWith("=") ? value : `=${value}`);
  }

  #live() {
    const value = this.secret ? "" : this.field.value.trim().toUpperCase(), found = look(value);
    const whole = /^[A-Z]-/.test(value);
    const name = !whole ? "" : found.fault === null ? "fits" : found.fault === "check" ? "should be" : "";
    this.check.textContent = name && said(name, found);
    this.check.dataset.fits = String(name === "fits");
  }
}
