// The button Camera: its code is fetched only when somebody touches it, and the tablet remembers the choice.
import { said } from "./words.js";

const at = (id) => document.getElementById(id);
let camera = null;

export function offerCamera(pattern, seen) {
  const button = at("camera");
  const on = () => localStorage.getItem("camera") === "on";
  const words = () => {
    button.textContent = said(on() ? "Camera is on" : "Camera");
    button.setAttribute("aria-pressed", String(on()));
  };
  const turn = async () => {
    words();
    if (on()) {
      const { Camera } = await import("./camera.js");
      camera ??= new Camera({ view: at("view"), words: at("camera-words"), torch: at("torch"), other: at("other-camera") }, pattern, seen);
      await camera.start();
    } else {
      camera?.stop();
    }
  };
  button.addEventListener("click", () => {
    localStorage.setItem("camera", on() && !camera?.faulty ? "off" : "on");
    turn();
  });
  if (on()) turn();
  else words();
}
