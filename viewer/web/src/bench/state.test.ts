import { expect, test } from "vitest";
import { added, address, moved, mostStrips, parse, type State } from "./state";

const none: State = { span: { from: 0, to: 150 }, strips: ["power/voltage"], a: undefined, b: undefined, over: undefined };

test("what an address says comes back as the same address", () => {
  const all: State = { span: { from: 50.6, to: 56.2 }, strips: ["path/lift/current", "drive & aim", "Größe [V]?#"], a: 52.61, b: -0.000001, over: "2031/millbrook-open/q2:3" };
  expect(parse(address(all), none)).toEqual(all);
  expect(address(parse(address(all), none))).toBe(address(all));
  expect(parse(address({ ...none, over: "12" }), none)).toEqual({ ...none, over: "12" });
});

test("times are kept to the microsecond", () => {
  const s = parse(address({ ...none, span: { from: 1 / 3, to: 52.6100004 } }), none);
  expect(s.span).toEqual({ from: 0.333333, to: 52.61 });
});

test("a wrong address shows the match", () => {
  for (const wrong of ["", "?", "?from=a&to=b", "?from=5", "?from=5&to=5", "?from=9&to=2", "?from=NaN&to=1", "?from=0&to=Infinity", "?from=&to=1", "?s=", "?a=&b=x", "?over=<script>", "?over=-1", "?over=1:2:3x", "?%"]) {
    expect(parse(wrong, none), wrong).toEqual(none);
  }
});

test("a strip is there once, and there are not too many", () => {
  expect(parse("?s=a&s=b&s=a", none).strips).toEqual(["a", "b"]);
  const many = Array.from({ length: 99 }, (_, i) => `s=${i}`).join("&");
  expect(parse("?" + many, none).strips).toHaveLength(mostStrips);
  expect(added(["a", "b"], "a")).toEqual(["a", "b"]);
  expect(added(["a"], "b")).toEqual(["a", "b"]);
});

test("strips move one place at a time and not beyond the ends", () => {
  expect(moved(["a", "b", "c"], "c", -1)).toEqual(["a", "c", "b"]);
  expect(moved(["a", "b", "c"], "a", 1)).toEqual(["b", "a", "c"]);
  expect(moved(["a", "b"], "a", -1)).toEqual(["a", "b"]);
  expect(moved(["a", "b"], "b", 1)).toEqual(["a", "b"]);
  expect(moved(["a"], "x", 1)).toEqual(["a"]);
});
