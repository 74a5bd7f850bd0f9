// The findings of a match over its time: the bands that are drawn of them, which lie in a
// stretch, which comes next, and what of the match is shown when one is opened.

import type { Finding } from "./api";
import type { Band } from "./paint";
import { inside, type Span } from "./scales";

const most = 8; // signals that a finding brings with it

export class Findings {
  readonly bands: readonly Band[];

  /** @param list worst first, @param startS log time of match time 0, @param bounds of the log, in match time */
  constructor(private readonly list: readonly Finding[], private readonly startS: number, private readonly bounds: Span) {
    this.bands = list.map((f) => ({
      rank: f.rank, severity: f.severity, title: f.short !== "" ? f.short : f.title,
      spans: (f.spans.length > 0 ? f.spans : [f]).map((q) => ({ from: q.start_s - startS, to: q.end_s - startS })),
    }));
  }

  get any(): boolean { return this.list.length > 0; }

  ranked(rank: number): Finding | undefined { return this.list.find((f) => f.rank === rank); }

  /** Those that have to do with a stretch, worst first. */
  within(view: Span): Finding[] {
    return this.list.filter((_, i) => this.bands[i]!.spans.some((q) => q.from <= view.to && q.to >= view.from));
  }

  /** The one that lies next after the middle of a view, round and round. */
  next(view: Span): Finding | undefined {
    const middle = (view.from + view.to) / 2;
    const centre = (f: Finding): number => { const q = this.stretch(f); return (q.from + q.to) / 2; };
    const order = [...this.list].sort((p, q) => centre(p) - centre(q));
    return order.find((f) => centre(f) > middle + 1e-3) ?? order[0];
  }

  /** The stretch that shows one, with room on both sides. */
  stretch(f: Finding): Span {
    const { start_s: start, end_s: end } = f.evidence[0] ?? f;
    const room = Math.max(0.1 * (end - start), 0.5);
    return inside({ from: start - room - this.startS, to: end + room - this.startS }, this.bounds);
  }

  /** The signals that show one: those on screen when one of its own is among them, else its own. */
  strips(f: Finding, shown: readonly string[], known: (name: string) => boolean): readonly string[] {
    const own = [...new Set(f.evidence.map((e) => e.signal))].filter(known);
    return own.length === 0 || own.some((s) => shown.includes(s)) ? shown : own.slice(0, most);
  }
}
