// The address of a view: what is on screen is in it, and what is in it comes on screen.
//
//   ?from=50.6&to=56.2&s=path/lift/current&s=power/voltage&a=52.61&b=53.34&over=3
//
// Times are seconds of match time; `over` is the pass laid over, of this match or, after
// "season/event/match:", of an earlier one.

import type { Span } from "./scales";

export interface State {
  readonly span: Span;
  readonly strips: readonly string[];
  readonly a: number | undefined;
  readonly b: number | undefined;
  readonly over: string | undefined;
}

/** Strips on one page; more would be scrolled past, not compared. */
export const mostStrips = 24;

/** A number of the address, undefined when it is none. */
function number(text: string | null): number | undefined {
  if (text === null || text.trim() === "") return undefined;
  const v = Number(text);
  return Number.isFinite(v) ? v : undefined;
}

/** What an address says; what it leaves out or gets wrong is as in `or`. */
export function parse(search: string, or: State): State {
  const q = new URLSearchParams(search);
  const [from, to] = [number(q.get("from")), number(q.get("to"))];
  const named = [...new Set(q.getAll("s").filter((s) => s !== ""))].slice(0, mostStrips);
  const over = q.get("over") ?? undefined;
  return {
    span: from !== undefined && to !== undefined && to > from ? { from, to } : or.span,
    strips: named.length > 0 ? named : or.strips,
    a: number(q.get("a")),
    b: number(q.get("b")),
    over: over !== undefined && /^([^:]+:)?\d{1,6}$/.test(over) ? over : undefined,
  };
}

/** Time to the microsecond, which is how exactly it is stored, without needless zeros. */
const time = (t: number): string => String(Number(t.toFixed(6)));

/** The address of a state, after the path. */
export function address(s: State): string {
  const q = new URLSearchParams();
  q.set("from", time(s.span.from));
  q.set("to", time(s.span.to));
  for (const name of s.strips) q.append("s", name);
  if (s.a !== undefined) q.set("a", time(s.a));
  if (s.b !== undefined) q.set("b", time(s.b));
  if (s.over !== undefined) q.set("over", s.over);
  return "?" + q.toString().replaceAll("%2F", "/").replaceAll("%3A", ":");
}

/** The strips with one moved up (-1) or down (1); the same when it cannot move. */
export function moved(strips: readonly string[], name: string, by: number): readonly string[] {
  const at = strips.indexOf(name);
  const to = at + by;
  if (at < 0 || to < 0 || to >= strips.length) return strips;
  const out = strips.filter((s) => s !== name);
  out.splice(to, 0, name);
  return out;
}

/** The strips with one more, as the lowest; one that is there already stays where it is. */
export function added(strips: readonly string[], name: string): readonly string[] {
  return strips.includes(name) || strips.length >= mostStrips ? strips : [...strips, name];
}
