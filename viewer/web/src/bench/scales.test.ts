import { expect, test } from "vitest";
import { axis, clock, difference, fixed, inside, length, narrowest, panned, reading, ticks, zoomed } from "./scales";

// Expected values computed with ticks(start, stop, count) of d3-array 3.2.5.
test("ticks are those of d3", () => {
  expect(ticks(0, 150, 8)).toEqual([0, 20, 40, 60, 80, 100, 120, 140]);
  expect(ticks(6.8, 13.2, 6)).toEqual([7, 8, 9, 10, 11, 12, 13]);
  expect(ticks(0, 1, 10)).toEqual([0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1]);
  for (const [lo, hi, n] of [[1, 1, 5], [2, 1, 5], [0, 1, 0], [0, Infinity, 5], [NaN, 1, 5]] as const) expect(ticks(lo, hi, n)).toEqual([]);
  expect(ticks(-1, 1, 2).some((v) => Object.is(v, -0))).toBe(false);
});

test("numbers have a true minus sign and as many digits as count", () => {
  expect(fixed(-1.25, 1)).toBe("−1.3");
  expect(fixed(-0.01, 1)).toBe("0.0"); // no minus before nothing
  const cases: [number, string][] = [[0, "0"], [36, "36"], [4.75, "4.75"], [12.5, "12.5"], [134.94, "134.9"], [0.8, "0.80"], [-0.36, "−0.36"], [0.0123, "0.0123"], [1500.4, "1500"], [1e9, "1.00e9"], [-2e-7, "−2.00e−7"]];
  for (const [v, said] of cases) expect(reading(v)).toBe(said);
  expect(difference(23.5)).toBe("+23.5");
  expect(difference(-0.1)).toBe("−0.10");
  expect(difference(0)).toBe("0");
});

test("a time is said as exactly as the view can show", () => {
  expect(clock(52.61, { from: 0, to: 150 })).toBe("52.6");
  expect(clock(52.61, { from: 50, to: 56 })).toBe("52.61");
  expect(clock(52.6104, { from: 52.61, to: 52.612 })).toBe("52.61040");
});

test("an axis holds what it shows, and zero when that is near", () => {
  let seed = 1;
  const random = (): number => (seed = (seed * 48271) % 2147483647) / 2147483647; // Park and Miller, CACM 31(10), 1988
  for (let i = 0; i < 500; i++) {
    const lo = (random() - 0.5) * 10 ** (random() * 8 - 4);
    const hi = lo + random() ** 3 * 100;
    const [a, b] = axis(lo, hi);
    expect(a).toBeLessThan(lo);
    expect(b).toBeGreaterThan(hi);
  }
  expect(axis(3, 40)[0]).toBeLessThan(0);
  expect(axis(10, 12)[0]).toBeGreaterThan(9);
  expect(axis(5, 5)).toEqual([4.5, 5.5]);
  expect(axis(Infinity, -Infinity)).toEqual([0, 1]); // of nothing
});

const match = { from: -30, to: 150 };

test("zooming keeps the time under the pointer where it is", () => {
  for (const at of [40, 55.5, 61]) {
    const before = { from: 40, to: 61 };
    const now = zoomed(before, at, 0.5, match);
    expect((at - now.from) / length(now)).toBeCloseTo((at - before.from) / length(before), 9);
    expect(length(now)).toBeCloseTo(10.5, 9);
  }
  let s = { from: 0, to: 100 };
  for (let i = 0; i < 60; i++) s = zoomed(s, 7.25, 0.5, match);
  expect(length(s)).toBeCloseTo(narrowest, 9);
  for (let i = 0; i < 60; i++) s = zoomed(s, 7.25, 2, match);
  expect(s).toEqual(match);
});

test("no view leaves the match", () => {
  expect(panned({ from: 140, to: 150 }, 0.5, match)).toEqual({ from: 140, to: 150 });
  expect(panned({ from: 100, to: 110 }, -0.1, match)).toEqual({ from: 99, to: 109 });
  expect(inside({ from: -500, to: 500 }, match)).toEqual(match);
  expect(inside({ from: -40, to: -20 }, match)).toEqual({ from: -30, to: -10 });
});
