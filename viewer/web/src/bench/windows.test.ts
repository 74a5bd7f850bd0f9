import { expect, test } from "vitest";
import type { Span } from "./scales";
import type { Trace } from "./trace";
import { best, exact, Windows, type Piece } from "./windows";

const trace = (name: string, whole = false): Trace => ({
  name, unit: "", type: "float64", samples: 1000, whole, t: new Float64Array([1]), v: new Float64Array([1]), text: [], broken: new Uint8Array(1), left: new Uint32Array(1),
});
const piece = (from: number, to: number, columns: number, whole = false): Piece => ({ span: { from, to }, columnS: (to - from) / columns, trace: trace("s", whole) });
const match = { from: -30, to: 150 };

test("drawn is the piece that covers the view, fine enough but no finer", () => {
  const [coarse, right, fine, aside] = [piece(0, 150, 800), piece(40, 70, 800), piece(50, 60, 8000), piece(70, 80, 800)];
  const view = { from: 50, to: 60 };
  expect(best([coarse, fine, right, aside], view, 30 / 800)).toBe(right);
  expect(best([coarse, fine, aside], view, 30 / 800)).toBe(fine);
  expect(best([coarse, aside], view, 30 / 800)).toBe(coarse); // too coarse, and better than nothing
  expect(best([aside], view, 30 / 800)).toBeUndefined();
  expect(best([piece(55, 70, 100), aside], view, 0.1)?.span.from).toBe(55); // covers half
});

test("exact is what has the screen's own columns, or every sample", () => {
  const p = piece(40, 70, 3000);
  expect(exact(p, { from: 50, to: 60 }, 0.01)).toBe(true);
  expect(exact(p, { from: 50.005, to: 60.005 }, 0.01)).toBe(false); // between columns
  expect(exact(p, { from: 50, to: 55 }, 0.005)).toBe(false);
  expect(exact(p, { from: 65, to: 75 }, 0.01)).toBe(false);
  expect(exact(piece(40, 70, 30, true), { from: 50.123, to: 55 }, 0.001)).toBe(true);
  expect(exact(undefined, { from: 0, to: 1 }, 1)).toBe(false);
});

/** A server that remembers what it was asked. */
function server(): { asked: { names: readonly string[]; span: Span; columns: number; signal: AbortSignal }[]; windows: Windows; answer: (() => void)[] } {
  const asked: { names: readonly string[]; span: Span; columns: number; signal: AbortSignal }[] = [];
  const answer: (() => void)[] = [];
  const windows = new Windows((names, span, columns, signal) => {
    asked.push({ names, span, columns, signal });
    return new Promise((done) => answer.push(() => done(names.map((n) => trace(n)))));
  });
  return { asked, windows, answer };
}

const tick = (): Promise<void> => new Promise((done) => setTimeout(done));

test("the view is asked for first, then a screen to each side, cut to the same pixels", async () => {
  const { asked, windows, answer } = server();
  let drawn = 0;
  const done = windows.load(["a", "b"], { from: 50, to: 60 }, 800, match, () => drawn++);
  expect(asked.map((q) => [q.names, q.span, q.columns])).toEqual([[["a", "b"], { from: 50, to: 60 }, 800]]);
  answer[0]!();
  await tick();
  expect(drawn).toBe(1);
  expect(asked[1]).toMatchObject({ span: { from: 40, to: 70 }, columns: 2400 });
  answer[1]!();
  await done;
  expect(drawn).toBe(2);
  // Panned by whole pixels, everything is there: only more to the side is asked for.
  const again = windows.load(["a", "b"], { from: 52.5, to: 62.5 }, 800, match, () => drawn++);
  await tick();
  expect(asked).toHaveLength(3);
  expect(asked[2]).toMatchObject({ columns: 2400 });
  answer[2]!();
  await again;
});

test("no time outside of the match is asked for", async () => {
  const { asked, windows, answer } = server();
  const done = windows.load(["a"], { from: 145, to: 150 }, 500, match, () => {});
  answer[0]!();
  await tick();
  expect(asked[1]!.span.to).toBeCloseTo(150, 9);
  expect(asked[1]!.span.from).toBeCloseTo(140, 9);
  answer[1]!();
  await done;
});

test("a newer view ends the question of an older one", async () => {
  const { asked, windows, answer } = server();
  let drawn = 0;
  const old = windows.load(["a"], { from: 0, to: 10 }, 100, match, () => drawn++);
  const now = windows.load(["a"], { from: 20, to: 30 }, 100, match, () => drawn++);
  expect(asked[0]!.signal.aborted).toBe(true);
  answer[0]!(); // comes all the same
  await old;
  expect(drawn).toBe(0);
  answer[1]!();
  await tick();
  answer[2]!();
  await now;
  expect(drawn).toBe(2);
  expect(windows.best("a", { from: 0, to: 5 }, 0.1)?.span.from).not.toBe(0);
});

test("only what is missing is asked for, and not too much is kept", async () => {
  const { asked, windows, answer } = server();
  const all = async (names: string[], span: Span): Promise<void> => {
    const done = windows.load(names, span, 100, match, () => {});
    for (let i = 0; i < 4; i++) {
      answer.splice(0).forEach((a) => a());
      await tick();
    }
    await done;
  };
  await all(["a"], { from: 0, to: 10 });
  const n = asked.length;
  await all(["a", "b"], { from: 0, to: 10 });
  expect(asked.slice(n).every((q) => q.names.length === 1 && q.names[0] === "b")).toBe(true);
  for (let i = 0; i < 9; i++) await all(["a"], { from: i * 7.77, to: i * 7.77 + 3.3 });
  expect(windows.best("a", { from: 0, to: 10 }, 0.1)?.span).not.toEqual({ from: 0, to: 10 });
});
