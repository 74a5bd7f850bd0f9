import { expect, test } from "vitest";
import type { Finding } from "./api";
import { Findings } from "./findings";

const finding = (rank: number, start: number, end: number, more: Partial<Finding> = {}): Finding => ({
  rank, severity: "fix", title: `finding ${rank}`, short: "", start_s: start, end_s: end, spans: [], evidence: [], ...more,
});
const bounds = { from: -5, to: 150 };
const startS = 100;
const jam = finding(1, 150, 152, { short: "jam", spans: [{ start_s: 150, end_s: 152 }, { start_s: 190, end_s: 191 }] });
const dip = finding(2, 120, 121, { evidence: ["power/voltage", "power/current", "power/voltage"].map((signal) => ({ signal, start_s: 119, end_s: 139 })) });
const late = finding(3, 249, 250);
const all = new Findings([jam, dip, late], startS, bounds);

test("bands stand at match time, each at every occurrence, under the short title where there is one", () => {
  expect(all.bands.map((b) => [b.rank, b.title])).toEqual([[1, "jam"], [2, "finding 2"], [3, "finding 3"]]);
  expect(all.bands[0]!.spans).toEqual([{ from: 50, to: 52 }, { from: 90, to: 91 }]);
  expect(all.bands[1]!.spans).toEqual([{ from: 20, to: 21 }]);
});

test("a stretch has the findings that touch it, worst first", () => {
  expect(all.within({ from: 0, to: 150 }).map((f) => f.rank)).toEqual([1, 2, 3]);
  expect(all.within({ from: 91, to: 95 }).map((f) => f.rank)).toEqual([1]); // its second occurrence
  expect(all.within({ from: 53, to: 89 })).toEqual([]);
});

test("what shows a finding is its first evidence with room around it, within the log", () => {
  expect(all.stretch(dip)).toEqual({ from: 17, to: 41 }); // a tenth of 20 s
  expect(all.stretch(jam)).toEqual({ from: 49.5, to: 52.5 }); // no less than half a second
  const { from, to } = all.stretch(late);
  expect(to).toBe(150);
  expect(to - from).toBeCloseTo(2, 9);
});

test("next goes through all of them in order of time, round and round", () => {
  const seen: (number | undefined)[] = [];
  let view = { from: 0, to: 10 };
  for (let i = 0; i < 4; i++) {
    const f = all.next(view)!;
    seen.push(f.rank);
    view = all.stretch(f);
  }
  expect(seen).toEqual([2, 1, 3, 2]);
  expect(new Findings([], startS, bounds).next(view)).toBeUndefined();
});

test("an opened finding brings its signals, unless one of them is on screen", () => {
  const known = (): boolean => true;
  expect(all.strips(dip, ["robot/mode"], known)).toEqual(["power/voltage", "power/current"]);
  expect(all.strips(dip, ["robot/mode", "power/current"], known)).toEqual(["robot/mode", "power/current"]);
  expect(all.strips(dip, ["robot/mode"], (s) => s === "power/current")).toEqual(["power/current"]);
  expect(all.strips(jam, ["robot/mode"], known)).toEqual(["robot/mode"]);
  const many = finding(4, 0, 1, { evidence: Array.from({ length: 20 }, (_, i) => ({ signal: `s${i}`, start_s: 0, end_s: 1 })) });
  expect(all.strips(many, [], known)).toHaveLength(8);
});
