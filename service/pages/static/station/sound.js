// A sound of its own for each verdict, made here and not recorded.
const TONES = { go: [[880, 90]], ask: [[660, 90], [0, 50], [660, 90]], stop: [[330, 160], [0, 50], [247, 320]],
  "not checked": [[440, 60], [0, 60], [440, 60], [0, 60], [440, 60]] };
const LEVELS = { mute: 0, low: 0.05, loud: 0.4 };
export const VOLUMES = Object.keys(LEVELS);
let audio = null;

export function volume() {
  return localStorage.getItem("volume") in LEVELS ? localStorage.getItem("volume") : "loud";
}

/** Whether the browser keeps the page silent until somebody touches it. */
export function asleep() {
  return volume() !== "mute" && audio?.state === "suspended";
}

export async function wake() {
  audio ??= new AudioContext();
  await audio.resume();
}

export function sound(verdict) {
  const loudness = LEVELS[volume()];
  if (!loudness) return;
  try {
    audio ??= new AudioContext();
    let at = audio.currentTime;
    for (const [hertz, ms] of TONES[verdict]) {
      if (hertz) {
        const tone = audio.createOscillator(), level = audio.createGain();
        tone.frequency.value = hertz;
        level.gain.value = loudness;
        tone.connect(level).connect(audio.destination);
        tone.start(at);
        tone.stop(at + ms / 1000);
      }
      at += ms / 1000;
    }
  } catch { /* a browser without sound still shows the shape */ }
}
