// Finding a signal by typing: words in any order, each anywhere in the name.

/** Where words stand in a name: for each letter whether it was typed; undefined when a word is not there. */
export function match(name: string, words: readonly string[]): boolean[] | undefined {
  const low = name.toLowerCase();
  if (low.length !== name.length) return undefined; // letters that change their length in lower case
  const hit = new Array<boolean>(name.length).fill(false);
  for (const word of words) {
    const at = place(low, word);
    if (at < 0) return undefined;
    hit.fill(true, at, at + word.length);
  }
  return hit;
}

/** Where a word stands best: at the beginning of a part of the name, else anywhere. */
function place(name: string, word: string): number {
  for (let at = name.indexOf(word); at >= 0; at = name.indexOf(word, at + 1)) {
    if (at === 0 || /[^a-z0-9]/.test(name[at - 1]!)) return at;
  }
  return name.indexOf(word);
}

export const wordsOf = (typed: string): string[] => typed.toLowerCase().split(/\s+/).filter((w) => w !== "");

export interface Hit { readonly name: string; readonly letters: readonly boolean[] }

/** The names that hold all words, those first in which they begin parts; in order of name else. */
export function find(names: readonly string[], typed: string): Hit[] {
  const words = wordsOf(typed);
  if (words.length === 0) return [];
  const out: (Hit & { rank: number })[] = [];
  for (const name of names) {
    const letters = match(name, words);
    if (letters === undefined) continue;
    const low = name.toLowerCase();
    const begun = words.filter((w) => {
      const at = place(low, w);
      return at === 0 || /[^a-z0-9]/.test(low[at - 1]!);
    }).length;
    out.push({ name, letters, rank: begun * 1000 - name.length });
  }
  return out.sort((a, b) => b.rank - a.rank || (a.name < b.name ? -1 : 1));
}

/** A name cut where letters begin and end being typed ones. */
export function parts(hit: Hit): { said: string; typed: boolean }[] {
  const out: { said: string; typed: boolean }[] = [];
  [...hit.letters].forEach((typed, i) => {
    const last = out[out.length - 1];
    if (last !== undefined && last.typed === typed) last.said += hit.name[i];
    else out.push({ said: hit.name[i]!, typed });
  });
  return out;
}
