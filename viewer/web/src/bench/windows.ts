// What was fetched of each signal, so that panning and zooming draw at once and the exact
// picture follows. A window is cut into the pixel columns of the screen; while it moves, an
// older one is drawn, in which every column still holds its extremes.

import { length, type Span } from "./scales";
import type { Trace } from "./trace";

/** What was fetched of one signal at one time. */
export interface Piece { readonly span: Span; readonly columnS: number; readonly trace: Trace }

export type Fetch = (names: readonly string[], span: Span, columns: number, signal: AbortSignal) => Promise<Trace[]>;

const kept = 4; // pieces of a signal

const covers = (p: Piece, view: Span): boolean => p.span.from <= view.from + 1e-9 && p.span.to >= view.to - 1e-9;

const shared = (p: Piece, view: Span): number => Math.max(0, Math.min(p.span.to, view.to) - Math.max(p.span.from, view.from));

/**
 * The piece to draw of a view whose pixels are columnS wide: one that covers it, fine enough
 * but no finer than need be; else the finest that covers it; else the one that covers most.
 */
export function best(pieces: readonly Piece[], view: Span, columnS: number): Piece | undefined {
  let found: Piece | undefined;
  const rank = (p: Piece): number => {
    if (!covers(p, view)) return shared(p, view) / length(view) - 3;
    const off = Math.log(p.columnS / columnS);
    return off > 0.01 ? -off / 100 : 1 + off / 100; // too coarse, or fine enough
  };
  for (const p of pieces) {
    if (found === undefined || rank(p) > rank(found)) found = p;
  }
  return found && shared(found, view) > 0 ? found : undefined;
}

/** Whether a piece is the exact picture of a view: its columns are the pixels, all of them. */
export function exact(p: Piece | undefined, view: Span, columnS: number): boolean {
  if (p === undefined || !covers(p, view)) return false;
  if (p.trace.whole) return true; // every sample is there
  if (Math.abs(p.columnS / columnS - 1) > 1e-6) return false;
  const shift = (view.from - p.span.from) / columnS;
  return Math.abs(shift - Math.round(shift)) < 1e-3;
}

export class Windows {
  private readonly pieces = new Map<string, Piece[]>();
  private running: { asked: string; control: AbortController; done: Promise<void> } | undefined;

  constructor(private readonly fetch: Fetch) {}

  best(name: string, view: Span, columnS: number): Piece | undefined {
    return best(this.pieces.get(name) ?? [], view, columnS);
  }

  private put(name: string, piece: Piece): void {
    const all = (this.pieces.get(name) ?? []).filter((p) => p.span.from !== piece.span.from || p.span.to !== piece.span.to);
    all.push(piece);
    this.pieces.set(name, all.slice(-kept));
  }

  /**
   * Fetches what is not there exactly yet of a view of so many columns, then a screen to
   * each side. A newer call ends an older one, unless it asks for the same, which is then not
   * asked twice. Changed is called when something new is there.
   */
  load(names: readonly string[], view: Span, columns: number, bounds: Span, changed: () => void): Promise<void> {
    const asked = JSON.stringify([names, view, columns, bounds]);
    if (this.running?.asked === asked) return this.running.done;
    this.running?.control.abort();
    const control = new AbortController();
    const mine = { asked, control, done: this.fill(names, view, columns, bounds, changed, control.signal) };
    this.running = mine;
    return mine.done.finally(() => {
      if (this.running === mine) this.running = undefined;
    });
  }

  private async fill(names: readonly string[], view: Span, columns: number, bounds: Span, changed: () => void, ended: AbortSignal): Promise<void> {
    const columnS = length(view) / columns;
    const before = Math.min(columns, Math.floor((view.from - bounds.from) / columnS));
    const behind = Math.min(columns, Math.floor((bounds.to - view.to) / columnS));
    const wide = { from: view.from - before * columnS, to: view.to + behind * columnS };
    for (const [span, n] of [[view, columns], [wide, before + columns + behind]] as const) {
      const missing = names.filter((name) => !exact(this.best(name, span, columnS), span, columnS));
      if (missing.length === 0) continue;
      const got = await this.fetch(missing, span, n, ended);
      if (ended.aborted) return;
      got.forEach((trace) => this.put(trace.name, { span, columnS, trace }));
      changed();
    }
  }
}
