// The line on which the service says how the station stands. It is taken up again by itself, whatever ended it.
import { said } from "./words.js";

const SILENCE_MS = 20000, AGAIN_MS = 2000;

/** `heard(found)` for every verdict, `lost(why)` while the service cannot be heard, with an empty text once it can. */
export function listen(station, heard, lost) {
  let last = Date.now(), events = null;
  const open = () => {
    events = new EventSource(`/api/stations/${station}/events`);
    events.addEventListener("verdict", (event) => { last = Date.now(); heard(JSON.parse(event.data)); });
    events.addEventListener("heartbeat", () => { last = Date.now(); lost(""); });
    events.addEventListener("error", () => {
      lost(said("lost by error"));
      if (events.readyState === EventSource.CLOSED) setTimeout(open, AGAIN_MS); // a browser gives up at an error answer
    });
  };
  open();
  setInterval(() => { if (Date.now() - last > SILENCE_MS) lost(said("lost by silence")); }, 1000);
}
