// From what each frame shows to one scan for each time a label is shown: as scanner/showing.py does it.
export const AGREEING = 2, GONE_S = 0.8, TOGETHER_S = 1.0;

export class Steady {
  #seen = new Map(); // code → [when last seen, in how many frames]
  #told = new Set();

  /** The codes newly believed at this frame, taken `at` seconds into the feed. */
  feed(at, codes) {
    for (const [code, [last]] of this.#seen) {
      if (at - last > GONE_S || at < last) { this.#seen.delete(code); this.#told.delete(code); }
    }
    const believed = [];
    for (const code of new Set(codes)) {
      const [last, count] = this.#seen.get(code) ?? [at, 0];
      const now = at - last <= TOGETHER_S ? count + 1 : 1;
      this.#seen.set(code, [at, now]);
      if (now >= AGREEING && !this.#told.has(code)) { this.#told.add(code); believed.push(code); }
    }
    return believed;
  }
}
