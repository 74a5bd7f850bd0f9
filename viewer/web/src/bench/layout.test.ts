import { expect, test } from "vitest";
import { deskWidth, layoutOf } from "./layout";
import { opening } from "./opening";
import { asked, windowQuery } from "./question";

test("the width of the desk is foretold as the style sheet makes it", () => {
  // .page: 1280 px at most, 40 px to each side, 16 px from 640 px down.
  expect([1600, 1280, 1000, 641, 640, 390, 360].map(deskWidth)).toEqual([1200, 1200, 920, 561, 608, 358, 328]);
  expect(layoutOf(deskWidth(1280)).plot).toBe(808);
});

test("a page opens with what its address says, of signals that there are", () => {
  const signal = (name: string) => ({ name, group: "", type: "float64", unit: "", samples: 1, rate_hz: 1, first_s: 0, last_s: 1, changes: 0 });
  const main = { dataset: {
    api: "/api/v1/m/e/q1/heron", season: "2031", start: "30", first: "-2", last: "150", bell: "140", strips: "a\nb\n",
    known: JSON.stringify({ signals: [signal("a"), signal("b")], findings: [] }),
  } } as unknown as HTMLElement;
  const whole = opening(main, "");
  expect(whole.state).toEqual({ span: { from: 0, to: 140 }, strips: ["a", "b"], a: undefined, b: undefined, over: undefined });
  expect(whole.bounds).toEqual({ from: -2, to: 150 });
  const part = opening(main, "?from=1&to=2.5&s=b&s=gone");
  expect(part.state).toMatchObject({ span: { from: 1, to: 2.5 }, strips: ["b"] });
  expect(asked(part.base, part.season, "/window", windowQuery(part.state.strips, part.state.span, 808, part.startS)))
    .toBe("/api/v1/m/e/q1/heron/window?season=2031&signal=b&from=31.000000&to=32.500000&columns=808");
});
