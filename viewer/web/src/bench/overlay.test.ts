import { expect, test } from "vitest";
import type { Pass } from "./api";
import { after, passIn, pick, usualFirst, usualOf, type Choice } from "./overlay";

const pass = (piece: number, enter: number | null, leave: number | null): Pass => ({ piece, enter_s: enter, leave_s: leave, outcome: "released" });
const own = [pass(1, 10, 12), pass(2, 20, 22.1), pass(3, 30, 32.2), pass(4, 40, 51), pass(5, null, null), pass(6, 60, null)];

test("compared is the pass that has most to do with the view", () => {
  expect(passIn(own, { from: 19, to: 23 })?.piece).toBe(2);
  expect(passIn(own, { from: 39, to: 45 })?.piece).toBe(4);
  expect(passIn(own, { from: 70, to: 80 })?.piece).toBe(6); // still inside
  expect(passIn(own, { from: 0, to: 1 })?.piece).toBe(1); // the nearest
  expect(passIn([pass(5, null, null)], { from: 0, to: 1 })).toBeUndefined();
});

test("the most usual pass of this match is first, earlier matches come behind, the newest first", () => {
  const good = [{ match: "", piece: 1, enter_s: 10 }, { match: "", piece: 2, enter_s: 20 }, { match: "", piece: 3, enter_s: 30 }, { match: "2031/e/q1", piece: 7, enter_s: 5 }, { match: "2031/e/q2", piece: 8, enter_s: 6 }];
  const order = usualFirst(good, own).map((p) => `${p.match}:${p.piece}`);
  expect(order[0]).toBe(":2"); // 2.1 s is the median of 2.0, 2.1 and 2.2
  expect(order.slice(3)).toEqual(["2031/e/q2:8", "2031/e/q1:7"]);
});

test("what is laid over is shifted so that both start together", () => {
  const c: Choice = { comparison: { piece: 4, stage: "mouth", enter_s: 340, passes: [], time_s: [], signals: [] }, passes: [{ match: "", piece: 2, enter_s: 320 }, { match: "2031/e/q1", piece: 7, enter_s: 5 }] };
  expect(pick(c, undefined)).toMatchObject({ key: "2", words: "pass 2", shiftS: 20, match: "" });
  expect(pick(c, "2031/e/q1:7")).toMatchObject({ words: "pass 7 of q1", shiftS: 335 });
  expect(pick(c, "99")?.key).toBe("2");
  expect(after(c, "2")).toBe("2031/e/q1:7");
  expect(after(c, "2031/e/q1:7")).toBe("2");
  expect(pick({ ...c, passes: [] }, "2")).toBeUndefined();
});

test("what is usual stands at match time, and is unknown where nothing is known", () => {
  const signal = (name: string, role: string) => ({ signal: name, role, low: [1, null, 3], high: [2, null, 5] });
  const got = usualOf({ piece: 4, stage: "mouth", enter_s: 340, passes: [], time_s: [-0.5, 0, 0.5], signals: [signal("path/lift/current", "current"), signal("path/mouth/beam", "beam")] }, 300);
  expect([...got.keys()]).toEqual(["path/lift/current"]);
  const { t, low, high } = got.get("path/lift/current")!;
  expect([...t]).toEqual([39.5, 40, 40.5]);
  expect([...low]).toEqual([1, NaN, 3]);
  expect([...high]).toEqual([2, NaN, 5]);
});
