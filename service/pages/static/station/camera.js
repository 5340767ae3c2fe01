// The tablet's own camera: a small picture to aim by, and the codes held before it. Loaded only when somebody wants it.
import { isOurs } from "../codes.js";
import { Steady } from "./steady.js";
import { said } from "./words.js";

const PACE_MS = 60; // between two pictures: enough for a hand, and the page stays quick
const WIDEST = 1280;
const FAULTS = { NotFoundError: "no camera", OverconstrainedError: "no camera", NotAllowedError: "camera refused",
  SecurityError: "camera refused", NotReadableError: "camera busy", AbortError: "camera busy" };

const FAULTY = new Set(["not secure", "camera ended", "no reader", ...Object.values(FAULTS)]);

export class Camera {
  #stream = null;
  #reader = null;
  #busy = false;
  #steady = new Steady();
  #strange = new Steady();
  faulty = false;
  #canvas = document.createElement("canvas");
  #awake = null;

  /** `parts`: view (a video), words, torch and other (buttons). `seen(code)` is called once each time a code is shown. */
  constructor(parts, pattern, seen) {
    Object.assign(this, { parts, pattern, seen });
    parts.torch.addEventListener("click", () => this.#light());
    parts.other.addEventListener("click", () => this.#next());
    document.addEventListener("visibilitychange", () => { if (!document.hidden && this.#ended) this.start(); });
  }

  get #track() { return this.#stream?.getVideoTracks()[0]; }
  get #ended() { return this.#track?.readyState === "ended"; }

  async start() {
    this.stop();
    if (!navigator.mediaDevices) return this.#say(isSecureContext ? "no camera" : "not secure");
    this.#say("starting");
    const reader = this.#reader = new Worker("/static/station/reading.js");
    try {
      await ready(reader);
    } catch {
      return this.#say("no reader");
    }
    let stream = null;
    try {
      stream = await this.#open(localStorage.getItem("camera device"));
    } catch (error) {
      return this.#say(FAULTS[error.name] ?? "no camera");
    }
    if (this.#reader !== reader) return stop(stream); // turned off meanwhile
    this.#stream = stream;
    this.#track.addEventListener("ended", () => this.#say("camera ended"));
    const { view, torch } = this.parts;
    view.srcObject = this.#stream;
    view.hidden = false;
    torch.hidden = !this.#track.getCapabilities?.().torch;
    torch.setAttribute("aria-pressed", "false");
    this.parts.other.hidden = (await cameras()).length < 2;
    this.#awake = await navigator.wakeLock?.request("screen").catch(() => null);
    await view.play();
    this.#say("aim");
    this.#busy = false;
    reader.addEventListener("message", ({ data }) => { this.#busy = false; this.#shown(data.texts); });
    this.#frame(reader, 0);
  }

  stop() {
    stop(this.#stream);
    this.#stream = null;
    this.#reader?.terminate();
    this.#reader = null;
    this.#awake?.release();
    const { view, torch, other, words } = this.parts;
    view.srcObject = null;
    view.hidden = torch.hidden = other.hidden = true;
    words.textContent = "";
  }

  async #open(device) {
    const size = { width: { ideal: WIDEST }, height: { ideal: 720 } };
    const chosen = device ? { deviceId: { exact: device } } : { facingMode: { ideal: "environment" } };
    try {
      return await navigator.mediaDevices.getUserMedia({ video: { ...size, ...chosen } });
    } catch (error) {
      if (!device || error.name !== "OverconstrainedError") throw error;
      localStorage.removeItem("camera device"); // it was unplugged: any other does
      return this.#open(null);
    }
  }

  #frame(reader, last) {
    if (this.#reader !== reader) return;
    const { view } = this.parts, now = performance.now();
    if (!this.#busy && now - last >= PACE_MS && view.videoWidth) {
      this.#busy = true;
      last = now;
      const picture = this.#picture(view);
      reader.postMessage(picture, [picture.data.buffer]);
    }
    const next = () => this.#frame(reader, last);
    if (view.requestVideoFrameCallback) view.requestVideoFrameCallback(next);
    else requestAnimationFrame(next);
  }

  #picture(view) {
    const scale = Math.min(1, WIDEST / view.videoWidth), canvas = this.#canvas;
    const width = Math.round(view.videoWidth * scale), height = Math.round(view.videoHeight * scale);
    if (canvas.width !== width || canvas.height !== height) Object.assign(canvas, { width, height });
    const drawing = canvas.getContext("2d", { willReadFrequently: true });
    drawing.drawImage(view, 0, 0, width, height);
    return drawing.getImageData(0, 0, width, height);
  }

  #shown(texts) {
    const at = performance.now() / 1000, ours = texts.filter((text) => isOurs(text, this.pattern));
    for (const code of this.#steady.feed(at, ours)) {
      this.#say("read", { code });
      this.seen(code);
    }
    if (this.#strange.feed(at, texts.filter((text) => !ours.includes(text))).length) this.#say("not ours");
  }

  #say(name, told) {
    this.faulty = FAULTY.has(name);
    this.parts.words.textContent = said(name, told);
    this.parts.words.dataset.state = name;
  }

  async #light() {
    const { torch } = this.parts, on = torch.getAttribute("aria-pressed") !== "true";
    await this.#track.applyConstraints({ advanced: [{ torch: on }] });
    torch.setAttribute("aria-pressed", String(on));
  }

  async #next() {
    const all = await cameras(), now = this.#track.getSettings().deviceId;
    const next = all[(all.findIndex((one) => one.deviceId === now) + 1) % all.length];
    localStorage.setItem("camera device", next.deviceId);
    await this.start();
  }
}

/** Until the worker has its reader. Rejects when it cannot be had. */
function ready(reader) {
  return new Promise((has, fails) => {
    reader.addEventListener("error", fails, { once: true });
    reader.addEventListener("message", ({ data }) => (data.ready ? has() : fails(data.failed)), { once: true });
  });
}

function stop(stream) {
  stream?.getTracks().forEach((track) => track.stop());
}

async function cameras() {
  return (await navigator.mediaDevices.enumerateDevices()).filter((one) => one.kind === "videoinput");
}
