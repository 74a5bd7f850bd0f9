import { expect, test } from "vitest";
import { boundsOf, edges, paint, paintCursors, x, type Scene, type Strip } from "./paint";
import { SVGSurface, type Surface } from "./surface";
import type { Trace } from "./trace";

const tokens = { paper: "#fff", ink: "#111", ink2: "#222", edge: "#777", usual: "#ddd", band: "#abc", rule: "#ccc", accent: "#a30", tint: "#fdc", onAccent: "#ffe" };

function trace(of: Partial<Trace> & { at: [number, number][] }): Trace {
  const n = of.at.length;
  return {
    name: "s", unit: "", type: "float64", samples: n, whole: false, text: [], broken: new Uint8Array(n), left: new Uint32Array(n), ...of,
    t: Float64Array.from(of.at, (p) => p[0]), v: Float64Array.from(of.at, (p) => p[1]),
  };
}

const strip = (of: Partial<Strip>): Strip => ({ name: "s", y: 68, h: 100, plot: 68, trace: undefined, over: undefined, usual: undefined, steps: false, bounds: [0, 10], valueA: undefined, valueB: undefined, ...of });

const scene = (strips: Strip[], of: Partial<Scene> = {}): Scene => ({ left: 40, width: 800, height: 168, view: { from: 0, to: 80 }, strips, bands: [], a: undefined, b: undefined, tokens, ...of });

/** A surface that remembers. */
class Remembered implements Surface {
  grain = 0;
  strokes: { points: number[]; color: string }[] = [];
  rects: { x: number; y: number; w: number; h: number; fill: string }[] = [];
  said: { said: string; x: number; y: number }[] = [];
  boxes = 0;
  rings: number[][] = [];
  stroke(points: ArrayLike<number>, color: string): void { this.strokes.push({ points: Array.from(points), color }); }
  areas: number[][] = [];
  area(points: ArrayLike<number>): void { this.areas.push(Array.from(points)); }
  rect(px: number, y: number, w: number, h: number, fill: string): void { this.rects.push({ x: px, y, w, h, fill }); }
  box(): void { this.boxes++; }
  ring(px: number, y: number): void { this.rings.push([px, y]); }
  triangle(): void {}
  text(said: string, px: number, y: number): void { this.said.push({ said, x: px, y }); }
  width(said: string): number { return said.length * 6; }
  clipped(_x: number, _y: number, _w: number, _h: number, draw: () => void): void { draw(); }
}

const drawn = (s: Scene): Remembered => {
  const on = new Remembered();
  paint(on, s);
  return on;
};

/** The lines of a stroke, cut where it is lifted. */
const lines = (points: number[]): [number, number][][] => {
  const out: [number, number][][] = [];
  for (let i = 0; i < points.length; i += 2) {
    if (Number.isNaN(points[i]!)) out.push([]);
    else out[out.length - 1]!.push([points[i]!, points[i + 1]!]);
  }
  return out;
};

test("a line goes through every sample and is lifted at breaks", () => {
  const t = trace({ at: [[0, 0], [10, 10], [20, 5], [60, 5], [70, 0]], broken: Uint8Array.from([0, 0, 0, 1, 0]) });
  const [line] = drawn(scene([strip({ trace: t })])).strokes;
  expect(lines(line!.points)).toEqual([[[40, 168], [140, 68], [240, 118]], [[640, 118], [740, 168]]]);
});

test("a value that holds is drawn in steps", () => {
  const t = trace({ at: [[0, 0], [40, 10], [60, 0]] });
  const [line] = drawn(scene([strip({ trace: t, steps: true })])).strokes;
  expect(lines(line!.points)).toEqual([[[40, 168], [440, 168], [440, 68], [640, 68], [640, 168]]]);
});

test("a sample that stands alone is a dot", () => {
  const t = trace({ at: [[10, 5], [20, 5], [30, 5]], broken: Uint8Array.from([0, 1, 1]) });
  expect(drawn(scene([strip({ trace: t })])).rects.filter((r) => r.fill === tokens.ink && r.w === 3)).toHaveLength(3);
});

// Bars in pixel columns are the line: each column from its least to its greatest, and across
// every column that a line crosses; nothing where it is broken.
test("a dense line is its columns, with every spike", () => {
  const at: [number, number][] = [];
  for (let c = 0; c < 800; c++) {
    for (const [dt, v] of [[0.01, 5], [0.03, 4], [0.05, c === 333 ? 9.9 : 6], [0.07, 5]] as const) at.push([c * 0.1 + dt, v]);
  }
  const broken = new Uint8Array(at.length);
  const kept = at.filter(([t]) => t < 20 || t > 30); // a gap of 100 columns
  broken[kept.findIndex(([t]) => t > 30)] = 1;
  const on = new Remembered();
  on.grain = 1;
  paint(on, scene([strip({ trace: trace({ at: kept, broken: broken.slice(0, kept.length) }) })]));
  const bars = on.rects.filter((r) => r.fill === tokens.ink && r.w === 1 && r.y > 68);
  expect(on.strokes).toHaveLength(0);
  expect(bars).toHaveLength(700);
  expect(bars.some((r) => r.x >= 240 && r.x < 340)).toBe(false);
  const spike = bars.find((r) => r.x === 373)!;
  expect(spike.y).toBeCloseTo(168 - 99 - 0.65, 3);
  for (const r of bars.filter((r) => r.x !== 373)) {
    expect(r.y).toBeCloseTo(108 - 0.65, 3);
    expect(r.h).toBeCloseTo(20 + 1.3, 3);
  }
});

// By the definition, sample by sample: a column is as high as what lies in it, and where a line goes on
// into other columns it passes each boundary between them at its share of the way, counted in columns.
test("a dense line is what its definition says, with breaks, steps and lone samples", () => {
  let seed = 7;
  const random = (): number => (seed = (seed * 48271) % 2147483647) / 2147483647;
  for (let trial = 0; trial < 12; trial++) {
    const steps = trial % 2 === 1;
    const at: [number, number][] = [];
    for (let time = -2; time < 83; time += random() < 0.02 ? 3 * random() : 0.05 * random()) at.push([time, 10 * random()]);
    const broken = Uint8Array.from(at, () => (random() < 0.05 ? 1 : 0));
    const [low, high] = [new Map<number, number>(), new Map<number, number>()];
    const reach = (c: number, v: number): void => {
      low.set(c, Math.min(low.get(c) ?? Infinity, v));
      high.set(c, Math.max(high.get(c) ?? -Infinity, v));
    };
    at.forEach(([time, v], i) => {
      const c = Math.floor(time * 10);
      reach(c, v);
      if (i === 0 || broken[i] === 1) return;
      const [before, from] = [at[i - 1]![1], Math.floor(at[i - 1]![0] * 10)];
      if (steps) reach(c, before);
      for (let k = from; k < c; k++) {
        const edge = before + (steps ? 0 : ((v - before) * (k + 0.5 - from)) / (c - from));
        reach(k, edge);
        reach(k + 1, edge);
      }
    });
    const on = new Remembered();
    on.grain = 1;
    paint(on, scene([strip({ trace: trace({ at, broken }), steps })]));
    const bars = new Map(on.rects.filter((r) => r.fill === tokens.ink && r.w === 1 && r.h < 150 && r.y > 60).map((r) => [r.x - 40, r]));
    const columns = Array.from({ length: 800 }, (_, c) => c);
    const seen = columns.map((c) => [bars.get(c), c] as const).map(([bar, c]) => bar === undefined ? [c] : [c, bar.y + 0.65, bar.y + bar.h - 0.65]);
    const meant = columns.map((c) => low.has(c) ? [c, 168 - 10 * high.get(c)!, 168 - 10 * low.get(c)!] : [c]);
    const rounded = (all: number[][]): string[] => all.map((row) => row.map((v) => v.toFixed(6)).join(" "));
    expect(rounded(seen)).toEqual(rounded(meant));
    const alone = at.filter((_, i) => (i === 0 || broken[i] === 1) && (i + 1 === at.length || broken[i + 1] === 1));
    const dots = on.rects.filter((r) => r.w === 3 && r.h === 3 && r.x >= 38.5 && r.x <= 838.5); // one beyond the view is cut off
    expect(dots).toHaveLength(alone.filter(([time]) => time >= 0 && time <= 80).length);
  }
});

test("a dense line crosses empty columns", () => {
  const at: [number, number][] = Array.from({ length: 2000 }, (_, i) => [i * 0.01, i % 2]);
  at.push([80, 9]);
  const on = new Remembered();
  on.grain = 1;
  paint(on, scene([strip({ trace: trace({ at }) })]));
  const bars = on.rects.filter((r) => r.fill === tokens.ink && r.w === 1 && r.y > 68);
  expect(bars.length).toBe(801);
  const [a, b] = [bars.find((r) => r.x === 540)!, bars.find((r) => r.x === 541)!];
  expect(a.y).toBeLessThan(b.y + b.h); // they touch
  expect(b.y).toBeLessThan(a.y + a.h);
});

test("a state is a bar while it is true, and one that is on for an instant is still seen", () => {
  const t = trace({ type: "bool", at: [[0, 0], [10, 1], [30, 0], [50, 1], [50.000001, 0]] });
  const bars = drawn(scene([strip({ trace: t })])).rects.filter((r) => r.fill === tokens.ink && r.y > 68);
  expect(bars.map((r) => [r.x, r.w])).toEqual([[140, 200], [540, 1]]);
  expect(drawn(scene([strip({ trace: t, over: t })])).boxes).toBe(2);
});

test("text is said where it begins, cut where there is no room, with what is left out", () => {
  const t = trace({ type: "text", at: [[-5, 0], [20, 0], [79, 0]], text: ["autonomous", "driver", "disabled"], left: Uint32Array.from([0, 3, 0]) });
  const words = drawn(scene([strip({ trace: t })])).said.filter((w) => w.y > 68).map((w) => w.said);
  expect(words).toContain("autonomous");
  expect(words).toContain("driver and 3 more");
  expect(words.join()).not.toContain("disabled"); // 10 px are left
});

test("a finding is a band through all strips, said with its times", () => {
  const on = drawn(scene([strip({})], { bands: [{ rank: 1, severity: "stop", title: "jam", spans: [{ from: 20, to: 40 }, { from: 200, to: 220 }] }] }));
  expect(on.rects.filter((r) => r.fill === tokens.tint)).toEqual([{ x: 240, y: 46, w: 200, h: 122, fill: tokens.tint }]);
  expect(on.said.map((w) => w.said)).toContain("jam, 20.0 to 40.0 s");
});

test("cursors have flags inside the plot and rings on the lines", () => {
  const on = new Remembered();
  paintCursors(on, scene([strip({ trace: trace({ at: [[0, 0], [80, 10]] }), valueA: 0, valueB: 10 })], { a: 0, b: 80 }));
  expect(on.said.map((w) => w.said)).toEqual(["A 0.0 s", "B 80.0 s"]);
  for (const r of on.rects) {
    expect(r.x).toBeGreaterThanOrEqual(40);
    expect(r.x + r.w).toBeLessThanOrEqual(840);
  }
  expect(on.rings).toEqual([[40, 168], [840, 68]]);
});

test("a cursor's line leaves room for what is written in its way", () => {
  const band = { rank: 1, severity: "stop", title: "jam", spans: [{ from: 10, to: 70 }] };
  const on = new Remembered();
  paintCursors(on, scene([strip({ y: 68, plot: 92, h: 100, trace: trace({ at: [[0, 5], [80, 5]] }) })], { a: 15, b: 60, bands: [band] }));
  const [a, b] = on.strokes.map((q) => lines([NaN, 0, ...q.points]).map((l) => l.map((p) => p[1])));
  expect(a).toEqual([[20, 50], [68, 68], [92, 168]]); // through the finding's words and the strip's name
  expect(b).toEqual([[20, 68], [92, 168]]); // behind the words
});

test("bounds hold what is in view and what is laid over", () => {
  const t = trace({ at: [[0, 100], [10, 1], [20, 2], [90, 500]] });
  expect(boundsOf([t, undefined], { from: 12, to: 80 })?.[1]).toBeCloseTo(2.06, 5); // with the sample before, to which the line leads
  expect(boundsOf([t, trace({ at: [[15, 9]] })], { from: 12, to: 80 })![1]).toBeGreaterThan(9);
  expect(boundsOf([undefined], { from: 0, to: 1 })).toBeUndefined();
});

test("the picture as SVG says what it draws, whatever a name holds", () => {
  const on = new SVGSurface((w) => w.length * 6);
  paint(on, scene([strip({ trace: trace({ at: [[0, 1], [40, 9]] }) })], { bands: [{ rank: 2, severity: "watch", title: `<b>"&`, spans: [{ from: 0, to: 80 }] }] }));
  const text = on.document(900, 200, `a & b <script>`);
  expect(text).toContain("<title>a &amp; b &lt;script&gt;</title>");
  expect(text).toContain("&lt;b&gt;&quot;&amp;");
  expect(text).not.toMatch(/<script|<b>|NaN|style=/);
  expect(text.match(/<g /g)).toHaveLength(text.match(/<\/g>/g)!.length);
  expect(x({ left: 40, width: 800, view: { from: 0, to: 80 } }, 40)).toBe(440);
});

test("what is usual is shaded between its edges, and parted where nothing is known", () => {
  const usual = { t: Float64Array.from([0, 10, 20, 30, 40]), low: Float64Array.from([2, 2, NaN, 4, 5]), high: Float64Array.from([8, 6, NaN, 6, 5]) };
  const t = trace({ at: [[0, 5], [80, 5]] });
  const { areas, strokes } = drawn(scene([strip({ trace: t, usual })]));
  expect(areas).toEqual([[40, 148, 140, 148, 140, 108, 40, 88], [340, 128, 440, 118, 440, 118, 340, 108]]);
  expect(strokes.filter((q) => q.color === tokens.edge)).toHaveLength(4);
  expect(boundsOf([t, ...edges(usual)], { from: 0, to: 80 })).toEqual(boundsOf([trace({ at: [[0, 2], [80, 8]] })], { from: 0, to: 80 }));
});
