// Every word that the station's screen itself says; what the service says comes in whole sentences.
const WORDS = {
  "go": "GO", "ask": "ASK", "stop": "STOP", "not checked": "NOT CHECKED",
  "nobody": "nobody signed on", "connected": "connected", "not connected": "not connected",
  "paper": "Follow the paper rule. No answer is not a go.",
  "lost": "The service does not answer.",
  "lost by error": "The connection is lost; this screen tries again by itself.",
  "lost by silence": "Nothing was heard from it for twenty seconds.",
  "unanswered": "{code} is not checked.",
  "in line": "It waits on this tablet and goes to the service in its turn, as soon as that answers.",
  "waiting one": "waiting: 1 scan", "waiting": "waiting: {count} scans",
  "what was typed": "What was typed",
  "sent": "What waited was sent: {verdicts}.",
  "look at": "{code}: {verdict}. {headline}",
  "not taken": "{code} was not taken.", "refused": "{code} was not taken: {detail}",
  "pin not sent": "The PIN was not sent: type it again when the service answers.",
  "pin after others": "The PIN was not sent: scans made before it still wait.",
  "type": "Type a code, a number or a reason", "pin": "PIN",
  "fits": "✓ check character fits", "should be": "✗ check character should be {should}", "not a code": "✗ not the shape of a code",
  "Camera": "Camera", "Camera is on": "Camera is on",
  "starting": "The camera starts …", "aim": "Hold a code before the camera.", "read": "Read {code}.",
  "not ours": "That code is not one of ours: not taken.",
  "no camera": "No camera was found: plug one in, or type and touch.",
  "camera refused": "The camera is not allowed here: allow it in the browser's settings for this page, then touch Camera.",
  "not secure": "A camera needs https, or localhost: ask whoever runs the service for its https address.",
  "camera busy": "Another program uses the camera: close it, then touch Camera.",
  "camera ended": "The camera stopped: touch Camera to start it again.",
  "no reader": "The reader could not be loaded: reload this page when the service answers.",
  "counted": "✓ counted", "count now": "count now", "found": "{found} found",
  "sound mute": "Sound: off", "sound low": "Sound: low", "sound loud": "Sound: loud", "sound asleep": "Touch for sound",
  "theme auto": "Look: auto", "theme dark": "Look: dark", "theme light": "Look: light",
  "rule": "Rule: {rule}.", "stopped at": "Stopped at {at}.",
};

/** The words named, with what is told put in. */
export function said(name, told = {}) {
  return WORDS[name].replace(/\{(\w+)\}/g, (_, key) => told[key] ?? "");
}
