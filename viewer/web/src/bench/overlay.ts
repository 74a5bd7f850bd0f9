// A usual pass laid over the one on screen: which passes there are, which is the most usual,
// and by how much its signals are shifted so that both start together.

import type { API, ComparedPass, Comparison, Pass } from "./api";
import type { Span } from "./scales";

/** A pass that is laid over. */
export interface Over {
  readonly key: string; // as in the address
  readonly words: string;
  readonly stage: string;
  readonly match: string; // season/event/match; empty for this match
  readonly shiftS: number; // log time of this match less log time of the other
}

/** The pass of a piece that has most to do with a stretch of log time; undefined without any. */
export function passIn(passes: readonly Pass[], span: Span): Pass | undefined {
  let found: Pass | undefined;
  const middle = (span.from + span.to) / 2;
  const far = (p: Pass): number => {
    const [from, to] = [p.enter_s!, p.leave_s ?? p.enter_s! + 60];
    const share = Math.min(to, span.to) - Math.max(from, span.from);
    return share > 0 ? -share : Math.min(Math.abs(from - middle), Math.abs(to - middle));
  };
  for (const p of passes) {
    if (p.enter_s === null) continue;
    if (found === undefined || far(p) < far(found)) found = p;
  }
  return found;
}

/** Good passes, the most usual first: this match's by how near their time is to the median, then earlier ones, the newest first. */
export function usualFirst(good: readonly ComparedPass[], own: readonly Pass[]): ComparedPass[] {
  const took = (p: ComparedPass): number | undefined => {
    const of = own.find((q) => q.piece === p.piece);
    return of?.enter_s != null && of.leave_s !== null ? of.leave_s - of.enter_s : undefined;
  };
  const here = good.filter((p) => p.match === "");
  const times = here.map(took).filter((t) => t !== undefined).sort((a, b) => a - b);
  const median = times[times.length >> 1] ?? 0;
  const off = (p: ComparedPass): number => Math.abs((took(p) ?? Infinity) - median);
  return [...here.sort((a, b) => off(a) - off(b)), ...good.filter((p) => p.match !== "").reverse()];
}

export const keyOf = (p: ComparedPass): string => (p.match === "" ? "" : p.match + ":") + p.piece;

const wordsOf = (p: ComparedPass): string => `pass ${p.piece}` + (p.match === "" ? "" : ` of ${p.match.split("/").pop()}`);

/** What can be laid over a stretch. */
export interface Choice { readonly comparison: Comparison; readonly passes: readonly ComparedPass[] }

/** Asks which passes can be laid over what a stretch of match time shows. */
export async function choices(api: Pick<API, "startS" | "passes" | "compare">, span: Span): Promise<Choice> {
  const own = await api.passes();
  const pass = passIn(own, { from: span.from + api.startS, to: span.to + api.startS });
  if (pass === undefined) throw new Error("No piece came into the path in this match.");
  const comparison = await api.compare(pass.piece);
  return { comparison, passes: usualFirst(comparison.passes, own) };
}

/** The pass of that key, else the most usual; undefined when none is good. */
export function pick(c: Choice, key: string | undefined): Over | undefined {
  const p = c.passes.find((q) => keyOf(q) === key) ?? c.passes[0];
  if (p === undefined) return undefined;
  return { key: keyOf(p), words: wordsOf(p), stage: c.comparison.stage, match: p.match, shiftS: c.comparison.enter_s - p.enter_s };
}

/** What 8 in 10 good passes lie within; NaN where nothing is known. */
export interface Usual { readonly t: Float64Array; readonly low: Float64Array; readonly high: Float64Array }

/** The usual of each signal, in match time, which begins at startS of log time. A beam is usual as bars, not as a band. */
export function usualOf(c: Comparison, startS: number): Map<string, Usual> {
  const t = Float64Array.from(c.time_s, (s) => s + c.enter_s - startS);
  const known = (all: (number | null)[]): Float64Array => Float64Array.from(all, (v) => v ?? NaN);
  return new Map(c.signals.filter((s) => s.role !== "beam").map((s) => [s.signal, { t, low: known(s.low), high: known(s.high) }]));
}

/** The key of the pass after this one, round and round. */
export function after(c: Choice, key: string): string | undefined {
  const at = c.passes.findIndex((p) => keyOf(p) === key);
  const next = c.passes[(at + 1) % c.passes.length];
  return next && keyOf(next);
}
