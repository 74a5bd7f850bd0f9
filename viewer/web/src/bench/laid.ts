// The pass that is laid over: brought in line with what the address asks for, fetched at this
// match's time, and said in words with the buttons that lay another over, or none.

import type { API } from "./api";
import { act, element } from "./elements";
import { after, choices, pick, usualOf, type Choice, type Over, type Usual } from "./overlay";
import type { Span } from "./scales";
import type { Trace } from "./trace";
import { Windows, type Fetch } from "./windows";

export interface Bench {
  view(): Span;
  /** Key of the pass that is wanted; "0" for the most usual, undefined for none. */
  wanted(): string | undefined;
  /** Wants another. */
  want(key: string | undefined): void;
  /** Says what became of the wish, while the view comes to rest. */
  became(key: string | undefined): void;
  /** What could not be read; empty when all could. */
  trouble(): string;
}

type Source = Pick<API, "window" | "signals">;

/** What is asked of a server. */
export type Asked = Source & Pick<API, "startS" | "passes" | "compare"> & { another(match: string): Source };

/** Fetches windows of a pass laid over at this match's time. Another match may lack signals of this one. */
export function fetchOf(api: Asked, over: Over): Fetch {
  const from = over.match === "" ? api : api.another(over.match);
  return async (names, span, columns, signal) => {
    const had = over.match === "" ? names : await from.signals().then((all) => names.filter((n) => all.some((s) => s.name === n)));
    if (had.length === 0) return [];
    const got = await from.window(had, { from: span.from - over.shiftS, to: span.to - over.shiftS }, columns, signal);
    return got.map((t) => ({ ...t, t: t.t.map((v) => v + over.shiftS) }));
  };
}

export class Laid {
  private choice: Choice | undefined;
  private now: { over: Over; usual: Map<string, Usual>; windows: Windows } | undefined;
  private laying: Promise<void> | undefined;
  private said = ""; // when nothing is laid over

  /** @param p the paragraph that says what is laid over */
  constructor(private readonly p: HTMLElement, private readonly api: Asked, private readonly bench: Bench) {}

  /** What is there of it to draw. */
  trace(name: string, view: Span, columnS: number): Trace | undefined {
    return this.now?.windows.best(name, view, columnS)?.trace;
  }

  usual(name: string): Usual | undefined { return this.now?.usual.get(name); }

  /** Brings it in line with what is wanted, then fetches what is not there yet of a view, as Windows.load does. */
  async load(names: readonly string[], view: Span, columns: number, bounds: Span, changed: () => void): Promise<void> {
    this.laying ??= this.lay().finally(() => {
      this.laying = undefined;
      this.words();
    });
    await this.laying;
    await this.now?.windows.load(names, view, columns, bounds, changed);
  }

  private async lay(): Promise<void> {
    const want = this.bench.wanted();
    if (want === undefined) this.now = undefined;
    if (want === this.now?.over.key) return;
    if (this.choice === undefined) {
      this.said = "Looking for usual passes …";
      this.words();
      try {
        this.choice = await choices(this.api, this.bench.view());
      } catch (e) {
        this.said = e instanceof Error ? e.message : String(e);
        this.bench.became(undefined);
        return;
      }
    }
    const over = pick(this.choice, want === "0" ? undefined : want);
    this.said = over === undefined ? "No good pass is known to lay over." : "";
    this.now = over && { over, usual: usualOf(this.choice.comparison, this.api.startS), windows: new Windows(fetchOf(this.api, over)) };
    this.bench.became(over?.key);
  }

  /** Says what is laid over, or what could not be read; the focus stays on a button that was there. */
  words(): void {
    const focused = this.p.contains(document.activeElement);
    const trouble = this.bench.trouble();
    this.p.replaceChildren(...(trouble !== "" ? [element("span", "trouble", "Not everything could be read: " + trouble)] : this.now ? this.described(this.now) : this.offered()));
    if (focused) this.p.querySelector("button")?.focus();
  }

  private offered(): (string | Node)[] {
    const offer = act("Lay a usual pass over", () => {
      this.choice = undefined; // it may be another piece that is on screen now
      this.bench.want("0");
    });
    return this.said !== "" ? [this.said + " ", offer] : [offer];
  }

  private described({ over, usual }: { over: Over; usual: Map<string, Usual> }): (string | Node)[] {
    return [
      "Laid over: ", element("b", "", over.words), `, a usual one, both starting at the ${over.stage} beam `, element("span", "key"), " ",
      act("another", () => this.bench.want(after(this.choice!, over.key))), " ",
      act("none", () => this.bench.want(undefined)),
      ...(usual.size > 0 ? [element("span", "shaded", "8 in 10 good passes")] : []),
    ];
  }
}
