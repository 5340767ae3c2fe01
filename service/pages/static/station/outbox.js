// Scans wait here, in order, until the service has answered them: they survive a reload, a restart and the network's absence.
const TABLE = "scans";
const ANSWER_MS = 5000;
const AGAIN_MS = [500, 1000, 2000, 4000];
const MAYBE_LATER = [408, 425, 429]; // and all that is the service's own fault, 500 and above
const ONE_TAB = "foldmark outbox";

export class Outbox {
  #kept = null;
  #drain = null;
  #more = false;
  #tries = 0;
  #timer = null;
  #tabs = new BroadcastChannel(ONE_TAB);

  /**
   * `told(scan, outcome)` is called for every scan settled, in any tab: outcome.kind is "answered" or "refused", with what was
   * `found`; `changed(waiting, kind)` whenever scans come, go or have to wait, with how the last try went.
   */
  constructor(told, changed) {
    this.told = told;
    this.changed = changed;
    this.#kept = open();
    this.#tabs.addEventListener("message", ({ data }) => {
      if (data) this.told(data.scan, data.outcome);
      this.#tell(data?.outcome.kind ?? "later");
    });
    addEventListener("online", () => this.send());
  }

  /** Keep a scan {id, station, code, seen_at}, and send it in its turn. */
  async add(scan) {
    await (await this.#kept).add(scan);
    await this.#tell("kept");
    this.send();
  }

  /** Every scan that waits, the oldest first. */
  async waiting() {
    return (await this.#kept).all();
  }

  /** Send what waits, one after another; one tab at a time. */
  send() {
    clearTimeout(this.#timer);
    this.#more = true;
    this.#drain ??= this.#alone();
    return this.#drain;
  }

  async #alone() {
    try {
      while (this.#more) {
        this.#more = false;
        await (navigator.locks ? navigator.locks.request(ONE_TAB, () => this.#empty()) : this.#empty());
      }
    } finally { this.#drain = null; }
  }

  async #empty() {
    const kept = await this.#kept;
    for (let scan = await kept.first(); scan; scan = await kept.first()) {
      const outcome = await post(scan);
      if (outcome.kind === "later" || outcome.kind === "shut") {
        this.#timer = setTimeout(() => this.send(), AGAIN_MS[Math.min(this.#tries++, AGAIN_MS.length - 1)]);
        await this.#tell(outcome.kind);
        return;
      }
      this.#tries = 0;
      await kept.drop(scan);
      this.told(scan, outcome);
      this.#tabs.postMessage({ scan, outcome });
      await this.#tell(outcome.kind);
    }
  }

  async #tell(kind) {
    this.changed(await this.waiting(), kind);
  }
}

/** Post a scan: {kind: "answered" | "refused" | "shut" | "later", found}. The same scan may be posted again. */
export async function post({ id, station, code, seen_at }) {
  const stop = new AbortController(), timer = setTimeout(() => stop.abort(), ANSWER_MS);
  try {
    const answer = await fetch("/api/scans", { method: "POST", signal: stop.signal, headers: { "Content-Type": "application/json", "Accept-Language": document.documentElement.lang },
      body: JSON.stringify({ id, station, code, seen_at, sent_at: new Date().toISOString() }) });
    const found = await answer.json();
    if (answer.ok) return { kind: found.verdict ? "answered" : "later", found };
    if (answer.status === 401) return { kind: "shut", found };
    const ours = answer.headers.get("Content-Type")?.startsWith("application/problem+json");
    return { kind: ours && answer.status < 500 && !MAYBE_LATER.includes(answer.status) ? "refused" : "later", found };
  } catch {
    return { kind: "later" };
  } finally { clearTimeout(timer); }
}

/** Where scans are kept: IndexedDB; where the browser has none for us, the page itself, which a reload empties. */
async function open() {
  try {
    const base = await done(Object.assign(indexedDB.open("foldmark", 1), {
      onupgradeneeded: (event) => event.target.result.createObjectStore(TABLE, { autoIncrement: true, keyPath: "n" }),
    }));
    const table = (mode) => base.transaction(TABLE, mode).objectStore(TABLE);
    return {
      add: (scan) => done(table("readwrite").add(scan)),
      drop: (scan) => done(table("readwrite").delete(scan.n)),
      all: () => done(table("readonly").getAll()),
      first: async () => (await done(table("readonly").getAll(null, 1)))[0],
    };
  } catch {
    const scans = [];
    return {
      add: async (scan) => scans.push(scan),
      drop: async (scan) => scans.splice(scans.indexOf(scan), 1),
      all: async () => [...scans],
      first: async () => scans[0],
    };
  }
}

function done(request) {
  return new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}
