import assert from "node:assert/strict";

/** What is wrong with a page, each thing once with the places where it is. */
export class Offences {
  where = "";
  /** @type {Map<string, Set<string>>} */
  #found = new Map();

  /** @param {string[]} what */
  add(...what) {
    for (const w of what) this.#found.set(w, (this.#found.get(w) ?? new Set()).add(this.where));
  }

  /** Fails with the whole list when there is anything on it. */
  none() {
    const list = [...this.#found].map(([what, where]) => `${what} (${[...where].join(", ")})`);
    assert.ok(list.length === 0, "\n" + list.join("\n"));
  }
}
