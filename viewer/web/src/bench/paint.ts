// The drawing of the strips: one time axis on top, one strip below the other, findings as
// bands through all of them, cursors over everything.

import { axis, clock, decimalsOf, fixed, length, ticks, type Span } from "./scales";
import type { Usual } from "./overlay";
import type { Surface, Type } from "./surface";
import { before, type Trace } from "./trace";

/** The colours of the pages, by the names of their tokens. */
export interface Tokens {
  readonly paper: string; readonly ink: string; readonly ink2: string; readonly edge: string; readonly usual: string; readonly band: string;
  readonly rule: string; readonly accent: string; readonly tint: string; readonly onAccent: string;
}

/** One strip: where it is, and what is drawn in it. */
export interface Strip {
  readonly name: string;
  readonly y: number; // of its upper edge
  readonly h: number;
  readonly plot: number; // upper edge of where it draws: below the words on a phone
  readonly trace: Trace | undefined;
  readonly over: Trace | undefined; // laid over, already at this match's time
  readonly usual: Usual | undefined; // what most good passes lie within, likewise
  readonly steps: boolean; // a value holds until the next
  readonly bounds: readonly [number, number]; // of its axis
  readonly valueA: number | undefined;
  readonly valueB: number | undefined;
}

export interface Band { readonly rank: number; readonly severity: string; readonly title: string; readonly spans: readonly Span[] }

export interface Scene {
  readonly left: number; // where the plots begin, right of the labels
  readonly width: number; // of the plots
  readonly height: number;
  readonly view: Span;
  readonly strips: readonly Strip[];
  readonly bands: readonly Band[];
  readonly a: number | undefined;
  readonly b: number | undefined;
  readonly tokens: Tokens;
}

/** The axis is here, the cursors' flags above its labels, the bands' words below. */
export const axisY = 46;
export const bandsY = 22;
/** Where the first strip begins. */
export const top = axisY + bandsY;

export const x = (s: Pick<Scene, "left" | "width" | "view">, t: number): number => s.left + ((t - s.view.from) / length(s.view)) * s.width;

const label = (color: string, align: Type["align"] = "left", weight = 400): Type => ({ size: 12, weight, color, align });

/** What of a trace its bounds go by. */
type Curve = Pick<Trace, "type" | "t" | "v">;

/** The edges of what is usual, as traces. */
export const edges = (u: Usual | undefined): Curve[] => (u === undefined ? [] : [u.low, u.high].map((v) => ({ type: "float64", t: u.t, v })));

/** The least and greatest value of a trace inside a view. */
export function extent(trace: Curve | undefined, view: Span): [number, number] | undefined {
  if (trace === undefined || trace.type === "text") return undefined;
  let [lo, hi] = [Infinity, -Infinity];
  const last = before(trace.t, view.to);
  for (let i = Math.max(0, before(trace.t, view.from)); i <= last; i++) {
    const v = trace.v[i]!;
    if (v < lo) lo = v;
    if (v > hi) hi = v;
  }
  return lo <= hi ? [lo, hi] : undefined;
}

/** Bounds of a strip's axis that show a trace and what is laid over it. */
export function boundsOf(traces: readonly (Curve | undefined)[], view: Span): [number, number] | undefined {
  const all = traces.map((t) => extent(t, view)).filter((e) => e !== undefined);
  if (all.length === 0) return undefined;
  return axis(Math.min(...all.map((e) => e[0])), Math.max(...all.map((e) => e[1])));
}

export function paint(on: Surface, s: Scene): void {
  const { tokens: c } = s;
  const right = s.left + s.width;
  on.clipped(s.left, axisY, s.width, s.height - axisY, () => {
    for (const b of s.bands) {
      for (const q of b.spans) {
        const [x0, x1] = [x(s, q.from), x(s, q.to)];
        if (x1 >= s.left && x0 <= right) on.rect(x0, axisY, Math.max(1, x1 - x0), s.height - axisY, c.tint);
      }
    }
  });
  const every = ticks(s.view.from, s.view.to, Math.max(2, s.width / 140));
  for (const t of every) on.rect(Math.round(x(s, t)), axisY, 1, s.height - axisY, c.rule);
  for (const strip of s.strips) paintStrip(on, s, strip);
  paintAxis(on, s, every);
  paintBands(on, s);
}

function paintAxis(on: Surface, s: Scene, every: readonly number[]): void {
  const { tokens: c } = s;
  on.rect(s.left, axisY, s.width, 1, c.ink);
  const step = every.length > 1 ? every[1]! - every[0]! : length(s.view);
  const decimals = decimalsOf(step);
  let free = -Infinity;
  every.forEach((t, i) => {
    const at = Math.round(x(s, t));
    on.rect(at, axisY - 6, 1, 6, c.ink);
    const half = Math.round(x(s, t + step / 2));
    if (half < s.left + s.width) on.rect(half, axisY - 3, 1, 3, c.ink);
    const said = fixed(t, decimals) + (i === every.length - 1 ? " s" : "");
    const type = label(c.ink2, "center");
    const w = on.width(said, type);
    const centre = Math.min(Math.max(at, s.left + w / 2), s.left + s.width - w / 2);
    if (centre - w / 2 > free) {
      on.text(said, centre, axisY - 11, type);
      free = centre + w / 2 + 6;
    }
  });
}

/** What a finding is called on the axis, and where. */
interface Words { readonly band: Band; readonly said: string | undefined; readonly type: Type; readonly from: number; readonly to: number }

/** The stretches of findings in view, by their beginnings. */
function stretches(s: Scene): { band: Band; span: Span; from: number; to: number }[] {
  const right = s.left + s.width;
  return s.bands
    .flatMap((band) => band.spans.filter((q) => q.to >= s.view.from && q.from <= s.view.to).map((span) => ({ band, span })))
    .sort((p, q) => p.span.from - q.span.from)
    .map((p) => ({ ...p, from: Math.max(s.left, x(s, p.span.from)), to: Math.min(right, x(s, p.span.to)) }));
}

const hot = (b: Band, c: Tokens): string => (b.severity !== "watch" ? c.accent : c.ink);

/** The words of the findings, each where there is room behind those before it. */
function wordsOf(on: Surface, s: Scene): Words[] {
  const out: Words[] = [];
  let free = -Infinity;
  for (const { band, span, from } of stretches(s)) {
    const at = Math.max(from, free) + 8;
    const room = s.left + s.width - at;
    if (from < free - 20 || room < 20) continue;
    const type = label(hot(band, s.tokens), "left", 640);
    const said = [`${band.title}, ${clock(span.from, s.view)} to ${clock(span.to, s.view)} s`, band.title].find((w) => on.width(w, type) + 22 < room);
    const to = at + 22 + (said === undefined ? 0 : on.width(said, type));
    out.push({ band, said, type, from: at, to });
    free = to + 10;
  }
  return out;
}

/** The stretches of the findings along the axis, and their words where there is room. */
function paintBands(on: Surface, s: Scene): void {
  for (const { band, from, to } of stretches(s)) on.rect(from, axisY - 1, Math.max(2, to - from), 3, hot(band, s.tokens));
  for (const w of wordsOf(on, s)) {
    mark(on, w.from + 8, axisY + 14, w.band, s.tokens);
    if (w.said !== undefined) on.text(w.said, w.from + 21, axisY + 18, w.type);
  }
}

/** The mark of a finding: a square, a wedge or a ring, with its rank. */
function mark(on: Surface, at: number, y: number, b: Band, c: Tokens): void {
  const number = (color: string, dy: number): void => on.text(String(b.rank), at, y + dy, { size: 12, weight: 680, color, align: "center" });
  if (b.severity === "stop") {
    on.rect(at - 8, y - 8, 16, 16, c.accent);
    number(c.onAccent, 4.5);
  } else if (b.severity === "fix") {
    on.triangle(at, y, 9, c.accent);
    number(c.onAccent, 1.5);
  } else {
    on.ring(at, y, 8, c.ink, c.paper, 1.5);
    number(c.ink, 4.5);
  }
}

function paintStrip(on: Surface, s: Scene, strip: Strip): void {
  const { tokens: c } = s;
  on.rect(s.left, strip.y + strip.h - 1, s.width, 1, c.rule);
  const [top, high] = [strip.plot, strip.y + strip.h - strip.plot];
  const type = strip.trace?.type ?? "float64";
  if (type === "float64" || type === "int64") {
    const [lo, hi] = strip.bounds;
    const values = ticks(lo, hi, Math.max(2, high / 28));
    const decimals = values.length > 1 ? decimalsOf(values[1]! - values[0]!) : 0;
    for (const v of values) {
      const y = top + high - ((v - lo) / (hi - lo)) * high;
      if (y < top + 5 || y > top + high - 4) continue;
      on.rect(s.left, Math.round(y), s.width, 1, c.rule);
      on.text(shortened(v, decimals), s.left - 8, y + 4, label(c.ink2, "right"));
    }
  }
  if (strip.trace === undefined) {
    on.text("…", s.left + 8, top + high / 2, label(c.ink2));
    return;
  }
  const trace = strip.trace;
  on.clipped(s.left, strip.y, s.width, strip.h, () => {
    if (type === "bool") {
      paintBars(on, s, trace, top + Math.max(3, high * 0.22), Math.min(9, high * 0.4), true);
      if (strip.over) paintBars(on, s, strip.over, top + Math.max(3, high * 0.22) + Math.min(9, high * 0.4) + 1, Math.min(8, high * 0.35), false);
    } else if (type === "text") {
      paintLabels(on, s, trace, top, high);
    } else {
      if (strip.usual) paintUsual(on, s, strip.usual, strip, top, high);
      if (strip.over) paintLine(on, s, strip.over, strip, top, high, c.edge, 2.6);
      paintLine(on, s, trace, strip, top, high, c.ink, 1.3);
    }
  });
}

/** A value at a tick, large ones in thousands or millions. */
function shortened(v: number, decimals: number): string {
  const size = Math.abs(v);
  if (size >= 1e7) return fixed(v / 1e6, 0) + " M";
  if (size >= 1e5) return fixed(v / 1e3, 0) + " k";
  return fixed(v, decimals);
}

function paintLine(on: Surface, s: Scene, trace: Trace, strip: Strip, top: number, high: number, color: string, width: number): void {
  const { t, v, broken } = trace;
  const n = t.length;
  const { steps, bounds: [lo, hi] } = strip;
  const [kx, ky] = [s.width / length(s.view), high / (hi - lo)];
  const [left, from, bottom] = [s.left, s.view.from, top + high];
  const first = Math.max(0, before(t, from));
  const last = Math.min(n - 1, before(t, s.view.to) + 1);
  if (on.grain > 0 && (last - first + 1) * (steps ? 2 : 1) > 1.25 * s.width) {
    paintDense(on, { trace, first, last, steps, left, from, bottom, lo, kx, ky }, s.width, color, width);
    return;
  }
  const dots = n > 0 && trace.whole && (n - 1) * 7 < s.width * Math.max(1, (t[n - 1]! - t[0]!) / length(s.view));
  const points: number[] = [];
  let y0 = 0;
  for (let i = first; i <= last; i++) {
    const px = left + (t[i]! - from) * kx;
    const y = bottom - (v[i]! - lo) * ky;
    const cut = i === first || broken[i] === 1;
    if (cut) points.push(NaN, 0);
    else if (steps) points.push(px, y0);
    points.push(px, y);
    y0 = y;
    const alone = cut && (i + 1 === n || broken[i + 1] === 1);
    if (alone || dots) dot(on, px, y, color);
  }
  on.stroke(points, color, width);
}

/** What 8 in 10 good passes lie within: shaded, and bounded by a line. */
function paintUsual(on: Surface, s: Scene, u: Usual, strip: Strip, top: number, high: number): void {
  const [lo, hi] = strip.bounds;
  const y = (v: number): number => top + high - ((v - lo) / (hi - lo)) * high;
  const known = (i: number): boolean => Number.isFinite(u.low[i]! + u.high[i]!);
  const last = Math.min(u.t.length - 1, before(u.t, s.view.to) + 1);
  for (let i = Math.max(0, before(u.t, s.view.from)); i <= last; i++) {
    if (!known(i)) continue;
    const [lower, upper]: [number[], number[]] = [[], []];
    const first = i;
    for (; i <= last && known(i); i++) lower.push(x(s, u.t[i]!), y(u.low[i]!));
    for (let k = i - 1; k >= first; k--) upper.push(x(s, u.t[k]!), y(u.high[k]!));
    on.area([...lower, ...upper], s.tokens.usual);
    on.stroke(lower, s.tokens.edge, 1);
    on.stroke(upper, s.tokens.edge, 1);
  }
}

const dot = (on: Surface, px: number, y: number, color: string): void => on.rect(px - 1.5, y - 1.5, 3, 3, color);

/** Which part of a trace is drawn as a line, and where: x is left + (t - from) kx, y is bottom - (v - lo) ky. */
interface Line {
  readonly trace: Trace; readonly first: number; readonly last: number; readonly steps: boolean;
  readonly left: number; readonly from: number; readonly bottom: number; readonly lo: number; readonly kx: number; readonly ky: number;
}

let [lows, highs] = [new Float64Array(0), new Float64Array(0)]; // of the columns; kept, for what is let go each frame makes frames late

/**
 * A line with more points than pixels, as an upright bar in every pixel column from
 * its lowest to its highest place there: the same picture, and many times faster to draw
 * than slanted lines with soft edges. The first picture is drawn before the browser has
 * compiled anything, when each number that is worked out is also one to be cleared away:
 * so of a point in the column of the one before only its value is looked at.
 */
function paintDense(on: Surface, line: Line, wide: number, color: string, width: number): void {
  const { first, last, steps, from, trace: { t, v, broken } } = line;
  const place = (value: number): number => line.bottom - (value - line.lo) * line.ky;
  const kx = line.kx / on.grain; // columns a second
  const n = Math.ceil(wide / on.grain) + 1;
  if (lows.length < n) [lows, highs] = [new Float64Array(n), new Float64Array(n)];
  const [low, high] = [lows.fill(Infinity), highs.fill(-Infinity)];
  let column = -1; // where one is
  let until = -Infinity; // the time at which the next begins
  let least = Infinity; // and what is in it
  let most = -Infinity;
  const close = (): void => {
    if (column < 0 || column >= n) return;
    if (least < low[column]!) low[column] = least;
    if (most > high[column]!) high[column] = most;
  };
  for (let i = first; i <= last; i++) {
    const value = v[i]!;
    const cut = i === first || broken[i] === 1;
    if (cut && (i + 1 === t.length || broken[i + 1] === 1)) dot(on, line.left + (t[i]! - from) * line.kx, place(value), color);
    if (t[i]! >= until) {
      const c = Math.floor((t[i]! - from) * kx);
      let edge = value; // where the line comes into the column
      if (cut) {
        close();
      } else if (c > column) { // each column on the way is crossed from one side to the other
        edge = v[i - 1]!;
        const slope = steps ? 0 : (value - edge) / (c - column);
        edge += slope / 2;
        if (edge < least) least = edge;
        if (edge > most) most = edge;
        close();
        for (let k = column + 1; k < c; k++) {
          const next = edge + slope;
          least = Math.min(edge, next);
          most = Math.max(edge, next);
          column = k;
          close();
          edge = next;
        }
      }
      if (cut || c > column) {
        column = c;
        least = most = edge;
        until = from + (c + 1) / kx - 1e-9; // to be worked out for a point that near
      }
    }
    if (value < least) least = value;
    if (value > most) most = value;
  }
  close();
  for (let c = 0; c < n; c++) {
    if (low[c]! > high[c]!) continue;
    const upper = place(high[c]!);
    const lower = place(low[c]!);
    on.rect(line.left + c * on.grain, upper - width / 2, on.grain, lower - upper + width, color);
  }
}

/** A state as bars while it is true: solid today, an outline laid over. */
function paintBars(on: Surface, s: Scene, trace: Trace, y: number, h: number, solid: boolean): void {
  const { t, v, broken } = trace;
  for (let i = Math.max(0, before(t, s.view.from)); i < t.length && t[i]! <= s.view.to; i++) {
    if (v[i]! === 0) continue;
    const from = t[i]!;
    while (i + 1 < t.length && v[i + 1]! !== 0 && broken[i + 1] === 0) i++;
    const to = i + 1 < t.length && broken[i + 1] === 0 ? t[i + 1]! : t[i]!;
    const x0 = Math.max(s.left - 2, x(s, from));
    const wide = Math.max(1, Math.min(s.left + s.width + 2, x(s, to)) - x0);
    if (solid) on.rect(x0, y, wide, h, s.tokens.ink);
    else on.box(x0 + 0.5, y + 0.5, Math.max(0.5, wide - 1), h - 1, s.tokens.edge, 1.2);
  }
}

/** Text as what it said from when. */
function paintLabels(on: Surface, s: Scene, trace: Trace, top: number, high: number): void {
  const { tokens: c } = s;
  const type = label(c.ink);
  const middle = top + high / 2 + 4;
  for (let i = 0; i < trace.t.length; i++) {
    const next = i + 1 < trace.t.length ? x(s, trace.t[i + 1]!) : s.left + s.width;
    const from = x(s, trace.t[i]!);
    if (next < s.left) continue;
    if (from >= s.left) on.rect(Math.round(from), top + 2, 1, high - 5, c.ink);
    const at = Math.max(from, s.left) + 5;
    const more = trace.left[i]! > 0 ? ` and ${trace.left[i]} more` : "";
    const said = fitting(on, (trace.text[i] ?? "") + more, type, Math.min(next, s.left + s.width) - at - 4);
    if (said !== "") on.text(said, at, middle, type);
  }
}

/** As much of the words as fits, with an ellipsis; nothing when not even that. */
function fitting(on: Surface, said: string, type: Type, room: number): string {
  if (room < 12) return "";
  if (on.width(said, type) <= room) return said;
  for (let n = Math.min(said.length - 1, Math.floor(room / 5)); n > 0; n--) {
    const cut = said.slice(0, n) + "…";
    if (on.width(cut, type) <= room) return cut;
  }
  return "";
}

/** An upright line from the flag of a cursor down, but for the stretches in which something is written. */
function upright(px: number, bottom: number, written: readonly (readonly [number, number])[]): number[] {
  const points = [px, 20];
  for (const [from, to] of [...written].sort((p, q) => p[0] - q[0])) {
    if (to > from) points.push(px, from, NaN, 0, px, to);
  }
  return [...points, px, bottom];
}

/** Cursors A and B, their flags, and a ring where each meets a line. */
export function paintCursors(on: Surface, s: Scene): void {
  const { tokens: c } = s;
  const bottom = s.height;
  const words = wordsOf(on, s);
  for (const [name, at, dash] of [["A", s.a, []], ["B", s.b, [4, 3]]] as const) {
    if (at === undefined || at < s.view.from || at > s.view.to) continue;
    const px = x(s, at);
    const written: [number, number][] = s.strips.map((q) => [q.y, q.plot]); // names and readings, on a phone
    if (words.some((w) => px > w.from - 3 && px < w.to + 3)) written.push([axisY + 4, axisY + bandsY]);
    on.stroke(upright(px, bottom, written), c.ink, 1.3, dash);
    const type: Type = { size: 12, weight: 660, color: c.paper, align: "center" };
    const said = `${name} ${clock(at, s.view)} s`;
    const wide = on.width(said, type) + 20;
    // A's flag stands before its line and B's behind, so that two near cursors keep theirs.
    const want = name === "A" ? px - wide : px;
    const from = Math.min(Math.max(want, s.left), s.left + s.width - wide);
    on.rect(from, 2, wide, 19, c.ink);
    on.text(said, from + wide / 2, 16, type);
  }
  for (const strip of s.strips) {
    if (strip.trace === undefined || strip.trace.type === "bool" || strip.trace.type === "text") continue;
    const [lo, hi] = strip.bounds;
    const [top, high] = [strip.plot, strip.y + strip.h - strip.plot];
    for (const [at, v] of [[s.a, strip.valueA], [s.b, strip.valueB]] as const) {
      if (at === undefined || v === undefined || at < s.view.from || at > s.view.to || v < lo || v > hi) continue;
      on.ring(x(s, at), top + high - ((v - lo) / (hi - lo)) * high, 4, c.ink, c.paper, 1.5);
    }
  }
}
