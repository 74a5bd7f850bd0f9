// Time and value axes: where ticks stand, how they are written, how a stretch of time is
// moved. Times are seconds of match time.

/** A stretch of time. */
export interface Span { readonly from: number; readonly to: number }

export const length = (s: Span): number => s.to - s.from;

/**
 * About `count` round values from lo to hi, spaced by 1, 2 or 5 times a power of ten. The
 * rule is that of ticks in d3-array 3.2.5, and the same as on the pages' other pictures.
 */
export function ticks(lo: number, hi: number, count: number): number[] {
  if (!(count >= 1) || !(hi > lo) || !Number.isFinite(hi - lo)) return [];
  const step = (hi - lo) / count;
  const power = Math.floor(Math.log10(step));
  const ratio = step / 10 ** power;
  const factor = ratio >= Math.sqrt(50) ? 10 : ratio >= Math.sqrt(10) ? 5 : ratio >= Math.SQRT2 ? 2 : 1;
  // A step under 1 is kept as its inverse, a whole number, so that 0.1 times 3 is 0.3.
  const inverse = power < 0 ? 10 ** -power / factor : 0;
  const spacing = 10 ** power * factor;
  const slack = 1e-9; // of a step: a bound that is a tick but for rounding counts as one
  const first = Math.ceil((inverse ? lo * inverse : lo / spacing) - slack);
  const last = Math.floor((inverse ? hi * inverse : hi / spacing) + slack);
  const out: number[] = [];
  for (let i = first; i <= last; i++) out.push((inverse ? i / inverse : i * spacing) + 0); // + 0: no minus zero
  return out;
}

/** A number with a fixed count of decimals and a true minus sign. */
export function fixed(v: number, decimals: number): string {
  const text = Math.abs(v).toFixed(decimals);
  return v < 0 && Number(text) !== 0 ? "−" + text : text;
}

/** How many decimals tell values a step apart. */
export function decimalsOf(step: number): number {
  return step > 0 ? Math.min(6, Math.max(0, -Math.floor(Math.log10(step) + 1e-9))) : 0;
}

/** A value as it is read at a cursor: about four digits that count. */
export function reading(v: number): string {
  const size = Math.abs(v);
  if (v === 0 || (Number.isInteger(v) && size < 1e7)) return fixed(v, 0);
  if (size >= 1e7 || size < 1e-4) return v.toExponential(2).replaceAll("-", "−").replace("e+", "e");
  return fixed(v, size >= 1000 ? 0 : size >= 10 ? 1 : size >= 0.1 ? 2 : 2 - Math.floor(Math.log10(size) + 1e-12));
}

/** A difference: with its sign. */
export const difference = (d: number): string => (d > 0 ? "+" : "") + reading(d);

/** Bounds of an axis around lo to hi, a little wider; a flat line gets room on both sides. */
export function axis(lo: number, hi: number): [number, number] {
  if (!(hi >= lo)) return [0, 1];
  if (hi === lo) {
    const room = Math.max(Math.abs(hi) * 0.1, 0.5);
    return [lo - room, hi + room];
  }
  const room = 0.06 * (hi - lo);
  const low = lo >= 0 && lo < 0.5 * hi ? Math.min(0, lo) - room : lo - room; // zero is shown where it is near
  return [low, hi + room];
}

/** The narrowest stretch there is, a fifth of a millisecond: one sample of 5 kHz. */
export const narrowest = 0.0002;

/** The stretch moved and cut so that it lies inside the bounds and is no narrower than can be. */
export function inside(s: Span, bounds: Span): Span {
  const whole = length(bounds);
  const wide = Math.min(whole, Math.max(narrowest, length(s)));
  const from = Math.min(Math.max(s.from + (length(s) - wide) / 2, bounds.from), bounds.to - wide);
  return { from, to: from + wide };
}

/** Zoomed by a factor (under 1 is nearer) so that time `at` stays where it is. */
export function zoomed(s: Span, at: number, factor: number, bounds: Span): Span {
  const limited = Math.max(factor, narrowest / length(s));
  return inside({ from: at - (at - s.from) * limited, to: at + (s.to - at) * limited }, bounds);
}

/** Moved by a share of its own length, never beyond the bounds. */
export function panned(s: Span, share: number, bounds: Span): Span {
  const by = share * length(s);
  return inside({ from: s.from + by, to: s.to + by }, bounds);
}

/** Seconds with as many decimals as the width of the view makes sense of. */
export function clock(t: number, view: Span): string {
  return fixed(t, Math.max(1, Math.min(6, 1 + decimalsOf(length(view) / 20))));
}
